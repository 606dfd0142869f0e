"""Record readings in bulk: every row gets an outcome, and one bad row never loses the good ones."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Final

from sqlmodel import Session

from service.domain import plausibility
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.domain.roles import Scope
from service.domain.units_of_distance import DistanceUnit
from service.errors import InvalidInputError
from service.store.repositories import fleet
from service.store.repositories.fleet import VehicleKey
from service.store.repositories.intake import NewRow, insert_readings
from service.store.repositories.reading_windows import read_between, read_ends, read_named
from service.store.repositories.stale_vehicles import mark_stale
from service.units import km_from_miles
from service.usecases.access.caller import Caller
from service.usecases.readings.known_readings import SAME_TIME_DAYS, Candidate, KnownReadings
from service.usecases.readings.reading_windows import StoredReadings, earliest_times, load_readings, new_ends
from service.usecases.readings.screen_hours import load_hour_series
from service.usecases.readings.screen_readings import NewEntry, decide
from service.usecases.usage.engine_time import days_of

MAX_ROWS: Final = 10_000
"""Rows of one call, and of one transaction of a file."""

NEAR: Final = timedelta(days=SAME_TIME_DAYS)
_NO_OFFSET: Final = timedelta(0)
STORED: Final = frozenset({ReadingOutcome.ACCEPTED, ReadingOutcome.HELD})


@dataclass(slots=True, kw_only=True)
class ReadingRow:
    """One reading as it came; texts are clean already, numbers within bounds."""

    vehicle: str
    taken_at: datetime
    odometer: float | None = None
    unit: str | None = None
    engine_hours: float | None = None
    source: str = "api"
    reference: str | None = None


@dataclass(slots=True)
class RowResult:
    """What became of one row."""

    outcome: ReadingOutcome
    reason: ReadingReason | None = None
    detail: str | None = None


@dataclass(slots=True)
class _NewReading:
    """A reading that can be stored, and what is decided about it."""

    vehicle_id: int
    taken_at: datetime
    """UTC; a slightly fast clock of the sender taken as now."""

    at_days: float
    km: float | None
    unit: str
    row: ReadingRow
    engine_hours: float | None
    outcome: ReadingOutcome = ReadingOutcome.ACCEPTED
    reason: ReadingReason | None = None
    used_km: float | None = None
    used_hours: float | None = None

    @property
    def candidate(self) -> Candidate:
        """What tells whether it is a repeat."""
        row = self.row
        return Candidate(self.vehicle_id, self.at_days, self.km, row.engine_hours, row.source, row.reference)

    def stored_row(self, organisation_id: int, now: datetime) -> NewRow:
        """Row of the table; the offset is the one the time came with."""
        row = self.row
        offset = row.taken_at.utcoffset() or _NO_OFFSET
        return NewRow(
            organisation_id,
            self.vehicle_id,
            self.taken_at,
            offset.days * 1440 + offset.seconds // 60,
            row.odometer,
            self.unit,
            self.km,
            self.used_km,
            row.engine_hours,
            self.used_hours,
            row.source,
            row.reference,
            self.outcome.value,
            None if self.reason is None else self.reason.value,
            now,
        )


def record_readings(
    session: Session, caller: Caller, now: datetime, rows: Sequence[ReadingRow | RowResult]
) -> list[RowResult]:
    """Store the rows that can be stored; a row that was refused already is passed through.

    Held readings are stored and wait for a decision or for a later reading that speaks for them.
    """
    caller.require(Scope.READINGS)
    if len(rows) > MAX_ROWS:
        raise InvalidInputError.at(
            "/readings", f"At most {MAX_ROWS} readings a call; send the rest in another one."
        )
    return store_readings(session, caller, now, rows)


def store_readings(
    session: Session, caller: Caller, now: datetime, rows: Sequence[ReadingRow | RowResult]
) -> list[RowResult]:
    """Do the work of `record_readings` for whoever has read a meter in the course of other work."""
    organisation_id = caller.organisation_id
    vehicles = fleet.keys_by_reference(
        session, organisation_id, {row.vehicle for row in rows if isinstance(row, ReadingRow)}
    )
    fleet.lock_vehicles(session, organisation_id, {vehicle.id for vehicle in vehicles.values()})
    checked = [
        _new_reading(caller, now, vehicles.get(row.vehicle), row) if isinstance(row, ReadingRow) else row
        for row in rows
    ]
    stored = _load(session, organisation_id, [one for one in checked if isinstance(one, _NewReading)])
    checked = _without_repeats(stored, checked)
    new = [one for one in checked if isinstance(one, _NewReading)]
    changed = _screen(session, caller, now, stored, new)
    kept = [one for one in new if one.outcome in STORED]
    insert_readings(session, [one.stored_row(organisation_id, now) for one in kept])
    touched = earliest_times((one.vehicle_id, one.taken_at) for one in kept)
    ends = _ends(stored, [one for one in kept if one.vehicle_id not in changed])
    mark_stale(session, organisation_id, sorted(touched), now, touched, ends)
    return [RowResult(one.outcome, one.reason) if isinstance(one, _NewReading) else one for one in checked]


def _load(session: Session, organisation_id: int, new: Sequence[_NewReading]) -> StoredReadings:
    """Load what is stored of the vehicles concerned, as far as it matters; what new rows may repeat, wherever it is."""
    ends = read_ends(session, organisation_id, sorted({one.vehicle_id for one in new}))
    ended = [one for one in new if one.vehicle_id in ends]
    spans = [
        (one.vehicle_id, one.taken_at - NEAR, one.taken_at + NEAR)
        for one in ended
        if one.at_days <= ends[one.vehicle_id].last_days + SAME_TIME_DAYS
    ]
    earlier = read_named(session, organisation_id, _names(ended)) + read_between(
        session, organisation_id, spans
    )
    known = _known(earlier, ended)
    fresh = [one for one in new if not known.holds(one.candidate)]
    earliest = earliest_times((one.vehicle_id, one.taken_at) for one in fresh)
    stored = load_readings(session, organisation_id, earliest, ends)
    unasked = [one for one in fresh if one.vehicle_id in stored.starts and one.vehicle_id not in ends]
    return replace(stored, earlier=earlier + read_named(session, organisation_id, _names(unasked)))


def _names(new: Sequence[_NewReading]) -> list[tuple[int, str, str]]:
    """Source and reference of those readings that have one."""
    return [
        (one.vehicle_id, one.row.source, one.row.reference) for one in new if one.row.reference is not None
    ]


def _known(stored: Sequence[Any], new: Sequence[_NewReading]) -> KnownReadings:
    """What is stored that new readings may repeat."""
    known = KnownReadings()
    references = {one.row.reference for one in new if one.row.reference is not None}
    known.note_stored(stored, [one.at_days for one in new], references)
    return known


def _ends(stored: StoredReadings, kept: Sequence[_NewReading]) -> dict[int, bytes]:
    """Where the readings of vehicles end now."""
    by_vehicle: dict[int, list[tuple[float, float | None]]] = {}
    for one in kept:
        km = one.used_km if one.outcome is ReadingOutcome.ACCEPTED else None
        by_vehicle.setdefault(one.vehicle_id, []).append((one.at_days, km))
    return new_ends(stored, by_vehicle)


def _without_repeats(
    stored: StoredReadings, checked: Sequence[_NewReading | RowResult]
) -> list[_NewReading | RowResult]:
    """Give repeats their outcome, of rows stored earlier and of rows of this call."""
    new = [one for one in checked if isinstance(one, _NewReading)]
    known = _known([*stored.earlier, *stored.rows], new)
    if known.is_empty and _differ(new):
        return list(checked)
    return [one if isinstance(one, RowResult) else _or_repeat(known, one) for one in checked]


def _differ(new: Sequence[_NewReading]) -> bool:
    """Whether no two readings of a call are of the same vehicle and time or name the same reference: the usual case."""
    times = {(one.vehicle_id, one.at_days) for one in new}
    named = [one for one in new if one.row.reference is not None]
    references = {(one.vehicle_id, one.row.reference) for one in named}
    return len(times) == len(new) and len(references) == len(named)


def _or_repeat(known: KnownReadings, new: _NewReading) -> _NewReading | RowResult:
    reason = known.repeat(new.candidate)
    if reason is None:
        return new
    is_same = reason is ReadingReason.DUPLICATE
    return RowResult(ReadingOutcome.DUPLICATE if is_same else ReadingOutcome.REJECTED, reason)


def _screen(
    session: Session, caller: Caller, now: datetime, stored: StoredReadings, new: Sequence[_NewReading]
) -> set[int]:
    """Write the decisions into the new readings; gives vehicles of which stored ones are judged anew."""
    metered = [one for one in new if one.km is not None]
    entries = [NewEntry(one.vehicle_id, one.at_days, one.km or 0.0) for one in metered]
    decided = decide(session, caller, now, stored, entries)
    for one, decision in zip(metered, decided.of_new, strict=True):
        one.outcome, one.reason, one.used_km = decision.outcome, decision.reason, decision.used_km
    _check_hours(session, caller.organisation_id, stored.rows, new)
    return decided.changed


def _new_reading(
    caller: Caller, now: datetime, vehicle: VehicleKey | None, row: ReadingRow
) -> _NewReading | RowResult:
    """Give the reading that a row says, or why it says none."""
    if vehicle is None or (caller.vehicle_id is not None and caller.vehicle_id != vehicle.id):
        return RowResult(ReadingOutcome.REJECTED, ReadingReason.UNKNOWN_VEHICLE)
    if row.odometer is None and row.engine_hours is None:
        return RowResult(ReadingOutcome.REJECTED, ReadingReason.NO_METER)
    try:
        taken_at = plausibility.past_instant("/taken_at", row.taken_at, now)
    except InvalidInputError as error:
        reason = ReadingReason.FUTURE if row.taken_at > now else ReadingReason.TOO_OLD
        return RowResult(ReadingOutcome.REJECTED, reason, error.detail)
    unit, km = row.unit or vehicle.odometer_unit, row.odometer
    if km is not None:
        km = km_from_miles(km) if unit == DistanceUnit.MI else km
        if not plausibility.ODOMETER_KM.hold(km):
            return RowResult(ReadingOutcome.REJECTED, ReadingReason.OUT_OF_RANGE)
    return _NewReading(vehicle.id, taken_at, days_of(taken_at), km, unit, row, row.engine_hours)


def _check_hours(
    session: Session, organisation_id: int, stored: Sequence[Any], new: Sequence[_NewReading]
) -> None:
    """Leave an hour meter out that runs backwards or faster than the clock; the distance beside it counts."""
    metered = [reading for reading in new if reading.engine_hours is not None]
    if not metered:
        return
    series = load_hour_series(session, organisation_id, {one.vehicle_id for one in metered})
    last: dict[int, tuple[float, float]] = {}
    for row in stored:
        if row[12] is not None and row[4] == ReadingOutcome.ACCEPTED:
            last[row[1]] = max(last.get(row[1], (row[2], row[12])), (row[2], row[12]))
    for reading in sorted(metered, key=lambda one: one.at_days):
        at = reading.at_days
        hours = (reading.engine_hours or 0.0) + series.shift(reading.vehicle_id, at, reading.row.source)
        reading.used_hours = hours
        before = last.get(reading.vehicle_id)
        if before is None or at < before[0] or plausibility.hours_run_on(before[1], hours, at - before[0]):
            last[reading.vehicle_id] = (at, hours)
            continue
        reading.reason = reading.reason or ReadingReason.IMPLAUSIBLE_HOURS
        if reading.km is None:
            reading.outcome = ReadingOutcome.HELD
        else:
            reading.used_hours = None
