"""What every event did to the fluid in a compartment, and why: states can be walked back to their records."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.laboratory_report import GradeShown, grades_shown
from service.domain.roles import Scope
from service.store.repositories import fleet
from service.store.tables.services import Sample, Service
from service.store.tables.vehicles import Compartment
from service.usecases.access.caller import Caller
from service.usecases.fluids.follow_fluid import FluidHistory, FluidPoint, Step, aged
from service.usecases.fluids.update_states import explain_state
from service.usecases.usage.engine_time import days_of


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldStep:
    """One step with who did it, and what it is called outside."""

    event: str
    id: str | None
    at: datetime
    by: str | None
    why: str
    figures: Mapping[str, float]
    before: FluidPoint
    after: FluidPoint
    grades: Sequence[GradeShown] = ()
    """What open standards call the values of a sample."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldHistory:
    """A compartment's steps from the oldest on; the last one is now."""

    compartment: Compartment
    vehicle: str
    steps: list[ToldStep]


def explain_history(session: Session, caller: Caller, now: datetime, reference: str) -> ToldHistory:
    """Replay one compartment's history and say of every step what it did; voided records are left out."""
    caller.require(Scope.READ)
    compartment = fleet.get_compartment(session, caller.organisation_id, reference)
    caller.require_vehicle(compartment.vehicle_id)
    history, steps = explain_state(session, caller.organisation_id, compartment)
    owner = fleet.get_vehicle_by_id(session, caller.organisation_id, compartment.vehicle_id)
    services: dict[int | None, Service] = {done.service.id: done.service for done in history.items}
    samples: dict[int | None, Sample] = {sample.id: sample for sample in history.samples}
    told: list[ToldStep] = []
    for place, step in enumerate(steps):
        earlier = steps[place - 1].after if place else None
        record = services.get(step.source_id) if step.kind == "service" else samples.get(step.source_id)
        told.append(_told(FluidKind(compartment.kind), step, earlier, record))
    told.append(_now(history, steps[-1].after, now))
    return ToldHistory(compartment=compartment, vehicle=owner.reference, steps=told)


def _told(
    kind: FluidKind, step: Step, earlier: FluidPoint | None, record: Service | Sample | None
) -> ToldStep:
    at, by, external = step.after.at, None, None
    grades: Sequence[GradeShown] = ()
    if isinstance(record, Service):
        at, by = record.done_at, record.done_by or record.recorded_by
        external = format_id(IdKind.SERVICE, record.id)
    elif isinstance(record, Sample):
        at, by = record.taken_at, record.recorded_by
        external = format_id(IdKind.SAMPLE, record.id)
        grades = grades_shown(kind, record.laboratory)
    figures = {**(_passed(earlier, step.before) if earlier is not None else {}), **step.figures}
    return ToldStep(
        event=step.kind,
        id=external,
        at=at,
        by=by,
        why=step.why,
        figures=figures,
        before=step.before,
        after=step.after,
        grades=grades,
    )


def _now(history: FluidHistory, last: FluidPoint, now: datetime) -> ToldStep:
    after = aged(history, last, max(now, last.at))
    figures = _passed(last, after)
    return ToldStep(
        event="now",
        id=None,
        at=after.at,
        by=None,
        why="Aged since the last event by the distance, the days and the hours on record.",
        figures=figures,
        before=last,
        after=after,
    )


def _passed(before: FluidPoint, after: FluidPoint) -> dict[str, float]:
    """What went by between two points, as far as the meters tell."""
    passed = {"days_since": days_of(after.at) - days_of(before.at)}
    for name, start, end in (
        ("km_since", before.odometer_km, after.odometer_km),
        ("hours_since", before.engine_hours, after.engine_hours),
    ):
        if start is not None and end is not None:
            passed[name] = end - start
    return passed
