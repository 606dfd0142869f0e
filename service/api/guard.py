"""What happens to a request before anything is parsed: an id, size and time limits, one log line, safe headers."""

import asyncio
import re
import secrets
import time
from typing import Final

import structlog
from starlette.requests import ClientDisconnect, Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.metrics import Metrics
from service.api.problems import render_problem
from service.api.secret_paths import loggable_path
from service.api.trace_context import trace_of
from service.api.turns import is_upload
from service.errors import PayloadTooLargeError

log = structlog.get_logger("http")

SLOWEST_BYTES_PER_SECOND: Final = 1024
"""Beyond the receive timeout a body has to come at least so fast: a byte now and then does not hold a place."""

MOST_COMMAS: Final = 400_000
"""Of a JSON body: ten thousand readings have 70,000, a fleet document as long as a body may be about 200,000. What
stands between commas takes up to forty times its bytes once it is read, and nobody else is answered meanwhile.
"""

_SOUND_REQUEST_ID: Final = re.compile(r"[A-Za-z0-9._-]{8,64}")

SECURITY_HEADERS: Final = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-opener-policy", b"same-origin"),
)
STRICT_POLICY: Final = (
    b"default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; "
    b"base-uri 'none'; frame-ancestors 'none'"
)


class _BodyTooLarge(Exception):  # noqa: N818 - a signal between two functions of this file
    """What to tell the sender is its first argument."""


class _ClientTooSlow(Exception):  # noqa: N818 - likewise
    pass


class Guard:
    """ASGI middleware around the whole application."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        max_body_bytes: int,
        max_upload_bytes: int,
        receive_timeout: float,
        metrics: Metrics,
    ) -> None:
        self._app = app
        self._metrics = metrics
        self._max_body_bytes = max_body_bytes
        self._max_upload_bytes = max_upload_bytes
        self._receive_timeout = receive_timeout

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on inside its limits."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        request.state.request_id = _request_id(request)
        started = time.perf_counter()
        status = 0

        async def send_marked(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                message = _with_headers(message, request.state.request_id)
            await send(message)

        try:
            refusal = self._refuse(request)
            if refusal is None:
                await self._app(scope, self._limited(request, receive), send_marked)
            else:
                await render_problem(request, *refusal)(scope, receive, send_marked)
        except (_BodyTooLarge, _ClientTooSlow) as error:
            if status == 0:
                await self._cut_off(request, error)(scope, receive, send_marked)
        except ClientDisconnect:
            pass  # A phone that left the network half way: nobody is there to be answered, and nothing went wrong.
        finally:
            seconds = time.perf_counter() - started
            self._metrics.note_request(scope, status, seconds)
            log.info(
                "request",
                method=scope["method"],
                path=loggable_path(scope["path"]),
                status=status,
                milliseconds=round(seconds * 1000, 1),
                request_id=request.state.request_id,
                **_trace_of(request),
            )

    def _limit(self, request: Request) -> int:
        return self._max_upload_bytes if is_upload(request) else self._max_body_bytes

    def _refuse(self, request: Request) -> tuple[int, str, str] | None:
        encoding = request.headers.get("content-encoding", "identity")
        if encoding.lower() != "identity":
            return 415, "Send the body as it is, without Content-Encoding.", "unsupported-encoding"
        length = request.headers.get("content-length", "0")
        if length.isdecimal() and int(length) > self._limit(request):
            return 413, _too_large(self._limit(request)), PayloadTooLargeError.code
        return None

    def _limited(self, request: Request, receive: Receive) -> Receive:
        limit = self._limit(request)
        received = commas = 0
        is_json = _is_json(request)
        is_complete = False
        began = time.perf_counter()

        async def receive_limited() -> Message:
            nonlocal received, commas, is_complete
            if is_complete:
                return await receive()
            left = self._receive_timeout + received / SLOWEST_BYTES_PER_SECOND - (time.perf_counter() - began)
            try:
                message = await asyncio.wait_for(receive(), max(left, 0.0))
            except TimeoutError as error:
                raise _ClientTooSlow from error
            piece = message.get("body", b"")
            received += len(piece)
            commas += piece.count(b",") if is_json else 0
            is_complete = not message.get("more_body", False)
            if received > limit:
                raise _BodyTooLarge(_too_large(limit))
            if commas > MOST_COMMAS:
                raise _BodyTooLarge(TOO_MANY)
            return message

        return receive_limited

    def _cut_off(self, request: Request, error: Exception) -> ASGIApp:
        if isinstance(error, _BodyTooLarge):
            return render_problem(request, 413, str(error), PayloadTooLargeError.code)
        headers = {"Connection": "close"}
        return render_problem(
            request, 408, "The request did not arrive in time.", "too-slow", headers=headers
        )


TOO_MANY: Final = f"The body holds more than {MOST_COMMAS} values; send fewer at a time, or a CSV file."


def _too_large(limit: int) -> str:
    return f"The body is over the limit of {limit} bytes; send less at a time, or a CSV file."


def _is_json(request: Request) -> bool:
    """Whether a body is read as JSON; one that does not say what it is may be."""
    kind = request.headers.get("content-type", "")
    return not kind or "json" in kind.lower()


def _request_id(request: Request) -> str:
    given = request.headers.get("x-request-id", "")
    return given if _SOUND_REQUEST_ID.fullmatch(given) else secrets.token_hex(8)


def _trace_of(request: Request) -> dict[str, str]:
    """The trace that a line of the log belongs to, if it belongs to one: our own span's, or the caller's."""
    trace_id = getattr(request.state, "trace_id", None) or trace_of(request.headers.get("traceparent", ""))
    return {} if trace_id is None else {"trace_id": trace_id}


def _with_headers(message: Message, request_id: str) -> Message:
    headers = list(message.get("headers", []))
    names = {name.lower() for name, _ in headers}
    headers += [pair for pair in SECURITY_HEADERS if pair[0] not in names]
    if b"content-security-policy" not in names:
        headers.append((b"content-security-policy", STRICT_POLICY))
    headers.append((b"x-request-id", request_id.encode()))
    return {**message, "headers": headers}
