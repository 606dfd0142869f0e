"""Close a job: every step that matters is done, or somebody says why not; then the service is recorded."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from service.domain.fluid_kinds import FluidKind
from service.domain.roles import Scope
from service.domain.service_work import STEP_TEXTS, ServiceStep, open_steps, required_steps
from service.errors import FieldError, InvalidInputError
from service.store.repositories import fleet, job_drafts
from service.store.tables.job_drafts import JobDraft
from service.store.tables.vehicles import Compartment
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.services.record_services import RecordedService, record_service
from service.usecases.services.service_entries import NewService, NewWork
from service.usecases.services.set_level import level_advice


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishedWork:
    """What was done to one compartment, and the steps that were ticked."""

    work: NewWork
    ticked: frozenset[ServiceStep]


def close_job(
    session: Session, caller: Caller, now: datetime, service: NewService, works: Sequence[FinishedWork]
) -> RecordedService:
    """Record a visit whose steps are all closed, and forget its draft.

    Raises
    ------
    InvalidInputError
        Naming every step that is still open and has no reason beside it.
    """
    caller.require(Scope.WORKSHOP)
    vehicle = fleet.get_vehicle(session, caller.organisation_id, service.vehicle)
    places = {
        row.reference: row
        for row in fleet.list_compartments(session, caller.organisation_id, vehicle.id or 0)
    }
    errors = [
        error
        for number, one in enumerate(works)
        for error in _open(f"/compartments/{number}", one, places.get(one.work.compartment))
    ]
    if not works:
        raise InvalidInputError("Say on which compartment something was done.")
    if errors:
        raise InvalidInputError("The job cannot be closed yet; what is open is marked below.", errors)
    recorded = record_service(
        session, caller, now, replace(service, compartments=tuple(one.work for one in works))
    )
    job_drafts.delete_draft(session, caller.organisation_id, vehicle.id or 0)
    return recorded


def save_draft(
    session: Session, caller: Caller, now: datetime, reference: str, fields: dict[str, Any]
) -> JobDraft:
    """Keep what has been filled in so far; whoever opens the sheet next goes on from there."""
    caller.require(Scope.WORKSHOP)
    vehicle = fleet.get_vehicle(session, caller.organisation_id, reference)
    draft = job_drafts.find_draft(session, caller.organisation_id, vehicle.id or 0)
    if draft is None:
        draft = JobDraft(
            organisation_id=caller.organisation_id,
            vehicle_id=vehicle.id or 0,
            begun_at=now,
            saved_at=now,
            saved_by=caller.actor[:80],
        )
    draft.fields, draft.saved_at, draft.saved_by = dict(fields), now, caller.actor[:80]
    session.add(draft)
    session.flush()
    record_change(session, caller, now, "saved a job sheet half-done", "vehicle", vehicle.id)
    return draft


def drop_draft(session: Session, caller: Caller, now: datetime, reference: str) -> None:
    """Forget what has been filled in."""
    caller.require(Scope.WORKSHOP)
    vehicle = fleet.get_vehicle(session, caller.organisation_id, reference)
    job_drafts.delete_draft(session, caller.organisation_id, vehicle.id or 0)
    record_change(session, caller, now, "emptied a job sheet", "vehicle", vehicle.id)


def _open(pointer: str, one: FinishedWork, place: Compartment | None) -> list[FieldError]:
    """Steps of one compartment that are open; a reason beside them closes the matter."""
    if place is None or one.work.override_reason:
        return []
    required = required_steps(
        one.work.method,
        FluidKind(place.kind),
        has_level_window=place.level_min_celsius is not None,
        has_fluid_counter=place.has_fluid_counter,
    )
    still = open_steps(required, one.ticked | _shown_by(one.work, place))
    return [
        FieldError(f"{pointer}/step_{step}", f"{STEP_TEXTS[step].label}: still open. {why}")
        for step, why in still
    ]


def _shown_by(work: NewWork, place: Compartment) -> frozenset[ServiceStep]:
    """Steps that the figures themselves show to be done."""
    shown = set()
    if work.rounds or work.passed_litres is not None:
        shown |= {ServiceStep.DRAINED_MEASURED, ServiceStep.FILLED_MEASURED}
    if work.old_fluid_grade is not None:
        shown.add(ServiceStep.OLD_FLUID_LOOKED_AT)
    if work.seals_renewed:
        shown.add(ServiceStep.SEALS_RENEWED)
    if work.counter_reset:
        shown.add(ServiceStep.COUNTER_RESET)
    if work.level_celsius is not None and level_advice(work.level_celsius, place, None) is None:
        shown.add(ServiceStep.LEVEL_IN_WINDOW)
    return frozenset(shown)
