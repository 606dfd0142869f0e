"""Tell the plan what people know better: this vehicle on that day, or not before it."""

from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session

from service.domain.roles import Scope
from service.domain.vehicle_life import require_in_use
from service.store.repositories import fleet, visits
from service.store.tables.visits import VisitPin
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.visits.visit_days import require_visit_day


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPin:
    """What is asked of a vehicle's next visit."""

    vehicle: str
    kind: str
    day: date
    note: str | None = None


def pin_visit(session: Session, caller: Caller, now: datetime, new: NewPin) -> VisitPin:
    """Pin a vehicle's next visit; the pin it had before is replaced.

    Raises
    ------
    InvalidInputError
        If the day is over or too far ahead.
    StateTransitionError
        If the vehicle is no longer in use.
    """
    caller.require(Scope.PLANNING)
    vehicle = fleet.get_vehicle(session, caller.organisation_id, new.vehicle)
    require_in_use(vehicle.reference, vehicle.retired_at)
    require_visit_day(session, caller, now, "/day", new.day)
    drop_pin(session, caller, vehicle.id or 0)
    pin = VisitPin(
        organisation_id=caller.organisation_id,
        vehicle_id=vehicle.id or 0,
        kind=new.kind,
        day=new.day,
        note=new.note,
        created_at=now,
        by=caller.actor[:80],
    )
    session.add(pin)
    session.flush()
    detail = {"vehicle": vehicle.reference, "kind": new.kind, "day": new.day.isoformat()}
    record_change(session, caller, now, "pinned", "visit", pin.id, detail)
    return pin


def drop_pin(session: Session, caller: Caller, vehicle_id: int) -> None:
    """Forget what is asked of a vehicle's next visit, if anything is."""
    pin = visits.find_pin(session, caller.organisation_id, vehicle_id)
    if pin is not None:
        session.delete(pin)
        session.flush()


def remove_pin(session: Session, caller: Caller, now: datetime, reference: str) -> None:
    """Let the plan choose again."""
    caller.require(Scope.PLANNING)
    pin = visits.get_pin(session, caller.organisation_id, reference)
    session.delete(pin)
    detail = {"vehicle_id": pin.vehicle_id, "kind": pin.kind, "day": pin.day.isoformat()}
    record_change(session, caller, now, "unpinned", "visit", pin.id, detail)
    session.flush()
