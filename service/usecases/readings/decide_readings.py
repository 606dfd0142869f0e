"""Release or discard a reading by hand; everything that rests on the vehicle's readings follows."""

from datetime import datetime
from typing import Literal

from sqlmodel import Session

from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.domain.roles import Scope
from service.store.repositories import fleet, readings
from service.store.repositories.stale_vehicles import mark_stale
from service.store.tables.readings import Reading
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.readings.reading_windows import load_readings
from service.usecases.readings.replace_cluster import reason_of_release
from service.usecases.readings.screen_hours import judge_hours_anew
from service.usecases.readings.screen_readings import decide


def decide_reading(
    session: Session, caller: Caller, now: datetime, reference: str, decision: Literal["release", "discard"]
) -> Reading:
    """Say that a reading is right or wrong, whatever screening thinks; may be said again the other way."""
    caller.require(Scope.PLANNING)
    reading = readings.get_reading(session, caller.organisation_id, reference)
    return apply_decision(session, caller, now, reading, decision)


def discard_reading_of_record(
    session: Session, caller: Caller, now: datetime, source: str, reference: str, vehicle_id: int
) -> None:
    """Discard the reading that came with a record which is voided now."""
    for reading in readings.list_readings(
        session, caller.organisation_id, vehicle_id=vehicle_id, reference=reference
    ):
        if reading.source == source and reading.outcome != ReadingOutcome.REJECTED:
            apply_decision(session, caller, now, reading, "discard")


def apply_decision(
    session: Session, caller: Caller, now: datetime, reading: Reading, decision: Literal["release", "discard"]
) -> Reading:
    """Write the decision down and screen the vehicle's readings anew."""
    fleet.lock_vehicles(session, caller.organisation_id, [reading.vehicle_id])
    before = {"outcome": reading.outcome, "reason": reading.reason}
    if decision == "release":
        reading.outcome, reading.reason = ReadingOutcome.ACCEPTED, reason_of_release(reading)
    else:
        reading.outcome, reading.reason, reading.used_km = (
            ReadingOutcome.REJECTED,
            ReadingReason.DISCARDED,
            None,
        )
    reading.decided_by = caller.actor[:80]
    session.add(reading)
    session.flush()
    changed = {reading.vehicle_id: reading.taken_at}
    decide(session, caller, now, load_readings(session, caller.organisation_id, changed), [])
    if reading.engine_hours is not None:
        judge_hours_anew(session, caller, now, reading.vehicle_id, reading.taken_at)
    mark_stale(session, caller.organisation_id, [reading.vehicle_id], now, changed)
    session.refresh(reading)
    record_change(session, caller, now, decision, "reading", reading.id, {"before": before})
    return reading
