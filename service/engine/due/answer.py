"""Joining what is certain, the calendar and contamination, to the limits that are not."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Booleans, Codes, Floats, Integers
from service.engine.due.block import LimitBlock
from service.engine.due.limits import CompartmentLimits, Limit
from service.engine.due.reached import Reached


@dataclass(frozen=True, slots=True, kw_only=True)
class Certain:
    """The certain limits of a block, shape (n,).

    `calendar_days` is 0 where the limit has passed and inf where there is none within the horizon.
    """

    calendar_days: Floats
    has_calendar: Booleans
    is_contaminated: Booleans

    def take(self, places: Integers) -> "Certain":
        """Pick compartments."""
        return Certain(**{name: getattr(self, name)[places] for name in self.__slots__})


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """All limits together: shapes (q, n), (w, n), (n,), (n, len(Limit)) and (n,)."""

    days_ahead: Floats
    by_week_end: Floats
    by_now: Floats
    shares: Floats
    biting_limit: Codes


def certain_limits(limits: CompartmentLimits, rows: Integers, horizon_days: float) -> Certain:
    """Gather the certain limits of the given rows."""
    days = limits.calendar_days_ahead[rows]
    return Certain(
        calendar_days=np.where(days <= horizon_days, np.maximum(days, 0.0), np.inf),
        has_calendar=~np.isnan(days),
        is_contaminated=limits.is_contaminated[rows],
    )


def answer_with(certain: Certain, block: LimitBlock, reached: Reached, week_end_days: Floats) -> Answer:
    """Join the certain limits to the answer of a block.

    Notes
    -----
    Limits passed at the same time: contamination is named before all others, then a meter or the condition before
    the calendar.
    """
    is_contaminated, calendar = certain.is_contaminated, certain.calendar_days
    has_limit = is_contaminated | certain.has_calendar | bool(block.present)
    days = np.where(is_contaminated, 0.0, np.minimum(reached.days_ahead, calendar))
    is_certain_by = is_contaminated | (calendar < week_end_days[:, np.newaxis])
    shares = _shares(certain, block, reached)
    leading = shares[:, 1:].argmax(axis=1) + 1
    can_bite = shares[np.arange(leading.size), leading] > 0.0
    return Answer(
        days_ahead=np.where(has_limit, days, np.nan),
        by_week_end=np.maximum(reached.by_week_end, is_certain_by),
        by_now=np.where(is_contaminated | (calendar <= 0.0), 1.0, reached.by_now),
        shares=shares,
        biting_limit=np.where(can_bite, leading, Limit.NONE).astype(np.int8),
    )


def _shares(certain: Certain, block: LimitBlock, reached: Reached) -> Floats:
    n = certain.calendar_days.size
    shares = np.zeros((n, len(Limit)))
    for limit, share in zip(block.present, reached.shares, strict=True):
        shares[:, limit] = share
    rest = np.where(np.isfinite(certain.calendar_days), Limit.CALENDAR, Limit.NONE)
    shares[np.arange(n), rest] = 1.0 - reached.by_end.astype(np.float64)
    shares[certain.is_contaminated] = 0.0
    shares[certain.is_contaminated, Limit.CONTAMINATION] = 1.0
    return shares
