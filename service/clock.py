"""Where the time comes from.

Nothing but the composition root makes a clock; everything below receives `now` as an argument.
"""

import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """Tells the time."""

    def now(self) -> datetime:
        """Present instant, aware, in UTC."""
        ...


class SystemClock:
    """The machine's clock."""

    def now(self) -> datetime:
        """Present instant."""
        return datetime.fromtimestamp(time.time(), UTC)


@dataclass(frozen=True, slots=True)
class ShiftedClock:
    """A clock for rehearsals: starts where it is told, runs `speed` times as fast, is `skew` off.

    Several processes given the same `start` and `epoch_seconds` agree with each other.
    """

    start: datetime
    speed: float = 1.0
    skew: timedelta = timedelta(0)
    epoch_seconds: float = field(default_factory=time.time)

    def now(self) -> datetime:
        """Present instant on this clock."""
        elapsed = (time.time() - self.epoch_seconds) * self.speed
        return self.start + timedelta(seconds=elapsed) + self.skew
