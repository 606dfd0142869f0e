"""The application's limiter, for pages that take secrets from anybody."""

from datetime import datetime
from typing import Protocol

from fastapi import Request


class Limiter(Protocol):
    """What pages need of it."""

    def check_failures(self, source: str, now: datetime) -> None:
        """Refuse a source that keeps trying."""

    def note_failure(self, source: str, now: datetime) -> None:
        """Count a wrong secret."""

    def slow_down(self, source: str, now: datetime) -> None:
        """Count a wrong secret that nobody can guess, and refuse whoever has sent too many."""

    def check_link_post(self, link: str, now: datetime) -> None:
        """Refuse a link by which too much is sent."""


def limiter_of(request: Request) -> Limiter:
    """The application's limiter."""
    limiter: Limiter = request.app.state.limiter
    return limiter


def source_of(request: Request) -> str:
    """Who is asking, as far as an address tells."""
    return request.client.host if request.client else "unknown"
