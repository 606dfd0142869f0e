"""What somebody told of the last full change, as far as the readings after it bear it out."""

from collections.abc import Sequence
from datetime import date, time
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from service.domain.zones import first_instant
from service.usecases.usage.engine_time import days_of

SLACK_KM: Final = 1.0
SLACK_HOURS: Final = 0.2
"""What two people round apart. Common practice, no source."""


def day_over(on: date, zone: ZoneInfo) -> float:
    """When a day is over, in days since 1970; a reading of the same day may have been taken before the work."""
    return days_of(first_instant(on, time(), zone)) + 1.0


def place_of_less(
    told: float | None, slack: float, days: Sequence[float], shown: Sequence[float], since_days: float
) -> int | None:
    """Find the first reading from a time on, if it shows less than was told."""
    place = int(np.searchsorted(days, since_days))
    return place if told is not None and place < len(shown) and told > shown[place] + slack else None


def borne_out(
    told: float | None,
    slack: float,
    days: Sequence[float],
    shown: Sequence[float],
    since_days: float | None,
) -> float | None:
    """Give back what was told, unless the first reading from a time on shows less."""
    if since_days is None or place_of_less(told, slack, days, shown, since_days) is None:
        return told
    return None
