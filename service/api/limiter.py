"""Rate limits, kept in the process: wrong tokens by source address, calls by token."""

import threading
from collections import OrderedDict
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from service.errors import RateLimitedError

MAX_TRACKED: Final = 10_000
"""Buckets kept; the least recently used one is forgotten first."""


@dataclass(slots=True)
class _Bucket:
    tokens: float
    at: datetime


class TokenBuckets:
    """A bucket a key: holds `burst` tokens, gains `per_second` of them."""

    def __init__(self, burst: float, per_second: float) -> None:
        self._burst = burst
        self._per_second = per_second
        self._buckets: OrderedDict[str, _Bucket] = OrderedDict()
        self._lock = threading.Lock()

    def wait_seconds(self, key: str, now: datetime, *, take: bool = True) -> float:
        """Seconds until a token is there; zero takes it, unless asked only to look."""
        with self._lock:
            bucket = self._buckets.pop(key, None) or _Bucket(self._burst, now)
            elapsed = max(0.0, (now - bucket.at).total_seconds())
            bucket.tokens = min(self._burst, bucket.tokens + elapsed * self._per_second)
            bucket.at = now
            self._buckets[key] = bucket
            if len(self._buckets) > MAX_TRACKED:
                self._buckets.popitem(last=False)
            if bucket.tokens < 1.0:
                return (1.0 - bucket.tokens) / self._per_second
            bucket.tokens -= 1.0 if take else 0.0
            return 0.0


class Limiter:
    """The limits of the API, and of the pages that need no signing in."""

    def __init__(self, calls_per_second: float = 200.0, burst: float = 2000.0) -> None:
        self._calls = TokenBuckets(burst, calls_per_second)
        self._failures = TokenBuckets(burst=15, per_second=15 / 60)
        self._link_posts = TokenBuckets(burst=20, per_second=1 / 60)

    def check_failures(self, source: str, now: datetime) -> None:
        """Refuse a source that keeps trying wrong secrets."""
        self._refuse_if(self._failures.wait_seconds(source, now, take=False))

    def note_failure(self, source: str, now: datetime) -> None:
        """Count a wrong secret."""
        self._failures.wait_seconds(source, now)

    def check_caller(self, caller: str, now: datetime) -> None:
        """Refuse a caller that asks too often."""
        self._refuse_if(self._calls.wait_seconds(caller, now))

    def check_link_post(self, link: str, now: datetime) -> None:
        """Refuse a link by which more is sent than anybody reads off a dashboard."""
        self._refuse_if(self._link_posts.wait_seconds(link, now))

    @staticmethod
    def _refuse_if(wait: float) -> None:
        if wait > 0:
            raise RateLimitedError("Too many calls; wait and try again.", retry_after_seconds=int(wait) + 1)
