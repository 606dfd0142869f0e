"""Fetch a page of a fleet document from a maker's portal."""

import ssl
from dataclasses import dataclass, field
from typing import Final
from urllib.parse import urljoin, urlsplit

import httpx

from service.clients.exchanges import Answer, Exchange
from service.clients.targets import TargetRules
from service.errors import InvalidInputError, UpstreamBusyError, UpstreamError

TIMEOUT_SECONDS: Final = 60.0
MAX_PAGE_BYTES: Final = 16 * 1024 * 1024
BUSY: Final = frozenset({429, 503})
LONGEST_BUSY_SECONDS: Final = 86_400


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What an address gave."""

    content: bytes
    is_xml: bool


@dataclass(frozen=True, slots=True)
class PageFetcher:
    """Fetches pages; where an address leads is checked at each call."""

    rules: TargetRules
    timeout_seconds: float = TIMEOUT_SECONDS
    trust: ssl.SSLContext = field(default_factory=httpx.create_ssl_context)

    def fetch(self, url: str, authorization: str | None) -> Page:
        """Fetch one page.

        Raises
        ------
        UpstreamBusyError
            If the server says when to come back.
        UpstreamError
            If it answers anything but 200, cannot be reached, must not be reached, or sends too much.
        """
        try:
            route = self.rules.find_route(url)
        except InvalidInputError as error:
            raise UpstreamError(error.detail) from error
        headers = {"Accept": "application/xml, application/json;q=0.9", "User-Agent": "Sumpwise-Pull/1"}
        if authorization is not None:
            headers["Authorization"] = authorization
        exchange = Exchange(
            timeout_seconds=self.timeout_seconds, max_answer_bytes=MAX_PAGE_BYTES, trust=self.trust
        )
        answer = exchange.call("GET", route, headers)
        _refuse(answer)
        return Page(content=answer.body, is_xml="json" not in answer.headers.get("content-type", ""))


def next_address(present: str, link: str) -> str:
    """Address of the next page, which has to be on the same server: the authorization is for no other.

    Raises
    ------
    UpstreamError
        If it is elsewhere.
    """
    following = urljoin(present, link)
    here, there = urlsplit(present), urlsplit(following)
    if (here.scheme, here.netloc) != (there.scheme, there.netloc):
        raise UpstreamError("The next page is on another server; it is not fetched.")
    return following


def _refuse(answer: Answer) -> None:
    if answer.status in BUSY:
        text = answer.headers.get("retry-after", "")
        seconds = int(text) if text.isascii() and text.isdecimal() and len(text) < 9 else 0
        raise UpstreamBusyError(f"The source answered {answer.status}.", min(seconds, LONGEST_BUSY_SECONDS))
    if answer.status != 200:
        note = "; redirects are not followed" if 300 <= answer.status < 400 else ""
        raise UpstreamError(f"The source answered {answer.status}{note}.")
    if not answer.is_whole:
        raise UpstreamError(f"A page of the source is larger than {MAX_PAGE_BYTES} bytes.")
    if answer.headers.get("content-encoding", "identity").lower() != "identity":
        raise UpstreamError("The source sent a compressed page, though none was asked for.")
