"""Why each visit of a plan is where it is."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.domain import visit_reasons
from service.domain.visit_reasons import Placing
from service.engine.visits.requests import NO_DAY, VisitOutcome
from service.units import DAYS_PER_WEEK
from service.usecases.visits.ask_for_days import days_there
from service.usecases.visits.fixed_days import FixedDay, Origin
from service.usecases.visits.fleet_names import FleetNames
from service.usecases.visits.visit_plan import VisitPlan

_NOT_PLACED: Final = {
    VisitOutcome.DUE_LATER: Placing.DUE_LATER,
    VisitOutcome.BAYS_FULL: Placing.BAYS_FULL,
    VisitOutcome.VEHICLE_NEVER_THERE: Placing.VEHICLE_NEVER_THERE,
    VisitOutcome.DEPOT_CLOSED: Placing.DEPOT_CLOSED,
    VisitOutcome.LONGER_THAN_ANY_DAY: Placing.LONGER_THAN_ANY_DAY,
}


@dataclass(frozen=True, slots=True)
class Explained:
    """A word for programs and sentences for people."""

    placing: Placing
    text: str


def explain_visit(plan: VisitPlan, names: FleetNames, place: int) -> Explained:
    """Say why a visit is on its day, or has none."""
    visits = plan.visits
    depot = plan.depots[int(visits.depot_row[place])].reference
    wish = plan.fixed.days.get(int(visits.vehicle_id[place])) if visits.is_first[place] else None
    if int(visits.day[place]) == NO_DAY:
        return _without_day(plan, place, depot, wish)
    if visits.outcome[place] == VisitOutcome.PINNED and wish is not None:
        return _on_fixed_day(plan, place, depot, wish)
    return _placed(plan, names, place, depot)


def _without_day(plan: VisitPlan, place: int, depot: str, wish: FixedDay | None) -> Explained:
    placing = _NOT_PLACED.get(VisitOutcome(int(plan.visits.outcome[place])), Placing.DUE_LATER)
    if wish is not None and placing in {Placing.VEHICLE_NEVER_THERE, Placing.BAYS_FULL}:
        return Explained(Placing.HELD_BACK, visit_reasons.held_back(wish.day, wish.by))
    minutes = float(plan.visits.labour_minutes[place])
    return Explained(placing, visit_reasons.not_placed(placing, depot, minutes, len(plan.weeks)))


def _on_fixed_day(plan: VisitPlan, place: int, depot: str, wish: FixedDay) -> Explained:
    row, day = int(plan.visits.depot_row[place]), int(plan.visits.day[place])
    placing = {Origin.PINNED: Placing.PINNED, Origin.MOVED: Placing.MOVED}.get(wish.origin, Placing.PUBLISHED)
    said = [visit_reasons.fixed(wish.day, wish.by, origin=placing)]
    if plan.open_minutes[row, day] <= 0.0:
        said.append(visit_reasons.closed_day(depot))
    elif plan.overbooked_minutes[row, day] > 0.0:
        said.append(visit_reasons.overbooked(depot, float(plan.overbooked_minutes[row, day])))
    return Explained(placing, " ".join(said))


def _placed(plan: VisitPlan, names: FleetNames, place: int, depot: str) -> Explained:
    visits = plan.visits
    day = plan.day_of(place)
    assert day is not None  # noqa: S101 - the visit has a day
    due, week = int(visits.due_week[place]), int(visits.day[place]) // DAYS_PER_WEEK
    due_week = plan.weeks[min(due, len(plan.weeks) - 1)]
    if week < due:
        has_no_day = not may_come(plan, names, place, due)
        text = visit_reasons.brought_forward(due_week, due - week, has_no_day=has_no_day)
        return Explained(Placing.BROUGHT_FORWARD, text)
    if week > due:
        has_no_day = not may_come(plan, names, place, due)
        text = visit_reasons.delayed(due_week, day, depot, has_no_day=has_no_day)
        return Explained(Placing.DELAYED, text)
    if visits.latest_days[place] <= 0.0:
        return Explained(Placing.OVERDUE, visit_reasons.overdue(day))
    return Explained(Placing.IN_ITS_WEEK, visit_reasons.in_its_week(due_week))


def may_come(plan: VisitPlan, names: FleetNames, place: int, week: int) -> bool:
    """Whether the vehicle may come on any open day of a week; of weeks after the plan nothing speaks against it."""
    if week >= len(plan.weeks):
        return True
    row = int(plan.visits.depot_row[place])
    is_there = days_there(names, plan.visits.vehicle_id[place : place + 1])[0]
    is_open = plan.open_minutes[row, week * DAYS_PER_WEEK : (week + 1) * DAYS_PER_WEEK] > 0.0
    return bool(np.any(is_there & is_open))
