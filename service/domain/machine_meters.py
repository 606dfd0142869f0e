"""What machines report of their meters, and how a source's meter relates to the one on the dashboard."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from statistics import median
from typing import Final


class Meter(StrEnum):
    """A meter that only counts up."""

    ODOMETER = "odometer"
    """In km."""

    ENGINE_HOURS = "engine_hours"


class OffsetOrigin(StrEnum):
    """Where the difference between the dashboard and a source comes from."""

    LEARNED = "learned"
    """From readings of the dashboard that were taken between two values of the source."""

    SET = "set"
    SOLE = "sole"
    """Assumed: the vehicle had no reading of its dashboard, so the source is taken for it."""


class ValueUse(StrEnum):
    """What came of a value of a source beyond its own series."""

    WAITING = "waiting"
    """For a vehicle, or for an offset."""
    PASSED_ON = "passed_on"
    """Became a reading of the vehicle."""
    THINNED_OUT = "thinned_out"
    """Another one of the same hour became a reading."""
    REFUSED = "refused"
    """The vehicle could not take it: retired, or the offset leads nowhere."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineValue:
    """One meter of one machine at one instant, in km or hours."""

    equipment: str
    """The source's own name of the machine."""

    meter: Meter
    taken_at: datetime
    value: float
    description: str | None = None
    identification: str | None = None
    """The maker's product identification number, which may be a VIN."""

    resolution: float = 0.0
    """Smallest step of the signal; the coarser of two signals of one machine is left out."""


LONGEST_GAP: Final = timedelta(days=3)
"""Between two values of a source that are further apart nobody knows where it stood. Common practice, no source."""

NEAR: Final = timedelta(minutes=30)
"""Before the first and after the last value the nearest one serves for so long. Common practice, no source."""

MOST_PAIRS: Final = 9
"""An offset is the median of so many comparisons at most, so that one wrong reading does not decide it."""

AGREEING: Final = 3
"""Comparisons in a row that have to agree before an offset is called in question. Common practice, no source."""

APART: Final = {Meter.ODOMETER: 100.0, Meter.ENGINE_HOURS: 5.0}
"""Kilometres or hours within which comparisons agree: a vehicle does not drive evenly between two values of a source
that are a day apart. Common practice, no source."""


def compare(
    dashboard: Sequence[tuple[datetime, float]], source: Sequence[tuple[datetime, float]]
) -> list[float]:
    """Differences, dashboard less source, wherever both are known; the source's values in the order of time."""
    found = []
    for at, shown in dashboard:
        there = _value_at(source, at)
        if there is not None:
            found.append(shown - there)
    return found


def offset_from(differences: Sequence[float]) -> float | None:
    """Offset of a source, from comparisons in the order of time; none if there are none."""
    return median(differences[-MOST_PAIRS:]) if differences else None


def propose_offset(
    meter: Meter, present: float, origin: OffsetOrigin, differences: Sequence[float]
) -> float | None:
    """Offset that a person may want to set instead of the present one, from comparisons in the order of time.

    What was only assumed is worth a proposal as soon as it can be checked; what is known, when it is far off.
    """
    latest = differences[-AGREEING:]
    if len(latest) < AGREEING or max(latest) - min(latest) > APART[meter]:
        return None
    proposed = median(latest)
    is_far_off = abs(proposed - present) > APART[meter]
    return proposed if origin is OffsetOrigin.SOLE or is_far_off else None


def _value_at(source: Sequence[tuple[datetime, float]], at: datetime) -> float | None:
    before = next(((when, value) for when, value in reversed(source) if when <= at), None)
    after = next(((when, value) for when, value in source if when >= at), None)
    if before is not None and after is not None:
        return _between(before, after, at)
    nearest = before or after
    if nearest is None or abs(at - nearest[0]) > NEAR:
        return None
    return nearest[1]


def _between(before: tuple[datetime, float], after: tuple[datetime, float], at: datetime) -> float | None:
    gap = after[0] - before[0]
    if gap > LONGEST_GAP:
        return None
    share = (at - before[0]) / gap if gap else 0.0
    return before[1] + share * (after[1] - before[1])
