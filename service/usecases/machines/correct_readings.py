"""Take back what was passed on while a source was only assumed to be the dashboard, once its offset is known.

What was keyed is never altered: the readings are discarded, and their values wait to be passed on anew.
"""

from datetime import datetime

from sqlmodel import Session

from service.domain.external_ids import IdKind, format_id
from service.domain.machine_meters import ValueUse
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.store.repositories import fleet, machine_sources, readings
from service.store.repositories.stale_vehicles import mark_stale
from service.store.tables.machine_sources import MachineEquipment, MachineMeter, MachineReading, MachineSource
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.machines.pass_on_values import reading_reference
from service.usecases.readings.reading_windows import load_readings
from service.usecases.readings.screen_hours import judge_hours_anew
from service.usecases.readings.screen_readings import decide


def take_back_readings(
    session: Session,
    caller: Caller,
    now: datetime,
    source: MachineSource,
    equipment: MachineEquipment,
    meter: MachineMeter,
) -> None:
    """Discard the readings of the present vehicle that rest on the assumption, and judge its others anew."""
    organisation_id, vehicle_id = caller.organisation_id, equipment.vehicle_id or 0
    values = {
        reading_reference(equipment, meter, value): value
        for value in machine_sources.passed_on_values(session, organisation_id, meter.id or 0)
    }
    fleet.lock_vehicles(session, organisation_id, [vehicle_id])
    stored = machine_sources.readings_of_source(session, organisation_id, vehicle_id, source.name)
    taken = {key: values[name] for key, name in stored if name in values}
    if not taken:
        return
    said = {
        "outcome": ReadingOutcome.REJECTED,
        "reason": ReadingReason.DISCARDED,
        "used_km": None,
        "used_hours": None,
        "decided_by": caller.actor[:80],
    }
    readings.update_verdicts(session, organisation_id, [{"id": key, **said} for key in taken])
    machine_sources.mark_use(session, list(taken.values()), ValueUse.WAITING)
    _judge_anew(session, caller, now, vehicle_id, list(taken.values()))
    detail = {
        "n_readings": len(taken),
        "meter": meter.meter,
        "vehicle": format_id(IdKind.VEHICLE, vehicle_id),
    }
    record_change(session, caller, now, "took back", "reading", None, detail)


def _judge_anew(
    session: Session, caller: Caller, now: datetime, vehicle_id: int, values: list[MachineReading]
) -> None:
    since = min(value.taken_at for value in values)
    changed = {vehicle_id: since}
    decide(session, caller, now, load_readings(session, caller.organisation_id, changed), [])
    judge_hours_anew(session, caller, now, vehicle_id, since)
    mark_stale(session, caller.organisation_id, [vehicle_id], now, changed)
