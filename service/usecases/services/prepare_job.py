"""What a mechanic needs before a job: the work that is open on a vehicle, its litres, steps and cautions."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session

from service.domain.cautions import Caution, cautions_for
from service.domain.exchange_methods import ExchangeMethod
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.service_work import ServiceStep, required_steps
from service.engine.policy.inputs import Method
from service.errors import InvalidInputError
from service.store.repositories import due_lists, fleet, fluids, job_drafts
from service.store.tables.due_lists import DueListLine
from service.store.tables.fluids import Fluid
from service.store.tables.job_drafts import JobDraft
from service.store.tables.vehicles import Compartment
from service.usecases.access.caller import Caller
from service.usecases.due.show_projection import VehicleProjection, show_projection
from service.usecases.plans.plan_exchange import PlannedExchange, plan_exchange


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedRound:
    """One drain and one fill as they should measure, and what is new afterwards."""

    drain_litres: float
    fill_litres: float
    fresh_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class JobPart:
    """The work on one compartment."""

    compartment: Compartment
    key: str
    line: DueListLine | None
    """The open line of the due list; none if it is not listed."""

    reason: str
    method: ExchangeMethod
    rounds: tuple[PlannedRound, ...]
    litres: float
    minutes: float
    excess_litres: float | None
    drained_celsius: float | None
    filled_celsius: float | None
    """Temperatures of the fluid for which the rounds are worked out; none where they are not."""

    life_used: float
    fluid: Fluid | None
    fitting_fluids: tuple[Fluid, ...]
    steps: tuple[ServiceStep, ...]
    cautions: tuple[Caution, ...]
    has_level_check: bool
    """Whether the level is set at a temperature; a reservoir is filled to its mark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """The whole visit."""

    projection: VehicleProjection
    depot: str
    visit_on: date | None
    parts: tuple[JobPart, ...]
    draft: JobDraft | None


def prepare_job(session: Session, caller: Caller, now: datetime, reference: str) -> Job:
    """Gather the sheet of a vehicle: every compartment, those with an open line of the due list first."""
    projection = show_projection(session, caller, now, reference)
    organisation_id, vehicle = caller.organisation_id, projection.vehicle
    compartments = {row.id: row for row in fleet.list_compartments(session, organisation_id, vehicle.id or 0)}
    known = fluids.list_fluids(session, organisation_id)
    keys = [key for key in compartments if key is not None]
    listed = due_lists.open_lines(session, organisation_id, keys)
    lines = {line.compartment_id: line for line in listed}
    parts = [
        _part(session, caller, now, projection, place, compartments[key], lines.get(key), known)
        for place, key in enumerate(projection.fluids.compartments["id"])
    ]
    parts.sort(key=lambda part: part.line is None)
    depots = fleet.depot_names(session, organisation_id)
    return Job(
        projection=projection,
        depot=depots[vehicle.depot_id],
        visit_on=_next_visit(session, listed, projection.fluids.today),
        parts=tuple(parts),
        draft=job_drafts.find_draft(session, organisation_id, vehicle.id or 0),
    )


def _next_visit(session: Session, listed: Sequence[DueListLine], today: date) -> date | None:
    """Day that comes next for what is open on any list, moves counted; once all are past, the last of them."""
    if not listed:
        return None
    events = due_lists.events_of_lines(session, listed[0].organisation_id, [line.id for line in listed])
    days = (due_lists.day_of(line, events.get(line.id or 0, [])) for line in listed)
    known = [day for day in days if day is not None]
    return min((day for day in known if day >= today), default=max(known, default=None))


def _part(
    session: Session,
    caller: Caller,
    now: datetime,
    projection: VehicleProjection,
    place: int,
    compartment: Compartment,
    line: DueListLine | None,
    known: Sequence[Fluid],
) -> JobPart:
    recommended, kind = projection.recommended, FluidKind(compartment.kind)
    key = format_id(IdKind.COMPARTMENT, compartment.id)
    method = recommended.method[place] if line is None else ExchangeMethod(line.method)
    n_rounds = int(recommended.n_rounds[place]) if line is None else line.n_rounds
    plan = _plan(session, caller, now, key)
    return JobPart(
        compartment=compartment,
        key=key,
        line=line,
        reason="" if line is None else line.reason,
        method=method,
        rounds=_rounds(compartment, method, n_rounds, plan),
        litres=float(recommended.litres[place]) if line is None else line.litres,
        minutes=float(recommended.labour_minutes[place]) if line is None else float(line.labour_minutes),
        excess_litres=_excess(method, n_rounds, plan),
        drained_celsius=None if plan is None else plan.numbers["level_celsius"],
        filled_celsius=None if plan is None else plan.numbers["ambient_celsius"],
        life_used=float(projection.fluids.fluid_now.life_used[place]),
        fluid=next((fluid for fluid in known if fluid.id == compartment.fluid_id), None),
        fitting_fluids=tuple(fluid for fluid in known if fluid.kind == compartment.kind),
        steps=required_steps(
            method,
            kind,
            has_level_window=compartment.level_min_celsius is not None,
            has_fluid_counter=compartment.has_fluid_counter,
        ),
        cautions=cautions_for(kind, method),
        has_level_check=method is not ExchangeMethod.FLUSH or compartment.level_min_celsius is not None,
    )


def _plan(session: Session, caller: Caller, now: datetime, key: str) -> PlannedExchange | None:
    try:
        return plan_exchange(
            session, caller, now, compartment=key, kind=None, vehicle_class=None, duty=None, typed={}
        )
    except InvalidInputError:
        return None


def _rounds(
    compartment: Compartment, method: ExchangeMethod, n_rounds: int, plan: PlannedExchange | None
) -> tuple[PlannedRound, ...]:
    """Give the rounds of a drain and fill; without a plan, the drainable litres and the mass balance."""
    if method is not ExchangeMethod.DRAIN_AND_FILL:
        return ()
    row = None if plan is None else _row_of(plan, n_rounds)
    drain = compartment.drainable_litres
    kept = 1.0 - min(drain / compartment.total_litres, 1.0)
    if plan is None or row is None:
        return tuple(
            PlannedRound(drain_litres=drain, fill_litres=drain, fresh_share=1.0 - kept**number)
            for number in range(1, n_rounds + 1)
        )
    fill = float(plan.plan.poured_litres[row, 0]) / n_rounds
    return tuple(
        PlannedRound(
            drain_litres=plan.numbers["drainable_litres"],
            fill_litres=fill,
            fresh_share=float(plan.plan.fresh_share[number, 0]),
        )
        for number in range(n_rounds)
    )


def _row_of(plan: PlannedExchange, n_rounds: int) -> int | None:
    for row, method in enumerate(plan.plan.method):
        if Method(int(method)) is Method.ROUNDS and int(plan.plan.n_rounds[row]) == n_rounds:
            return row
    return None


def _excess(method: ExchangeMethod, n_rounds: int, plan: PlannedExchange | None) -> float | None:
    if plan is None or method is not ExchangeMethod.DRAIN_AND_FILL:
        return None
    row = _row_of(plan, n_rounds)
    if row is None:
        return None
    millilitres = float(plan.plan.excess_millilitres[row, 0]) + n_rounds * plan.excess_by_round_millilitres
    return max(millilitres, 0.0) / 1000.0
