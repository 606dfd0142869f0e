"""Room for visits that no day had room for, by moving one other visit at a time."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.visits.requests import NO_DAY


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPlan:
    """Visits of one depot with the days they have, and the hours left."""

    labour_hours: Floats
    """Shape (n,). [h]"""
    day_cost: Floats
    """Shape (n, days): cost of each day; infinite where the visit may not be."""
    waiting_cost: Floats
    """Shape (n,): cost of not being placed."""
    day: Integers
    """Shape (n,): day, or -1."""
    left_hours: Floats
    """Shape (days,): regular hours left; negative where overtime is in use. [h]"""
    overtime_hours: Floats
    """Shape (days,): how far below zero `left_hours` may go. [h]"""
    overtime_cost_per_hour: float


def repair_days(plan: DayPlan, turns: Integers) -> Integers:
    """Place visits that have no day, moving one placed visit to another day where that makes room.

    Parameters
    ----------
    plan : DayPlan
        One depot.
    turns : ndarray, shape (k,), int64
        Visits without a day, in the order in which they are tried.

    Returns
    -------
    ndarray, shape (n,), int64
        Days; -1 where waiting is cheaper than any place that can be made.

    Notes
    -----
    For each visit v the cheapest of: a day with room; a day d of a visit u that moves from d to a day d'
    with room, at cost c_v(d) + c_u(d') - c_u(d); waiting. Overtime is priced in each. O(k n days).
    """
    day, left = plan.day.copy(), plan.left_hours.copy()
    for visit in turns.tolist():
        direct = _price(plan, left, plan.labour_hours[visit]) + plan.day_cost[visit]
        target = int(direct.argmin())
        moved, moved_to, swap_cost = _cheapest_move(plan, day, left, visit)
        if min(float(direct[target]), swap_cost) >= plan.waiting_cost[visit]:
            continue
        if swap_cost < direct[target]:
            target = int(day[moved])
            left[target] += plan.labour_hours[moved]
            left[moved_to] -= plan.labour_hours[moved]
            day[moved] = moved_to
        day[visit] = target
        left[target] -= plan.labour_hours[visit]
    return day


def _price(plan: DayPlan, left: Floats, hours: float | Floats) -> Floats:
    """Overtime cost of so many more hours on each day; infinite where they do not fit."""
    after = left - hours
    more = np.maximum(-after, 0.0) - np.maximum(-left, 0.0)
    return np.where(after >= -plan.overtime_hours - 1e-9, plan.overtime_cost_per_hour * more, np.inf)


def _cheapest_move(plan: DayPlan, day: Integers, left: Floats, visit: int) -> tuple[int, int, float]:
    """Find which placed visit to move where, so that `visit` can take its day, and what that adds to the cost."""
    placed = np.flatnonzero((day > NO_DAY) & np.isfinite(plan.day_cost[visit, day]))
    if placed.size == 0:
        return 0, 0, np.inf
    at, hours, rows = day[placed], plan.labour_hours[placed], np.arange(placed.size)
    elsewhere = plan.day_cost[placed] + _price(plan, left, hours[:, None])
    elsewhere[rows, at] = np.inf
    best_day = elsewhere.argmin(axis=1)
    net = left[at] + hours - plan.labour_hours[visit]
    more = np.maximum(-net, 0.0) - np.maximum(-left[at], 0.0)
    extra = elsewhere[rows, best_day] - plan.day_cost[placed, at] + plan.day_cost[visit, at]
    extra = extra + plan.overtime_cost_per_hour * more
    extra = np.where(net >= -plan.overtime_hours[at] - 1e-9, extra, np.inf)
    chosen = int(extra.argmin())
    return int(placed[chosen]), int(best_day[chosen]), float(extra[chosen])
