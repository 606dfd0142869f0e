"""Telling a repeat from a new reading, by the sender's own id or by what it says."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any, Final, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from service.domain.outcomes import ReadingOutcome, ReadingReason

RECORD_SOURCES: Final = frozenset({"service", "sample"})
"""Sources of readings that came with a record; its id is their reference."""

REPLACEMENT_SOURCE: Final = "cluster"
"""Source of the readings that record a replaced meter."""

KEPT_SOURCES: Final = RECORD_SOURCES | {REPLACEMENT_SOURCE}
"""Nobody else sends under these words: what came with a record is found by them when that is voided or put right."""

SAME_TIME_DAYS: Final = 1.0e-6
"""A tenth of a second: databases round, and not to the nearest."""

SAME_TIME: Final = timedelta(days=SAME_TIME_DAYS)

_GRID_A_DAY: Final = 864_000
"""Tenths of a second."""

Days = TypeVar("Days", float, NDArray[np.float64])

Numbers = tuple[float | None, float | None]
"""Kilometres and hours."""


class Candidate(NamedTuple):
    """What tells whether a reading is a repeat."""

    vehicle_id: int
    at_days: float
    km: float | None
    engine_hours: float | None
    source: str
    reference: str | None


@dataclass(slots=True)
class KnownReadings:
    """What has been said of the vehicles concerned, stored or earlier in the same call."""

    by_reference: dict[tuple[int, str, str], tuple[float, Numbers]] = field(default_factory=dict)
    by_value: dict[tuple[int, Numbers], list[float]] = field(default_factory=dict)
    discarded: dict[tuple[int, Numbers], list[float]] = field(default_factory=dict)
    """Those of the same that somebody discarded."""

    def note_stored(
        self, stored: Sequence[Any], new_days: Iterable[float], new_references: Collection[str]
    ) -> None:
        """Note those stored rows that a new one, by its time or its reference, may repeat."""
        for row in _of_times(stored, new_days):
            if not (row[9] in RECORD_SOURCES and row[4] == ReadingOutcome.REJECTED):
                # Else it went with a record that was voided: the record may come again, put right.
                key = row[1], (row[3], row[11])
                self.by_value.setdefault(key, []).append(row[2])
                if row[4] == ReadingOutcome.REJECTED:
                    self.discarded.setdefault(key, []).append(row[2])
        if new_references:
            for row in stored:
                if row[10] in new_references:
                    self.by_reference[(row[1], row[9], row[10])] = (row[2], (row[3], row[11]))

    def holds(self, new: Candidate) -> bool:
        """Whether a reading's reference, or what it says, is known."""
        if new.reference is not None and (new.vehicle_id, new.source, new.reference) in self.by_reference:
            return True
        times = self.by_value.get((new.vehicle_id, (new.km, new.engine_hours)), ())
        return any(is_same_time(at_days, new.at_days) for at_days in times)

    def is_discarded(self, new: Candidate) -> bool:
        """Whether a repeat is one of readings that count for nothing, every one of them."""
        key = new.vehicle_id, (new.km, new.engine_hours)
        known, gone = (
            sum(is_same_time(at_days, new.at_days) for at_days in times.get(key, ()))
            for times in (self.by_value, self.discarded)
        )
        return 0 < known <= gone

    def repeat(self, new: Candidate) -> ReadingReason | None:
        """Reason not to store a reading; one without any is known from now on."""
        numbers = (new.km, new.engine_hours)
        if new.reference is not None:
            key = (new.vehicle_id, new.source, new.reference)
            earlier = self.by_reference.get(key)
            if earlier is not None:
                is_same = is_same_time(earlier[0], new.at_days) and earlier[1] == numbers
                return ReadingReason.DUPLICATE if is_same else ReadingReason.REFERENCE_REUSED
            self.by_reference[key] = (new.at_days, numbers)
        times = self.by_value.setdefault((new.vehicle_id, numbers), [])
        if any(is_same_time(at_days, new.at_days) for at_days in times):
            return ReadingReason.DUPLICATE
        times.append(new.at_days)
        return None


def is_same_time(first_days: float, second_days: float) -> bool:
    """Whether two times, in days, are told as one."""
    return abs(first_days - second_days) <= SAME_TIME_DAYS


def snapped(days: Days) -> Days:
    """Round times, in days, so that those which were told as one are equal, whatever a database made of them."""
    rounded: Days = np.round(days * _GRID_A_DAY) / _GRID_A_DAY
    return rounded


def _of_times(stored: Sequence[Any], new_days: Iterable[float]) -> Iterable[Any]:
    """Stored rows at about the time of any new one."""
    new = np.unique(np.fromiter(new_days, np.float64))
    old = np.array([row[2] for row in stored], dtype=np.float64)
    if new.size == 0:
        return ()
    at = np.minimum(np.searchsorted(new, old - SAME_TIME_DAYS), new.size - 1)
    return (stored[place] for place in np.flatnonzero(np.abs(new[at] - old) <= SAME_TIME_DAYS).tolist())
