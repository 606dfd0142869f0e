"""What has to be known of stored readings to judge new ones: all of them, or of a long history its end."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import isclose
from typing import Any, Final, NamedTuple, TypeVar

from sqlmodel import Session

from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.engine.arrays import Floats
from service.store.repositories import readings
from service.store.repositories.reading_windows import read_since
from service.units import KM_PER_MILE
from service.usecases.readings.known_readings import snapped
from service.usecases.readings.reading_ends import N_POINTS, ReadingEnds, WindowEnd, blank_ends
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

PLAIN: Final = frozenset({None, ReadingReason.PARKED, ReadingReason.IMPLAUSIBLE_HOURS})
"""Reasons of accepted readings whose odometer raises no question."""

Km = TypeVar("Km", float, Floats)

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
    """Rows of the repository of the same name, and where the windows among them start."""

    rows: Sequence[Any]
    starts: Mapping[int, WindowStart] = field(default_factory=dict)
    earlier: Sequence[Any] = ()
    """Rows that new ones may repeat, wherever they are."""


def load_readings(
    session: Session,
    organisation_id: int,
    earliest: Mapping[int, datetime],
    ends: Mapping[int, WindowEnd] | None = None,
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
    session: Session, organisation_id: int, earliest: Mapping[int, datetime], ends: Mapping[int, WindowEnd]
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
) -> dict[int, WindowEnd]:
    """Ends of long histories that have none, or not for readings that come so late."""
    counts = readings.count_readings(session, organisation_id, vehicle_ids) if vehicle_ids else {}
    found = {}
    for key in (key for key, count in counts.items() if count > LONG_HISTORY):
        since = readings.accepted_before(session, organisation_id, key, earliest[key], WINDOW_READINGS)
        if since is not None:
            first_at, first_km = readings.first_accepted(session, organisation_id, key)
            found[key] = WindowEnd(days_of(since), days_of(since), days_of(first_at), first_km)
    return found


class EndEntry(NamedTuple):
    """A reading as the end of a vehicle's readings is found from it."""

    days: float
    keyed_km: float | None
    used_km: float | None
    """None where it is not accepted."""

    is_plain: bool
    """Whether it is accepted and nothing is remarkable about it."""

    @classmethod
    def of_stored(cls, row: Any) -> "EndEntry":
        """Take a row as the repository reads it."""
        used_km = row[7] if _is_used(row) else None
        return cls(row[2], row[3], used_km, used_km is not None and row[5] in PLAIN and row[6] is None)


def end_of(entries: Sequence[EndEntry], start: WindowStart | None) -> ReadingEnds:
    """Say where a vehicle's readings end, from all of them or, where there is a start, from a window; one row."""
    end = blank_ends(1)
    end["last_days"] = max(entry.days for entry in entries)
    shown_any = (one for one in entries if one.keyed_km is not None)
    metered = sorted(shown_any, key=lambda one: (snapped(one.days), one.used_km or 0.0))
    accepted = [entry for entry in metered if entry.used_km is not None]
    if not accepted:
        end["is_settled"] = not metered
        return end
    n_back = WINDOW_READINGS if len(accepted) > 2 * WINDOW_READINGS else len(accepted)
    end["since_days"], end["later_days"] = accepted[-n_back].days, accepted[-1].days
    first = (accepted[0].days, accepted[0].used_km) if start is None else (start.first_days, start.first_km)
    end["first_days"], end["first_km"] = first
    is_short = len(accepted) < WINDOW_READINGS
    recent = metered if is_short else metered[metered.index(accepted[-WINDOW_READINGS]) :]
    shown = [(entry.keyed_km or 0.0, entry.used_km or 0.0) for entry in recent if entry.used_km is not None]
    factor = _factor(shown)
    offset_km = shown[-1][1] - factor * shown[-1][0]
    end["factor"], end["offset_km"] = factor, offset_km
    end["is_settled"] = all(entry.is_plain for entry in recent) and end["first_km"] >= offset_km
    latest = accepted[-N_POINTS:]
    end["point_days"][0, -len(latest) :] = [entry.days for entry in latest]
    end["point_km"][0, -len(latest) :] = [entry.keyed_km for entry in latest]
    return end


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


def _start(rows: list[Any], end: WindowEnd) -> WindowStart:
    start = rows[0]
    factor = _factor([(row[3], row[7]) for row in rows if _is_used(row)])
    return WindowStart(
        reading_id=start[0],
        factor=factor,
        offset_km=start[7] - factor * start[3],
        first_days=end.first_days,
        first_km=end.first_km,
    )


def _factor(shown: Sequence[tuple[float, float]]) -> float:
    """Factor from numbers on an instrument to the continuous series; the first pair belongs to the instrument."""
    keyed, used = shown[0]
    return next(
        (
            factor
            for other_keyed, other_used in shown[1:]
            if other_keyed != keyed
            for factor in _FACTORS
            if isclose(other_used - used, factor * (other_keyed - keyed), rel_tol=1e-6, abs_tol=1e-3)
        ),
        1.0,
    )
