"""What has to be known of stored readings to judge new ones: all of them, or of a long history its end."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from math import isclose
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.domain.outcomes import ReadingOutcome
from service.store.repositories import readings
from service.units import KM_PER_MILE
from service.usecases.usage.engine_time import days_of

LONG_HISTORY: Final = 2_000
"""Readings of a vehicle from which on only the end of its history is looked at."""

WINDOW_READINGS: Final = 200
"""Accepted readings before the first new one that are judged anew with it.

Judgement looks back eight readings, and the pace of a vehicle is carried on from its first reading; so the answer is
that of the whole history, unless a new reading would overturn what was said of one further back than this.
"""

Km = TypeVar("Km", float, NDArray[np.float64])

_FACTORS: Final = (1.0, KM_PER_MILE, 1.0 / KM_PER_MILE)


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowStart:
    """How a window goes on from what came before: its first accepted reading, and the vehicle's very first."""

    reading_id: int
    factor: float
    offset_km: float
    """The instrument at the window's start shows ``(km - offset_km) / factor``."""

    first_days: float
    first_km: float

    def shown(self, km: float) -> float:
        """Number on that instrument."""
        return (km - self.offset_km) / self.factor

    def continued(self, shown_km: Km) -> Km:
        """Odometer on the vehicle's continuous series."""
        return self.factor * shown_km + self.offset_km


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredReadings:
    """Rows of `readings.read_entries`, and where the windows among them start."""

    rows: Sequence[Any]
    starts: Mapping[int, WindowStart] = field(default_factory=dict)
    earlier: Sequence[Any] = ()
    """Rows before the windows that are known by their references."""


def load_readings(session: Session, organisation_id: int, earliest: Mapping[int, datetime]) -> StoredReadings:
    """Load what is needed to judge vehicles anew from the given times on."""
    counts = readings.count_readings(session, organisation_id, list(earliest))
    windows = {
        key: since
        for key, count in counts.items()
        if count > LONG_HISTORY
        and (since := readings.accepted_before(session, organisation_id, key, earliest[key], WINDOW_READINGS))
    }
    whole = [key for key in sorted(earliest) if key not in windows]
    rows = readings.read_entries(session, organisation_id, whole)
    starts = {}
    for key, since in sorted(windows.items()):
        own = _from_accepted(readings.read_entries(session, organisation_id, [key], since=since))
        starts[key] = _start(own, *readings.first_accepted(session, organisation_id, key))
        rows.extend(own)
    return StoredReadings(rows=rows, starts=starts)


def earliest_times(pairs: Iterable[tuple[int, datetime]]) -> dict[int, datetime]:
    """Earliest time of each vehicle."""
    earliest: dict[int, datetime] = {}
    for vehicle_id, at in pairs:
        earliest[vehicle_id] = min(at, earliest.get(vehicle_id, at))
    return earliest


def _from_accepted(rows: list[Any]) -> list[Any]:
    """Leave out what is not accepted at the window's very start."""
    place = next(place for place, row in enumerate(rows) if _is_used(row))
    return rows[place:]


def _is_used(row: Any) -> bool:
    return row[4] == ReadingOutcome.ACCEPTED and row[7] is not None and row[3] is not None


def _start(rows: list[Any], first_at: datetime, first_km: float) -> WindowStart:
    start = rows[0]
    factor = next(
        (
            factor
            for row in rows[1:]
            if _is_used(row) and row[3] != start[3]
            for factor in _FACTORS
            if isclose(row[7] - start[7], factor * (row[3] - start[3]), rel_tol=1e-6, abs_tol=1e-3)
        ),
        1.0,
    )
    return WindowStart(
        reading_id=start[0],
        factor=factor,
        offset_km=start[7] - factor * start[3],
        first_days=days_of(first_at),
        first_km=first_km,
    )
