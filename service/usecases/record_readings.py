"""Record readings in bulk: every row gets an outcome, and one bad row never loses the good ones."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final

from sqlmodel import Session

from service.domain import plausibility
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.domain.plausibility import hours_run_on
from service.domain.roles import Scope
from service.domain.units_of_distance import DistanceUnit
from service.errors import InvalidInputError
from service.store.repositories import fleet, readings
from service.store.tables.vehicles import Vehicle
from service.units import km_from_miles
from service.usecases.caller import Caller
from service.usecases.change_verdicts import Decision
from service.usecases.engine_time import days_of
from service.usecases.reading_windows import StoredReadings, earliest_times, load_readings
from service.usecases.screen_readings import NewEntry, decide

MAX_ROWS: Final = 10_000
"""Rows of one call, and of one transaction of a file."""

RECORD_SOURCES: Final = frozenset({"service", "sample"})
"""Sources of readings that came with a record; its id is their reference."""


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
class _Known:
    """What is stored of the vehicles concerned, for telling repeats."""

    by_reference: dict[tuple[int, str, str], tuple[float, float | None, float | None]] = field(
        default_factory=dict
    )
    by_value: set[tuple[int, float, float | None, float | None]] = field(default_factory=set)


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
    names = {row.vehicle for row in rows if isinstance(row, ReadingRow)}
    vehicles = fleet.vehicles_by_reference(session, caller.organisation_id, names)
    ids = sorted({vehicle.id for vehicle in vehicles.values() if vehicle.id is not None})
    fleet.lock_vehicles(session, caller.organisation_id, ids)
    stored = _load(session, caller.organisation_id, now, vehicles, rows)
    known = _known([*stored.earlier, *stored.rows])
    results: list[RowResult | None] = [
        row if isinstance(row, RowResult) else _refuse(caller, now, vehicles, known, row) for row in rows
    ]
    fresh = [
        (place, row)
        for place, row in enumerate(rows)
        if results[place] is None and isinstance(row, ReadingRow)
    ]
    prepared = [_prepare(caller, now, vehicles[row.vehicle], row) for _, row in fresh]
    _screen(session, caller, now, stored, prepared)
    for (place, _), values in zip(fresh, prepared, strict=True):
        results[place] = RowResult(values["outcome"], values["reason"])
    keep = [
        values for values in prepared if values["outcome"] in {ReadingOutcome.ACCEPTED, ReadingOutcome.HELD}
    ]
    readings.insert_readings(session, keep)
    touched = earliest_times((values["vehicle_id"], values["taken_at"]) for values in keep)
    readings.mark_stale(session, caller.organisation_id, sorted(touched), now, touched)
    return [result for result in results if result is not None]


def _load(
    session: Session,
    organisation_id: int,
    now: datetime,
    vehicles: Mapping[str, Vehicle],
    rows: Sequence[ReadingRow | RowResult],
) -> StoredReadings:
    """Load what is stored of the vehicles concerned, as far as it matters; references wherever they are."""
    concerned = [
        (vehicles[row.vehicle].id or 0, row)
        for row in rows
        if isinstance(row, ReadingRow) and row.vehicle in vehicles
    ]
    earliest = earliest_times((key, _aware(row.taken_at, now)) for key, row in concerned)
    stored = load_readings(session, organisation_id, earliest)
    if not stored.starts:
        return stored
    references = {
        row.reference for key, row in concerned if key in stored.starts and row.reference is not None
    }
    loaded = {row[0] for row in stored.rows}
    repeated = readings.read_entries(session, organisation_id, list(stored.starts), references=references)
    return StoredReadings(
        rows=stored.rows, starts=stored.starts, earlier=[row for row in repeated if row[0] not in loaded]
    )


def _aware(taken_at: datetime, now: datetime) -> datetime:
    """Give the time of a row that will be refused for having no offset some meaning."""
    return now if taken_at.tzinfo is None else min(taken_at, now)


def _known(stored: Sequence[Any]) -> _Known:
    known = _Known()
    for row in stored:
        hours = row[11]
        if not _is_withdrawn(row):
            known.by_value.add((row[1], round(row[2], 6), row[3], hours))
        if row[10] is not None:
            known.by_reference[(row[1], row[9], row[10])] = (round(row[2], 6), row[3], hours)
    return known


def _is_withdrawn(row: Any) -> bool:
    """Whether a reading went with a record that was voided: the record may come again, put right."""
    return row[9] in RECORD_SOURCES and row[4] == ReadingOutcome.REJECTED


def _refuse(
    caller: Caller, now: datetime, vehicles: Mapping[str, Vehicle], known: _Known, row: ReadingRow
) -> RowResult | None:
    """Outcome of a row that is not to be screened; it is remembered as known otherwise."""
    vehicle = vehicles.get(row.vehicle)
    if vehicle is None or vehicle.id is None:
        return RowResult(ReadingOutcome.REJECTED, ReadingReason.UNKNOWN_VEHICLE)
    if caller.vehicle_id is not None and caller.vehicle_id != vehicle.id:
        return RowResult(ReadingOutcome.REJECTED, ReadingReason.UNKNOWN_VEHICLE)
    if row.odometer is None and row.engine_hours is None:
        return RowResult(ReadingOutcome.REJECTED, ReadingReason.NO_METER)
    try:
        row.taken_at = _instant(row.taken_at, now)
    except InvalidInputError as error:
        reason = ReadingReason.FUTURE if row.taken_at > now else ReadingReason.TOO_OLD
        return RowResult(ReadingOutcome.REJECTED, reason, error.detail)
    km = _km(row, vehicle)
    if km is not None and not plausibility.ODOMETER_KM.hold(km):
        return RowResult(ReadingOutcome.REJECTED, ReadingReason.OUT_OF_RANGE)
    return _repeat(known, vehicle.id, row, km)


def _repeat(known: _Known, vehicle_id: int, row: ReadingRow, km: float | None) -> RowResult | None:
    value = (round(days_of(row.taken_at), 6), km, row.engine_hours)
    if row.reference is not None:
        key = (vehicle_id, row.source, row.reference)
        earlier = known.by_reference.get(key)
        if earlier is not None and earlier != value:
            return RowResult(ReadingOutcome.REJECTED, ReadingReason.REFERENCE_REUSED)
        if earlier is not None:
            return RowResult(ReadingOutcome.DUPLICATE, ReadingReason.DUPLICATE)
        known.by_reference[key] = value
    if (vehicle_id, *value) in known.by_value:
        return RowResult(ReadingOutcome.DUPLICATE, ReadingReason.DUPLICATE)
    known.by_value.add((vehicle_id, *value))
    return None


def _instant(taken_at: datetime, now: datetime) -> datetime:
    """Offset kept, a slightly fast clock of the sender taken as now."""
    instant = plausibility.past_instant("/taken_at", taken_at, now)
    return instant.astimezone(taken_at.tzinfo)


def _km(row: ReadingRow, vehicle: Vehicle) -> float | None:
    if row.odometer is None:
        return None
    unit = row.unit or vehicle.odometer_unit
    return km_from_miles(row.odometer) if unit == DistanceUnit.MI else row.odometer


def _prepare(caller: Caller, now: datetime, vehicle: Vehicle, row: ReadingRow) -> dict[str, Any]:
    offset = row.taken_at.utcoffset() or timedelta(0)
    return {
        "organisation_id": caller.organisation_id,
        "vehicle_id": vehicle.id,
        "taken_at": row.taken_at,
        "utc_offset_minutes": int(offset.total_seconds() // 60),
        "odometer": row.odometer,
        "unit": row.unit or vehicle.odometer_unit,
        "odometer_km": _km(row, vehicle),
        "used_km": None,
        "engine_hours": row.engine_hours,
        "used_hours": row.engine_hours,
        "source": row.source,
        "reference": row.reference,
        "outcome": ReadingOutcome.ACCEPTED,
        "reason": None,
        "received_at": now,
    }


def _screen(
    session: Session, caller: Caller, now: datetime, stored: StoredReadings, prepared: list[dict[str, Any]]
) -> None:
    """Write the decisions into the prepared rows: of the odometer first, then of the hour meter."""
    metered = [values for values in prepared if values["odometer_km"] is not None]
    entries = [
        NewEntry(
            vehicle_id=values["vehicle_id"],
            at_days=days_of(values["taken_at"]),
            odometer_km=values["odometer_km"],
        )
        for values in metered
    ]
    for values, decision in zip(metered, decide(session, caller, now, stored, entries), strict=True):
        _take(values, decision)
    _check_hours(stored.rows, prepared)


def _take(values: dict[str, Any], decision: Decision) -> None:
    values["outcome"], values["reason"] = decision.outcome, decision.reason
    values["used_km"] = decision.used_km


def _check_hours(stored: Sequence[Any], prepared: Sequence[dict[str, Any]]) -> None:
    """Leave an hour meter out that runs backwards or faster than the clock; the distance beside it counts."""
    last: dict[int, tuple[float, float]] = {}
    for row in stored:
        if row[12] is not None and row[4] == ReadingOutcome.ACCEPTED:
            last[row[1]] = max(last.get(row[1], (row[2], row[12])), (row[2], row[12]))
    for values in sorted(prepared, key=lambda one: one["taken_at"]):
        hours = values["engine_hours"]
        if hours is None:
            continue
        at = days_of(values["taken_at"])
        before = last.get(values["vehicle_id"])
        is_later = before is not None and at >= before[0]
        if before is not None and is_later and not hours_run_on(before[1], hours, at - before[0]):
            values["reason"] = values["reason"] or ReadingReason.IMPLAUSIBLE_HOURS
            if values["odometer_km"] is None:
                values["outcome"] = ReadingOutcome.HELD
            else:
                values["used_hours"] = None
        else:
            last[values["vehicle_id"]] = (at, hours)
