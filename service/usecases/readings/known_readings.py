"""Telling a repeat from a new reading, by the sender's own id or by what it says."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple

import numpy as np

from service.domain.outcomes import ReadingOutcome, ReadingReason

RECORD_SOURCES: Final = frozenset({"service", "sample"})
"""Sources of readings that came with a record; its id is their reference."""

DECIMALS_OF_A_DAY: Final = 6
"""A tenth of a second: databases round."""

Said = tuple[float, float | None, float | None]
"""Time in days, km and hours."""


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

    by_reference: dict[tuple[int, str, str], Said] = field(default_factory=dict)
    by_value: set[tuple[int, Said]] = field(default_factory=set)

    @property
    def is_empty(self) -> bool:
        """Whether nothing is known that a new reading could repeat."""
        return not (self.by_reference or self.by_value)

    def note_stored(
        self, stored: Sequence[Any], new_days: Iterable[float], new_references: Collection[str]
    ) -> None:
        """Note those stored rows that a new one, by its time or its reference, may repeat."""
        for row in _of_times(stored, new_days):
            if not (row[9] in RECORD_SOURCES and row[4] == ReadingOutcome.REJECTED):
                # Else it went with a record that was voided: the record may come again, put right.
                self.by_value.add((row[1], _said(row)))
        if new_references:
            for row in stored:
                if row[10] in new_references:
                    self.by_reference[(row[1], row[9], row[10])] = _said(row)

    def repeat(self, new: Candidate) -> ReadingReason | None:
        """Reason not to store a reading; one without any is known from now on."""
        said = (round(new.at_days, DECIMALS_OF_A_DAY), new.km, new.engine_hours)
        if new.reference is not None:
            key = (new.vehicle_id, new.source, new.reference)
            earlier = self.by_reference.get(key)
            if earlier is not None:
                is_same = earlier == said
                return ReadingReason.DUPLICATE if is_same else ReadingReason.REFERENCE_REUSED
            self.by_reference[key] = said
        value = (new.vehicle_id, said)
        if value in self.by_value:
            return ReadingReason.DUPLICATE
        self.by_value.add(value)
        return None


def _of_times(stored: Sequence[Any], new_days: Iterable[float]) -> Iterable[Any]:
    """Stored rows at about the time of any new one."""
    scale = 10.0**DECIMALS_OF_A_DAY
    new = np.unique(np.rint(np.fromiter(new_days, np.float64) * scale))
    old = np.rint(np.array([row[2] for row in stored], dtype=np.float64) * scale)
    if new.size == 0:
        return ()
    at = np.minimum(np.searchsorted(new, old - 1.0), new.size - 1)
    return (stored[place] for place in np.flatnonzero(np.abs(new[at] - old) <= 1.0).tolist())


def _said(row: Any) -> Said:
    return (round(row[2], DECIMALS_OF_A_DAY), row[3], row[11])
