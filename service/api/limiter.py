"""Rate limits, kept in the process: wrong tokens by source address, calls and rows by organisation."""

import threading
from collections import OrderedDict
from dataclasses import dataclass
from datetime import datetime
from math import ceil
from typing import Final

from service.errors import RateLimitedError

MAX_TRACKED: Final = 10_000
"""Buckets kept; the least recently used one is forgotten first."""

CALLS_PER_SECOND: Final = 200.0
BURST_SECONDS: Final = 10.0
"""After a pause an organisation may make the calls of so many seconds at once."""

ROWS_PER_HOUR: Final = 10_000_000.0


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

    def wait_seconds(self, key: str, now: datetime, *, take: bool = True, amount: float = 1.0) -> float:
        """Seconds until so many tokens are there; zero takes them, unless asked only to look.

        More than the bucket holds is given when it is full.
        """
        needed = min(amount, self._burst)
        with self._lock:
            bucket = self._buckets.pop(key, None) or _Bucket(self._burst, now)
            elapsed = max(0.0, (now - bucket.at).total_seconds())
            bucket.tokens = min(self._burst, bucket.tokens + elapsed * self._per_second)
            bucket.at = now
            self._buckets[key] = bucket
            if len(self._buckets) > MAX_TRACKED:
                self._buckets.popitem(last=False)
            if bucket.tokens < needed:
                return (needed - bucket.tokens) / self._per_second
            bucket.tokens -= needed if take else 0.0
            return 0.0


class Limiter:
    """The limits of the API, and of the pages that need no signing in."""

    def __init__(
        self, calls_per_second: float = CALLS_PER_SECOND, rows_per_hour: float = ROWS_PER_HOUR
    ) -> None:
        self._calls = TokenBuckets(calls_per_second * BURST_SECONDS, calls_per_second)
        self._rows = TokenBuckets(rows_per_hour, rows_per_hour / 3600)
        self._failures = TokenBuckets(burst=15, per_second=15 / 60)
        self._link_posts = TokenBuckets(burst=20, per_second=1 / 60)

    def check_failures(self, source: str, now: datetime) -> None:
        """Refuse a source that keeps trying wrong secrets."""
        self._refuse_if(self._failures.wait_seconds(source, now, take=False))

    def note_failure(self, source: str, now: datetime) -> None:
        """Count a wrong secret."""
        self._failures.wait_seconds(source, now)

    def slow_down(self, source: str, now: datetime) -> None:
        """Count a wrong secret of 256 random bits, and refuse whoever has sent too many.

        Asked once a secret is known to be wrong: the owner of a right one may share an address with somebody who
        guesses, and nobody comes upon one by being answered.
        """
        self.check_failures(source, now)
        self.note_failure(source, now)

    def check_call(self, organisation_id: int, now: datetime) -> None:
        """Refuse an organisation that has used up its calls, whichever of its tokens asks."""
        self._refuse_if(self._calls.wait_seconds(str(organisation_id), now))

    def check_rows(self, organisation_id: int, n_rows: int, now: datetime) -> None:
        """Refuse an organisation that has used up its rows of readings."""
        wait = self._rows.wait_seconds(str(organisation_id), now, amount=n_rows)
        self._refuse_if(wait, "Too many rows; wait and send the rest again.")

    def check_link_post(self, link: str, now: datetime) -> None:
        """Refuse a link by which more is sent than anybody reads off a dashboard."""
        self._refuse_if(self._link_posts.wait_seconds(link, now))

    @staticmethod
    def _refuse_if(wait: float, detail: str = "Too many calls; wait and try again.") -> None:
        if wait > 0:
            raise RateLimitedError(detail, retry_after_seconds=ceil(wait))
