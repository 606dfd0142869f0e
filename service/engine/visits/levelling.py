"""Visits levelled to the bay hours of every depot, week by week and then day by day."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.visits.classes import classify_visits
from service.engine.visits.day_choice import DayRoom, choose_days, day_room
from service.engine.visits.requests import (
    NO_DAY,
    BayHours,
    VisitOutcome,
    VisitRequests,
    check_requests,
    rows_of,
)
from service.engine.visits.week_costs import week_costs
from service.engine.visits.week_programme import LevellingMethod, WeekCapacity, solve_weeks
from service.units import DAYS_PER_WEEK


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelledVisits:
    """Where each visit goes, and what that leaves of the bays."""

    day: Integers
    """Shape (n,): day, or -1 when not placed."""
    outcome: Integers
    """Shape (n,): a `VisitOutcome`."""
    booked_hours: Floats
    """Shape (depots, days). [h]"""
    overbooked_hours: Floats
    """Shape (depots, days): beyond regular hours and overtime, by pinned visits only. [h]"""
    cost: Floats
    """Shape (depots,): early, overdue and overtime cost of the plan, pinned visits included."""
    lower_bound_cost: Floats
    """Shape (depots,): no plan with these pins costs less; loose after a greedy fallback."""
    method: Integers
    """Shape (depots,): a `LevellingMethod`."""


def _canonical_order(visits: VisitRequests) -> Integers:
    """Sort visits by what they are, so that the order they came in cannot matter."""
    urgency = -visits.due_probability.sum(axis=1)
    return np.lexsort(
        (
            visits.early_cost_per_week,
            visits.overdue_cost_per_week,
            visits.labour_hours,
            urgency,
            visits.vehicle_index,
            visits.depot_index,
        )
    )


def _by_week(days: Floats) -> Floats:
    """Sum days to weeks along the last axis."""
    n_weeks = days.shape[-1] // DAYS_PER_WEEK
    weeks: Floats = days.reshape(*days.shape[:-1], n_weeks, DAYS_PER_WEEK).sum(axis=-1)
    return weeks


def _assign_members(class_of_visit: Integers, count: Integers) -> Integers:
    """Week of each visit; within a class, whose visits cost the same in every week, in the order given."""
    order = np.argsort(class_of_visit, kind="stable")
    week = np.repeat(np.tile(np.arange(count.shape[1]), count.shape[0]), count.ravel())
    result = np.empty(class_of_visit.size, np.int64)
    result[order] = week
    return result


def _lower_bound(cost: Floats, hours: Floats, price: Floats, capacity: WeekCapacity) -> float:
    """Lagrangian bound at the given prices of an hour: valid for every plan by weeks."""
    priced = cost + np.concatenate([hours[:, None] * price, np.zeros((hours.size, 1))], axis=1)
    overtime = capacity.overtime_hours @ np.minimum(capacity.overtime_cost_per_hour - price, 0.0)
    return float(priced.min(axis=1).sum() - price @ capacity.regular_hours + overtime)


def _level_depot(
    visits: VisitRequests,
    cost: Floats,
    capacity: WeekCapacity,
    time_limit_seconds: float,
) -> tuple[Integers, float, LevellingMethod]:
    """Weeks of one depot's visits that are not pinned."""
    classes = classify_visits(visits.labour_hours, cost)
    plan = solve_weeks(classes, capacity, time_limit_seconds)
    week = _assign_members(classes.class_of_visit, plan.count)
    return week, _lower_bound(cost, visits.labour_hours, plan.hour_price, capacity), plan.method


def _choose_weeks(
    visits: VisitRequests,
    bays: BayHours,
    room: DayRoom,
    cost: Floats,
    time_limit_seconds: float,
) -> tuple[Integers, Floats, Integers]:
    """Week of each visit that is not pinned, bound and method of each depot."""
    n_depots, n_weeks = bays.regular_hours.shape[0], visits.due_probability.shape[1]
    week = np.where(visits.pinned_day > NO_DAY, visits.pinned_day // DAYS_PER_WEEK, n_weeks)
    bound, method = np.zeros(n_depots), np.zeros(n_depots, np.int64)
    regular, overtime = _by_week(room.regular), _by_week(room.overtime)
    for depot in range(n_depots):
        chosen = np.flatnonzero((visits.depot_index == depot) & (visits.pinned_day == NO_DAY))
        if chosen.size == 0:
            continue
        capacity = WeekCapacity(
            regular_hours=regular[depot],
            overtime_hours=overtime[depot],
            overtime_cost_per_hour=float(bays.overtime_cost_per_hour[depot]),
        )
        part = rows_of(visits, chosen)
        week[chosen], bound[depot], method[depot] = _level_depot(
            part, cost[chosen], capacity, time_limit_seconds
        )
    return week, bound, method


def _outcomes(visits: VisitRequests, bays: BayHours, day: Integers, cheapest_week: Integers) -> Integers:
    """Say what became of each visit; the last condition that holds wins."""
    n_weeks = visits.due_probability.shape[1]
    is_open = (bays.regular_hours > 0.0)[visits.depot_index]
    longest = (bays.regular_hours + bays.overtime_hours).max(axis=1, initial=0.0)[visits.depot_index]
    is_missing = day == NO_DAY
    cases = [
        (~is_missing, VisitOutcome.PLACED),
        (visits.pinned_day > NO_DAY, VisitOutcome.PINNED),
        (is_missing, VisitOutcome.BAYS_FULL),
        (is_missing & (cheapest_week == n_weeks), VisitOutcome.DUE_LATER),
        (is_missing & (visits.labour_hours > longest + 1e-9), VisitOutcome.LONGER_THAN_ANY_DAY),
        (is_missing & ~(is_open & visits.is_available).any(axis=1), VisitOutcome.VEHICLE_NEVER_THERE),
        (is_missing & ~is_open.any(axis=1), VisitOutcome.DEPOT_CLOSED),
    ]
    outcome = np.full(day.size, VisitOutcome.PLACED, np.int64)
    for holds, code in cases:
        outcome[holds] = code
    return outcome


def level_visits(
    visits: VisitRequests,
    bays: BayHours,
    *,
    time_limit_seconds: float = 5.0,
) -> LevelledVisits:
    """Give every visit a day within the bay hours of its depot, at the least expected cost.

    Parameters
    ----------
    visits : VisitRequests
        n visits with their due distributions, available days and pins.
    bays : BayHours
        Hours per depot and day; weeks are seven days from day 0.
    time_limit_seconds : float
        Per depot, as a safety; the search normally ends by its gap or its node limit.

    Returns
    -------
    LevelledVisits

    Raises
    ------
    InvalidInputError
        If arrays do not fit together or hold impossible numbers.

    Notes
    -----
    First the weeks: an integer programme over classes of like visits for each depot, overdue risk, early
    waste and overtime in one objective, waiting until after the horizon always allowed. Then the days: long
    visits first, days of a week filled evenly, overtime where needed, and another week if the days of its
    own do not hold it. Pinned visits keep their day whatever it holds. The result depends on what the visits
    are, not on the order they come in. Cost: one small integer programme a depot.
    """
    check_requests(visits, bays)
    order = _canonical_order(visits)
    ordered = rows_of(visits, order)
    n_weeks = visits.due_probability.shape[1]
    room = day_room(ordered, bays)
    full_cost = week_costs(
        ordered.due_probability, ordered.early_cost_per_week, ordered.overdue_cost_per_week
    )
    has_day = room.is_possible.reshape(order.size, n_weeks, DAYS_PER_WEEK).any(axis=2)
    cost = full_cost.copy()
    cost[:, :n_weeks][~has_day] = np.inf
    week, bound, method = _choose_weeks(ordered, bays, room, cost, time_limit_seconds)
    day = choose_days(ordered, bays, room, cost, week)
    cheapest = full_cost.argmin(axis=1)
    booked = np.zeros_like(bays.regular_hours)
    placed = day > NO_DAY
    np.add.at(booked, (ordered.depot_index[placed], day[placed]), ordered.labour_hours[placed])
    over = np.maximum(booked - bays.regular_hours, 0.0)
    own = full_cost[np.arange(day.size), np.where(placed, day // DAYS_PER_WEEK, n_weeks)]
    total = np.bincount(ordered.depot_index, weights=own, minlength=bays.regular_hours.shape[0])
    pinned = ordered.pinned_day > NO_DAY
    fixed = np.bincount(ordered.depot_index[pinned], weights=own[pinned], minlength=total.size)
    result = np.empty((2, day.size), np.int64)
    result[:, order] = np.stack([day, _outcomes(ordered, bays, day, cheapest)])
    return LevelledVisits(
        day=result[0],
        outcome=result[1],
        booked_hours=booked,
        overbooked_hours=np.maximum(over - bays.overtime_hours, 0.0),
        cost=total + over.sum(axis=1) * bays.overtime_cost_per_hour,
        lower_bound_cost=bound + fixed,
        method=method,
    )
