"""The plan of the coming weeks as people see it: visits by day, the load of each depot, what did not fit and why."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
from sqlmodel import Session

from service.domain import visit_reasons
from service.domain.roles import Scope
from service.domain.visit_reasons import Placing
from service.domain.weeks import IsoWeek
from service.engine.visits.requests import VisitOutcome
from service.engine.visits.week_costs import week_costs
from service.errors import NotFoundError
from service.store.repositories import fleet
from service.units import DAYS_PER_WEEK
from service.usecases.access.caller import Caller
from service.usecases.visits.explain_visits import Explained, explain_visit, may_come
from service.usecases.visits.fleet_names import FleetNames, load_names
from service.usecases.visits.plan_visits import PLAN_WEEKS, plan_visits
from service.usecases.visits.visit_plan import VisitPlan
from service.usecases.week.describe_line import ListedLine
from service.usecases.week.draft_lines import describe_jobs


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekLoad:
    """Bay minutes of a depot in one week of the plan."""

    week: IsoWeek
    open_minutes: float
    booked_minutes: float
    overbooked_minutes: float
    n_visits: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekOption:
    """What it would cost to have a visit in one week, over the horizon of the plan."""

    week: IsoWeek
    early_minor: float
    overdue_minor: float
    can_come: bool
    free_minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownVisit:
    """One visit with its work; `day` is none where it did not fit or is due later."""

    vehicle: str
    depot: str
    day: date | None
    due_week: IsoWeek | None
    labour_minutes: float
    saved_minor: float
    placing: Placing
    reasons: list[str]
    lines: list[ListedLine]
    options: list[WeekOption]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownPlan:
    """Visits of the weeks, those with a day first."""

    weeks: tuple[IsoWeek, ...]
    currency: str
    loads: dict[str, list[WeekLoad]]
    visits: list[ShownVisit]


def show_visits(
    session: Session,
    caller: Caller,
    now: datetime,
    n_weeks: int = PLAN_WEEKS,
    depot: str | None = None,
) -> ShownPlan:
    """Plan the present week and those after it, and show the visits of one depot or of all.

    Raises
    ------
    NotFoundError
        If there is no such depot.
    """
    names, plan = _plan(session, caller, now, n_weeks)
    row = None if depot is None else _row_of(session, caller, plan, depot)
    is_shown = (plan.visits.day >= 0) | (plan.visits.due_week < n_weeks)
    is_shown |= plan.visits.outcome != VisitOutcome.DUE_LATER
    if row is not None:
        is_shown &= plan.visits.depot_row == row
    places = np.flatnonzero(is_shown).tolist()
    shown = _visits(session, names, plan, now, places)
    shown.sort(key=lambda one: (one.day is None, one.day or date.max, one.depot, one.vehicle))
    loads = {
        one.reference: _loads(plan, place)
        for place, one in enumerate(plan.depots)
        if row is None or place == row
    }
    return ShownPlan(weeks=plan.weeks, currency=names.organisation.currency, loads=loads, visits=shown)


def show_vehicle_visits(
    session: Session, caller: Caller, now: datetime, reference: str
) -> tuple[list[ShownVisit], str]:
    """Show all visits of one vehicle, what each week would cost, and why each is where it is; with the currency.

    Raises
    ------
    NotFoundError
        If no vehicle in use has this number.
    """
    names, plan = _plan(session, caller, now, PLAN_WEEKS)
    vehicle = fleet.get_vehicle(session, caller.organisation_id, reference)
    if vehicle.id not in names.vehicles:
        raise NotFoundError("This vehicle is no longer in use.")
    places = np.flatnonzero(plan.visits.vehicle_id == vehicle.id).tolist()
    return _visits(session, names, plan, now, places, with_options=True), names.organisation.currency


def _plan(session: Session, caller: Caller, now: datetime, n_weeks: int) -> tuple[FleetNames, VisitPlan]:
    caller.require(Scope.READ)
    names = load_names(session, caller.organisation_id)
    week = IsoWeek.of(names.organisation.today(now))
    return names, plan_visits(session, names, week, now, n_weeks)


def _row_of(session: Session, caller: Caller, plan: VisitPlan, reference: str) -> int:
    depot = fleet.find_depot(session, caller.organisation_id, reference)
    if depot is None:
        raise NotFoundError("There is no depot with this name or id.")
    return next(row for row, one in enumerate(plan.depots) if one.id == depot.id)


def _visits(
    session: Session,
    names: FleetNames,
    plan: VisitPlan,
    now: datetime,
    places: Sequence[int],
    *,
    with_options: bool = False,
) -> list[ShownVisit]:
    """Describe visits with their lines."""
    jobs = np.flatnonzero(np.isin(plan.visit_of_job, np.array(places, np.int64))).tolist()
    visit_of = {int(plan.jobs.compartment_id[job]): int(plan.visit_of_job[job]) for job in jobs}
    lines: dict[int, list[ListedLine]] = {}
    for line in describe_jobs(session, names, plan, now, jobs):
        lines.setdefault(visit_of[line.compartment_id], []).append(line)
    return [_visit(names, plan, place, lines.get(place, []), with_options=with_options) for place in places]


def _visit(
    names: FleetNames, plan: VisitPlan, place: int, lines: list[ListedLine], *, with_options: bool
) -> ShownVisit:
    visits = plan.visits
    due = int(visits.due_week[place])
    explained = explain_visit(plan, names, place)
    return ShownVisit(
        vehicle=names.vehicles[int(visits.vehicle_id[place])].reference,
        depot=plan.depots[int(visits.depot_row[place])].reference,
        day=plan.day_of(place),
        due_week=plan.weeks[due] if due < len(plan.weeks) else None,
        labour_minutes=float(visits.labour_minutes[place]),
        saved_minor=float(visits.saved_minor[place]),
        placing=explained.placing,
        reasons=_reasons(plan, place, explained, lines),
        lines=lines,
        options=_options(names, plan, place) if with_options else [],
    )


def _reasons(plan: VisitPlan, place: int, explained: Explained, lines: Sequence[ListedLine]) -> list[str]:
    said = [explained.text]
    if len(lines) > 1:
        said.append(visit_reasons.together([line.compartment for line in lines]))
    if plan.visits.is_split[place]:
        said.append(visit_reasons.split())
    return said


def _options(names: FleetNames, plan: VisitPlan, place: int) -> list[WeekOption]:
    """Cost of every week, as the levelling sees it."""
    visits, own = plan.visits, slice(place, place + 1)
    nothing = np.zeros(1)
    early = week_costs(visits.overdue_probability[own], visits.early_minor_a_week[own], nothing)[0]
    late = week_costs(visits.overdue_probability[own], nothing, visits.overdue_minor_a_week[own])[0]
    row = int(visits.depot_row[place])
    options = []
    for number, week in enumerate(plan.weeks):
        days = slice(number * DAYS_PER_WEEK, (number + 1) * DAYS_PER_WEEK)
        left = np.maximum(plan.open_minutes[row, days] - plan.booked_minutes[row, days], 0.0)
        options.append(
            WeekOption(
                week=week,
                early_minor=float(early[number]),
                overdue_minor=float(late[number]),
                can_come=may_come(plan, names, place, number),
                free_minutes=float(left.sum()),
            )
        )
    return options


def _loads(plan: VisitPlan, row: int) -> list[WeekLoad]:
    """Load of a depot by week."""
    by_week = (len(plan.weeks), DAYS_PER_WEEK)
    minutes = [
        figures[row].reshape(by_week).sum(axis=1)
        for figures in (plan.open_minutes, plan.booked_minutes, plan.overbooked_minutes)
    ]
    is_here = (plan.visits.depot_row == row) & (plan.visits.day >= 0)
    counts = np.bincount(plan.visits.day[is_here] // DAYS_PER_WEEK, minlength=len(plan.weeks))
    return [
        WeekLoad(
            week=week,
            open_minutes=float(minutes[0][number]),
            booked_minutes=float(minutes[1][number]),
            overbooked_minutes=float(minutes[2][number]),
            n_visits=int(counts[number]),
        )
        for number, week in enumerate(plan.weeks)
    ]
