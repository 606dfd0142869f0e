"""The engine's time axis: days since 1970-01-01 UTC, as a float."""

from datetime import UTC, date, datetime, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.engine.arrays import Floats

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
SECONDS_PER_DAY: Final = 86_400.0


def days_of(instant: datetime) -> float:
    """Days since the epoch at an instant."""
    return (instant - EPOCH).total_seconds() / SECONDS_PER_DAY


def instant_of(days: float) -> datetime:
    """Instant so many days after the epoch."""
    return EPOCH + timedelta(days=days)


def day_fraction(local: datetime) -> float:
    """Share of its civil day that has passed at a local time."""
    return (local.hour * 3600 + local.minute * 60 + local.second) / SECONDS_PER_DAY


def civil_dates(today: date, passed: float, days_ahead: Floats) -> NDArray[np.datetime64]:
    """Civil dates so many days from now; NaT where that is infinite or no number.

    `passed` is the share of today that is over.
    """
    days = np.floor(np.maximum(days_ahead, 0.0) + passed)
    ahead = np.where(np.isfinite(days), days, 0.0).astype("timedelta64[D]")
    return np.where(np.isfinite(days), np.datetime64(today) + ahead, np.datetime64("NaT"))
