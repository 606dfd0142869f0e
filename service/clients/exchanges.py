"""One call to somebody else's server: to the machine that was checked, in time, with an end to what is read of it.

Redirects are never followed and no proxy is used.
"""

import asyncio
import ssl
from collections.abc import Mapping
from dataclasses import dataclass

import httpx

from service.clients.targets import Route
from service.errors import UpstreamError, UpstreamTimeoutError


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What came back; of the body at most what was asked for."""

    status: int
    headers: httpx.Headers
    body: bytes
    is_whole: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """How calls are made."""

    timeout_seconds: float
    """For the whole call, whatever trickles in."""

    max_answer_bytes: int
    trust: ssl.SSLContext

    def call(
        self, method: str, route: Route, headers: Mapping[str, str], content: bytes | None = None
    ) -> Answer:
        """Make one call.

        Raises
        ------
        UpstreamTimeoutError
            If it does not end in time.
        UpstreamError
            If there is no answer.
        """
        return asyncio.run(self._in_time(method, route, headers, content))

    async def _in_time(
        self, method: str, route: Route, headers: Mapping[str, str], content: bytes | None
    ) -> Answer:
        try:
            async with asyncio.timeout(self.timeout_seconds):
                return await self._exchange(method, route, headers, content)
        except (TimeoutError, httpx.TimeoutException) as error:
            raise UpstreamTimeoutError("The other server did not answer in time.") from error
        except (httpx.HTTPError, httpx.InvalidURL, OSError) as error:
            raise UpstreamError(f"The other server could not be reached ({type(error).__name__}).") from error

    async def _exchange(
        self, method: str, route: Route, headers: Mapping[str, str], content: bytes | None
    ) -> Answer:
        async with (
            httpx.AsyncClient(
                verify=self.trust, trust_env=False, follow_redirects=False, timeout=self.timeout_seconds
            ) as client,
            client.stream(
                method,
                route.pinned_url,
                content=content,
                headers={**headers, "Accept-Encoding": "identity", "Host": route.host_header},
                extensions={"sni_hostname": route.host},
            ) as answer,
        ):
            pieces: list[bytes] = []
            n_bytes = 0
            async for piece in answer.aiter_raw():
                pieces.append(piece)
                n_bytes += len(piece)
                if n_bytes >= self.max_answer_bytes:
                    break
            return Answer(
                status=answer.status_code,
                headers=answer.headers,
                body=b"".join(pieces)[: self.max_answer_bytes],
                is_whole=n_bytes < self.max_answer_bytes,
            )
