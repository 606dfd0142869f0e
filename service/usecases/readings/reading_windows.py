"""What has to be known of stored readings to judge new ones: all of them, or of a long history its end."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import isclose
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.domain.outcomes import ReadingOutcome
from service.store.repositories import readings
from service.store.repositories.reading_windows import ReadingEnd, read_since
from service.units import KM_PER_MILE
from service.usecases.usage.engine_time import days_of, instant_of

LONG_HISTORY: Final = 2_000
"""Readings of a vehicle from which on only the end of its history is looked at, also where no end is stored yet."""

WINDOW_READINGS: Final = 16
"""Accepted readings before the first new one that are judged anew with it.

Judgement looks back eight readings, and the pace of a vehicle is carried on from its first reading; so the answer is
that of the whole history, unless a new reading would overturn what was said of one further back than this.
"""

ROUNDING: Final = timedelta(milliseconds=2)
"""SQLite tells an instant to the millisecond, and not to the nearest."""

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
    """Rows that new ones may repeat, wherever they are."""


def load_readings(
    session: Session,
    organisation_id: int,
    earliest: Mapping[int, datetime],
    ends: Mapping[int, ReadingEnd] | None = None,
) -> StoredReadings:
    """Load what is needed to judge vehicles anew from the given times on; `ends` are those that are stored."""
    known = {
        key: end
        for key, end in (ends or {}).items()
        if key in earliest and end.since_days < days_of(earliest[key])
    }
    rows, starts = _load_windows(session, organisation_id, earliest, known)
    others = [key for key in sorted(earliest) if key not in starts]
    long = _long_histories(session, organisation_id, others, earliest)
    more, more_starts = _load_windows(session, organisation_id, earliest, long)
    rows += more
    starts |= more_starts
    whole = [key for key in others if key not in more_starts]
    rows += read_since(session, organisation_id, dict.fromkeys(whole))
    return StoredReadings(rows=rows, starts=starts)


def _load_windows(
    session: Session, organisation_id: int, earliest: Mapping[int, datetime], ends: Mapping[int, ReadingEnd]
) -> tuple[list[Any], dict[int, WindowStart]]:
    """Load windows; those that hold too little before the first new reading are left out."""
    since = {key: instant_of(end.since_days) - ROUNDING for key, end in ends.items()}
    kept: list[Any] = []
    starts = {}
    for key, own in _by_vehicle(read_since(session, organisation_id, since)).items():
        window = _from_accepted(own)
        first_new_days = days_of(earliest[key])
        if sum(row[2] < first_new_days and _is_used(row) for row in window) >= WINDOW_READINGS:
            starts[key] = _start(window, ends[key])
            kept += window
    return kept, starts


def _long_histories(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], earliest: Mapping[int, datetime]
) -> dict[int, ReadingEnd]:
    """Ends of long histories that have none, or not for readings that come so late."""
    counts = readings.count_readings(session, organisation_id, vehicle_ids) if vehicle_ids else {}
    found = {}
    for key in (key for key, count in counts.items() if count > LONG_HISTORY):
        since = readings.accepted_before(session, organisation_id, key, earliest[key], WINDOW_READINGS)
        if since is not None:
            first_at, first_km = readings.first_accepted(session, organisation_id, key)
            found[key] = ReadingEnd(days_of(since), days_of(since), days_of(first_at), first_km)
    return found


def new_ends(
    stored: StoredReadings, kept: Mapping[int, Sequence[tuple[float, float | None]]]
) -> dict[int, bytes]:
    """Say where vehicles' readings end once new ones are stored, given as days and, if accepted, kilometres."""
    all_of: dict[int, list[tuple[float, float | None]]] = {key: list(own) for key, own in kept.items()}
    for row in stored.rows:
        if row[1] in all_of:
            all_of[row[1]].append((row[2], row[7] if _is_used(row) else None))
    found = {}
    for key, own in all_of.items():
        accepted = sorted((days, km) for days, km in own if km is not None)
        if len(accepted) < WINDOW_READINGS + 1:
            continue
        start = stored.starts.get(key)
        first = accepted[0] if start is None else (start.first_days, start.first_km)
        n_back = WINDOW_READINGS if len(accepted) > 2 * WINDOW_READINGS else len(accepted)
        last_days = max(days for days, _ in own)
        found[key] = ReadingEnd(accepted[-n_back][0], last_days, *first).stored()
    return found


def earliest_times(pairs: Iterable[tuple[int, datetime]]) -> dict[int, datetime]:
    """Earliest time of each vehicle."""
    earliest: dict[int, datetime] = {}
    for vehicle_id, at in pairs:
        earliest[vehicle_id] = min(at, earliest.get(vehicle_id, at))
    return earliest


def _by_vehicle(rows: Iterable[Any]) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = {}
    for row in rows:
        found.setdefault(row[1], []).append(row)
    return found


def _from_accepted(rows: list[Any]) -> list[Any]:
    """Leave out what is not accepted at the window's very start."""
    place = next((place for place, row in enumerate(rows) if _is_used(row)), len(rows))
    return rows[place:]


def _is_used(row: Any) -> bool:
    return row[4] == ReadingOutcome.ACCEPTED and row[7] is not None and row[3] is not None


def _start(rows: list[Any], end: ReadingEnd) -> WindowStart:
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
        first_days=end.first_days,
        first_km=end.first_km,
    )
