"""Make readings of a vehicle out of believed values of its machine, once the offset to the dashboard is known."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from sqlmodel import Session

from service.domain import plausibility
from service.domain.external_ids import IdKind, format_id
from service.domain.machine_meters import LONGEST_GAP, Meter, OffsetOrigin, ValueUse, compare, offset_from
from service.domain.outcomes import ReadingOutcome
from service.store.repositories import machine_sources
from service.store.tables.machine_sources import MachineEquipment, MachineMeter, MachineReading, MachineSource
from service.usecases.access.caller import Caller
from service.usecases.machines.propose_offsets import COMPARED_BACK
from service.usecases.readings.reading_columns import ReadingRow
from service.usecases.readings.record_readings import store_readings

LONG_AGO: Final = datetime.fromisoformat("1980-01-01T00:00:00+00:00")
DECIMALS: Final = 3


@dataclass(slots=True, kw_only=True)
class _Linked:
    """A meter whose machine is a vehicle of the fleet."""

    equipment: MachineEquipment
    meter: MachineMeter
    vehicle_id: int
    waiting: list[MachineReading]


def pass_on_values(
    session: Session,
    caller: Caller,
    now: datetime,
    source: MachineSource,
    equipment: Sequence[MachineEquipment],
) -> int:
    """Learn the offsets that are not known yet, and store readings; returns how many."""
    linked = _linked(session, source, equipment)
    if not linked:
        return 0
    for meter in Meter:
        _compare(session, now, source, [one for one in linked if one.meter.meter == meter])
    ready = [one for one in linked if one.meter.offset is not None and one.waiting]
    chosen = _thin(session, source, ready)
    rows = [_reading(source, one, value) for one, value in chosen]
    possible = [place for place, row in enumerate(rows) if _is_possible(row)]
    results = store_readings(session, caller, now, [rows[place] for place in possible])
    outcomes = dict(zip(possible, results, strict=True))
    taken: list[MachineReading] = []
    refused: list[MachineReading] = []
    for place, (_, value) in enumerate(chosen):
        result = outcomes.get(place)
        is_taken = result is not None and result.outcome is not ReadingOutcome.REJECTED
        (taken if is_taken else refused).append(value)
    machine_sources.mark_use(session, taken, ValueUse.PASSED_ON)
    machine_sources.mark_use(session, refused, ValueUse.REFUSED)
    return len(taken)


def _linked(session: Session, source: MachineSource, equipment: Sequence[MachineEquipment]) -> list[_Linked]:
    vehicles = {row.id or 0: row for row in equipment if row.vehicle_id is not None}
    meters = machine_sources.meters_of(session, source.organisation_id, vehicles)
    waiting = machine_sources.waiting_values(
        session, source.organisation_id, [meter.id or 0 for meter in meters.values()]
    )
    return [
        _Linked(
            equipment=vehicles[key],
            meter=meter,
            vehicle_id=vehicles[key].vehicle_id or 0,
            waiting=waiting.get(meter.id or 0, []),
        )
        for (key, _), meter in meters.items()
    ]


def _compare(session: Session, now: datetime, source: MachineSource, linked: Sequence[_Linked]) -> None:
    """Hold each source against the dashboard: to learn the offset, or to see whether it has drifted."""
    if not linked:
        return
    organisation_id, kind = source.organisation_id, linked[0].meter.meter
    names = [row.name for row in machine_sources.list_sources(session, organisation_id)]
    unknown = [one for one in linked if one.meter.offset is None]
    known = [one for one in linked if one.meter.offset is not None]
    for some, since in ((unknown, LONG_AGO), (known, now - LONGEST_GAP)):
        shown = machine_sources.dashboard_values(
            session, organisation_id, [one.vehicle_id for one in some], kind, names, since
        )
        for one in some:
            _learn(session, one, shown.get(one.vehicle_id, []))


def _learn(session: Session, one: _Linked, shown: Sequence[tuple[datetime, float]]) -> None:
    meter = one.meter
    differences: list[float] = []
    if shown:
        recent = [pair for pair in shown if pair[0] >= shown[-1][0] - COMPARED_BACK]
        stored = machine_sources.latest_values(session, meter.organisation_id, [meter.id or 0])
        series = [
            (row.taken_at, row.continued)
            for row in stored.get(meter.id or 0, ())
            if row.outcome == ReadingOutcome.ACCEPTED
        ]
        differences = compare(recent, series)
    if meter.offset is None and not shown:
        meter.offset, meter.offset_origin = 0.0, OffsetOrigin.SOLE
    elif meter.offset is None and differences:
        meter.offset, meter.offset_origin = offset_from(differences), OffsetOrigin.LEARNED
    if meter.offset is not None and differences:
        meter.drift = differences[-1] - meter.offset
    session.add(meter)


def _thin(
    session: Session, source: MachineSource, ready: Sequence[_Linked]
) -> list[tuple[_Linked, MachineReading]]:
    """Let one value an hour become a reading: more would tell a projection nothing and fill every list."""
    every = [value for one in ready for value in one.waiting]
    if not every:
        return []
    first, last = (pick(value.taken_at for value in every) for pick in (min, max))
    hour = timedelta(hours=1)
    ids = [one.meter.id or 0 for one in ready]
    passed = machine_sources.passed_on_between(
        session, source.organisation_id, ids, first - hour, last + hour
    )
    hours = {(key, _hour(at)) for key, at in passed}
    chosen, left_out = [], []
    for one in ready:
        for value in one.waiting:
            key = (value.meter_id, _hour(value.taken_at))
            if key in hours:
                left_out.append(value)
            else:
                hours.add(key)
                chosen.append((one, value))
    machine_sources.mark_use(session, left_out, ValueUse.THINNED_OUT)
    return chosen


def _hour(instant: datetime) -> datetime:
    return instant.replace(minute=0, second=0, microsecond=0)


def _reading(source: MachineSource, one: _Linked, value: MachineReading) -> ReadingRow:
    """A reading as the dashboard would have shown it."""
    shown = round(value.continued + (one.meter.offset or 0.0), DECIMALS)
    is_odometer = one.meter.meter == Meter.ODOMETER
    return ReadingRow(
        vehicle=format_id(IdKind.VEHICLE, one.vehicle_id),
        taken_at=value.taken_at,
        odometer=shown if is_odometer else None,
        unit="km" if is_odometer else None,
        engine_hours=None if is_odometer else shown,
        source=source.name,
        reference=reading_reference(one.equipment, one.meter, value),
    )


def reading_reference(equipment: MachineEquipment, meter: MachineMeter, value: MachineReading) -> str:
    """Name of the reading that comes of a value, by which it is found again.

    While the source is only assumed to be the dashboard it is another one: the value may come again, put right.
    """
    return reading_references(equipment, meter, value)[0]


def reading_references(
    equipment: MachineEquipment, meter: MachineMeter, value: MachineReading
) -> tuple[str, str]:
    """The name that a reading of a value has now, and the one that it has if it came when the other was true."""
    name = f"{format_id(IdKind.MACHINE_EQUIPMENT, equipment.id)} {meter.meter} {value.taken_at.isoformat()}"
    assumed = f"{name}/assumed"
    return (assumed, name) if meter.offset_origin == OffsetOrigin.SOLE else (name, assumed)


def _is_possible(row: ReadingRow) -> bool:
    """Whether an offset has not led out of what any meter shows."""
    if row.odometer is not None:
        return plausibility.ODOMETER_KM.hold(row.odometer)
    return row.engine_hours is not None and plausibility.ENGINE_HOURS.hold(row.engine_hours)
