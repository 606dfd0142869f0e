"""Accept a plan to come back for further rounds, so that the due list carries it."""

from datetime import datetime, timedelta

from sqlmodel import Session

from service.domain import plausibility
from service.domain.roles import Scope
from service.domain.vehicle_life import require_in_use
from service.domain.zones import local_date
from service.errors import InvalidInputError, StateTransitionError
from service.store.repositories import fleet, services
from service.store.tables.services import ReturnVisit
from service.store.tables.vehicles import Compartment
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.fluids.pending_return import ReturnState, return_state
from service.usecases.fluids.update_states import explain_state, update_states
from service.usecases.usage.engine_time import days_of


def accept_return(
    session: Session,
    caller: Caller,
    now: datetime,
    reference: str,
    n_rounds: int,
    *,
    after_km: float | None = None,
    after_days: int | None = None,
    note: str | None = None,
) -> ReturnVisit:
    """Accept a return visit after a distance, some days, or whichever comes first, counted from now.

    Raises
    ------
    InvalidInputError
        If it does not say when, or counts kilometres of a vehicle that has no reading.
    """
    caller.require(Scope.WORKSHOP)
    compartment = fleet.get_compartment(session, caller.organisation_id, reference)
    caller.require_vehicle(compartment.vehicle_id)
    fleet.lock_vehicles(session, caller.organisation_id, [compartment.vehicle_id])
    owner = fleet.get_vehicle_by_id(session, caller.organisation_id, compartment.vehicle_id)
    require_in_use(owner.reference, owner.retired_at)
    if after_km is None and after_days is None:
        raise InvalidInputError.at("/after_days", "Say after how many days or kilometres.")
    zone = fleet.get_organisation(session, caller.organisation_id).zone
    due_on = None if after_days is None else local_date(now, zone) + timedelta(days=after_days)
    visit = ReturnVisit(
        organisation_id=caller.organisation_id,
        compartment_id=compartment.id or 0,
        n_rounds=n_rounds,
        due_on=due_on,
        due_odometer_km=None if after_km is None else _odometer(session, caller, compartment, now) + after_km,
        note=note,
        accepted_at=now,
        accepted_by=caller.actor[:80],
    )
    if visit.due_odometer_km is not None:
        plausibility.ODOMETER_KM.check("/after_km", visit.due_odometer_km)
    session.add(visit)
    session.flush()
    update_states(session, caller.organisation_id, [compartment.vehicle_id])
    detail = {"compartment": compartment.reference, "rounds": n_rounds}
    record_change(session, caller, now, "accepted", "return visit", visit.id, detail)
    return visit


def cancel_return(session: Session, caller: Caller, now: datetime, reference: str) -> None:
    """Take a return visit off the plan.

    Raises
    ------
    StateTransitionError
        If it is cancelled already.
    """
    caller.require(Scope.WORKSHOP)
    visit = services.get_return_visit(session, caller.organisation_id, reference)
    (compartment,) = fleet.compartments_by_id(session, caller.organisation_id, [visit.compartment_id])
    fleet.lock_vehicles(session, caller.organisation_id, [compartment.vehicle_id])
    session.refresh(visit)
    if visit.cancelled_at is not None:
        raise StateTransitionError("This return visit is cancelled already.")
    visit.cancelled_at = now
    session.add(visit)
    session.flush()
    update_states(session, caller.organisation_id, [compartment.vehicle_id])
    record_change(session, caller, now, "cancelled", "return visit", visit.id)


def list_returns(session: Session, caller: Caller, reference: str) -> list[tuple[ReturnVisit, ReturnState]]:
    """Return visits of a compartment with where they stand, the latest first."""
    caller.require(Scope.READ)
    compartment = fleet.get_compartment(session, caller.organisation_id, reference)
    ids = [compartment.id or 0]
    visits = services.return_visits_of_compartments(session, caller.organisation_id, ids)
    items = services.items_of_compartments(session, caller.organisation_id, ids).get(ids[0], [])
    return [(visit, return_state(visit, items)) for visit in reversed(visits.get(ids[0], []))]


def _odometer(session: Session, caller: Caller, compartment: Compartment, now: datetime) -> float:
    history, _ = explain_state(session, caller.organisation_id, compartment)
    shown = history.meters.odometer_km(days_of(now))
    if shown is None:
        raise InvalidInputError.at(
            "/after_km", "The vehicle has no odometer reading; give after_days instead."
        )
    return shown
