"""Say by hand what a value of a machine source is: right, wrong, or the first of a meter that counts anew."""

from datetime import datetime
from enum import StrEnum
from typing import Final, Literal

from sqlmodel import Session

from service.domain.machine_meters import ValueUse
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.domain.roles import Scope
from service.errors import StateTransitionError
from service.store.repositories import machine_sources, readings
from service.store.tables.machine_sources import MachineEquipment, MachineMeter, MachineReading, MachineSource
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.machines.pass_on_values import pass_on_values, reading_references
from service.usecases.machines.screen_machine_values import Series, SeriesValue, screen_series
from service.usecases.machines.take_machine_values import keep_judgements
from service.usecases.readings.decide_readings import apply_decision
from service.usecases.usage.usage_model import vehicle_classes


class ValueDecision(StrEnum):
    """What a person says of a value."""

    RELEASE = "release"
    DISCARD = "discard"
    RENEW = "renew"
    """The meter of the source counts anew from here: its instrument or its box was replaced."""


DECIDED: Final = {
    ValueDecision.RELEASE: (ReadingOutcome.ACCEPTED, ReadingReason.RELEASED),
    ValueDecision.DISCARD: (ReadingOutcome.REJECTED, ReadingReason.DISCARDED),
    ValueDecision.RENEW: (ReadingOutcome.ACCEPTED, ReadingReason.CLUSTER_REPLACED),
}


def decide_value(
    session: Session,
    caller: Caller,
    now: datetime,
    source: MachineSource,
    equipment: MachineEquipment,
    reference: str,
    decision: ValueDecision,
) -> tuple[MachineReading, MachineMeter]:
    """Write the decision down and judge the meter's last values anew; a reading that came of the value follows.

    The source is locked. Values that became readings already stay as they were passed on.

    Raises
    ------
    StateTransitionError
        If so many values came since that this one is no longer looked at.
    """
    caller.require(Scope.PLANNING)
    row, meter = machine_sources.get_value(session, caller.organisation_id, equipment.id or 0, reference)
    stored = machine_sources.latest_values(session, caller.organisation_id, [meter.id or 0])[meter.id or 0]
    if row not in stored:
        raise StateTransitionError("Only the latest values of a meter can be decided on; this one is older.")
    before = {"outcome": row.outcome, "reason": row.reason}
    row.outcome, row.reason = DECIDED[decision]
    row.decided_by = caller.actor[:80]
    session.add(row)
    series = Series(
        meter=meter,
        vehicle_class=_class_of(session, equipment),
        values=[SeriesValue(taken_at=one.taken_at, continued=one.continued, stored=one) for one in stored],
    )
    screen_series(session, caller.organisation_id, now, [series])
    keep_judgements(session, series)
    session.flush()
    _follow(session, caller, now, source, equipment, meter, row, decision)
    pass_on_values(session, caller, now, source, [equipment])
    record_change(session, caller, now, decision, "machine value", row.id, {"before": before})
    return row, meter


def _follow(
    session: Session,
    caller: Caller,
    now: datetime,
    source: MachineSource,
    equipment: MachineEquipment,
    meter: MachineMeter,
    row: MachineReading,
    decision: ValueDecision,
) -> None:
    """Decide on the vehicle's reading that came of the value as on the value."""
    if row.use != ValueUse.PASSED_ON or equipment.vehicle_id is None:
        return
    said: Literal["release", "discard"] = "discard" if decision is ValueDecision.DISCARD else "release"
    for name in reading_references(equipment, meter, row):
        found = readings.list_readings(
            session, caller.organisation_id, vehicle_id=equipment.vehicle_id, reference=name
        )
        own = [reading for reading in found if reading.source == source.name]
        for reading in own:
            apply_decision(session, caller, now, reading, said)
        if own:
            return


def _class_of(session: Session, equipment: MachineEquipment) -> str | None:
    if equipment.vehicle_id is None:
        return None
    return vehicle_classes(session, equipment.organisation_id, [equipment.vehicle_id])[0]
