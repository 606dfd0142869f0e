"""Which week each visit of one depot goes into: a linear programme, then a small integer one."""

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.visits.classes import VisitClasses

if TYPE_CHECKING:
    from scipy.sparse import csc_array

# Gap at which the integer search stops, as a share of the cost of the whole plan. Own choice.
RELATIVE_GAP: Final = 1e-3
# Branching nodes; a count, unlike a time, stops every machine at the same plan. Own choice.
NODE_LIMIT: Final = 200
# Classes that lose least by another week and are left free beside the divided ones. Own choice: with 40 the gap
# to the lower bound is the same and the search takes three to five times as long.
N_FREE_CLASSES: Final = 12
# Hours are written in hundreds: a visit off a whole number by the solver's tolerance then still fits. Own choice.
_ROW_SCALE: Final = 0.01


class LevellingMethod(IntEnum):
    """How the weeks of a depot were found."""

    NO_CONFLICT = 0
    """Every visit has its cheapest week."""
    INTEGER_PROGRAMME = 1
    """The continuous optimum, its divided visits made whole by an integer programme."""
    GREEDY = 2
    """The programmes found nothing in time: cheapest week with room, most costly to delay first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekCapacity:
    """Hours of one depot by week."""

    regular_hours: Floats
    """Shape (weeks,). [h]"""
    overtime_hours: Floats
    """Shape (weeks,): at most, on top. [h]"""
    overtime_cost_per_hour: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekPlan:
    """Visits of each class per week, the last column being after the horizon, and prices of an hour."""

    count: Integers
    """Shape (classes, weeks + 1)."""
    hour_price: Floats
    """Shape (weeks,): what one more bay hour would save, from the continuous optimum."""
    method: LevellingMethod


@dataclass(frozen=True, slots=True, kw_only=True)
class _Programme:
    """Columns are (class, week) pairs that are allowed, then overtime hours by week."""

    class_index: Integers
    week_index: Integers
    cost: Floats
    upper: Floats
    each_class_once: "csc_array"
    hours_by_week: "csc_array"


@dataclass(frozen=True, slots=True)
class _Search:
    """When the integer search may stop."""

    relative_gap: float
    time_limit_seconds: float


def _build(classes: VisitClasses, capacity: WeekCapacity) -> _Programme:
    """Write the programme down."""
    n_classes, n_weeks = classes.n_visits.size, capacity.regular_hours.size
    class_index, week_index = np.nonzero(np.isfinite(classes.cost))
    n_pairs = class_index.size
    pair = np.arange(n_pairs)
    inside = week_index < n_weeks
    n_columns = n_pairs + n_weeks
    from scipy.sparse import coo_array

    once = coo_array((np.ones(n_pairs), (class_index, pair)), shape=(n_classes, n_columns)).tocsc()
    values = np.concatenate([classes.hours[class_index[inside]], -np.ones(n_weeks)])
    rows = np.concatenate([week_index[inside], np.arange(n_weeks)])
    columns = np.concatenate([pair[inside], n_pairs + np.arange(n_weeks)])
    hours = coo_array((values, (rows, columns)), shape=(n_weeks, n_columns)).tocsc()
    overtime_cost = np.full(n_weeks, capacity.overtime_cost_per_hour)
    return _Programme(
        class_index=class_index,
        week_index=week_index,
        cost=np.concatenate([classes.cost[class_index, week_index], overtime_cost]),
        upper=np.concatenate([classes.n_visits[class_index].astype(np.float64), capacity.overtime_hours]),
        each_class_once=once,
        hours_by_week=hours,
    )


def solve_weeks(classes: VisitClasses, capacity: WeekCapacity, time_limit_seconds: float) -> WeekPlan:
    """Choose weeks for the classes of one depot at the least cost within its hours.

    Parameters
    ----------
    classes : VisitClasses
        Classes in a fixed order; waiting until after the horizon is always allowed.
    capacity : WeekCapacity
        Regular hours and overtime of each week. [h]
    time_limit_seconds : float
        Safety only; the searches normally end by themselves, by gap or by number of nodes.

    Returns
    -------
    WeekPlan

    Notes
    -----
    min sum c_gw x_gw + o sum OT_w, sum_w x_gw = n_g, sum_g h_g x_gw <= H_w + OT_w, x integer. A basic optimum
    of the continuous problem divides at most one visit per week with full bays; these visits, and the
    classes that lose least by another week, are then placed as whole visits in the hours the others leave.
    The prices of an hour are the duals of the continuous problem. Solved by HiGHS.

    References
    ----------
    .. [1] Benders & van Nunen, "A property of assignment type mixed integer linear programming problems",
       Operations Research Letters 2, 1983 (few divided jobs in a basic optimum).
    .. [2] Martello & Toth, "Knapsack Problems", 1990, ch. 7 (generalised assignment).
    """
    n_weeks = capacity.regular_hours.size
    cheapest = classes.cost.argmin(axis=1)
    wanted = np.zeros((classes.n_visits.size, n_weeks + 1), np.int64)
    wanted[np.arange(cheapest.size), cheapest] = classes.n_visits
    if np.all(classes.hours @ wanted[:, :n_weeks] <= capacity.regular_hours + 1e-9):
        return WeekPlan(count=wanted, hour_price=np.zeros(n_weeks), method=LevellingMethod.NO_CONFLICT)
    programme = _build(classes, capacity)
    from scipy.optimize import linprog

    relaxed = linprog(  # type: ignore[call-overload]  # the stubs know dense matrices only
        programme.cost,
        A_ub=programme.hours_by_week,
        b_ub=capacity.regular_hours,
        A_eq=programme.each_class_once,
        b_eq=classes.n_visits.astype(np.float64),
        bounds=np.column_stack([np.zeros(programme.upper.size), programme.upper]),
        method="highs-ds",
        options={"time_limit": time_limit_seconds},
    )
    if relaxed.status != 0:
        count = place_greedily(classes, capacity)
        return WeekPlan(count=count, hour_price=np.zeros(n_weeks), method=LevellingMethod.GREEDY)
    hour_price = np.maximum(-relaxed.ineqlin.marginals, 0.0)
    share = np.zeros(classes.cost.shape)
    share[programme.class_index, programme.week_index] = relaxed.x[:-n_weeks]
    kept = np.floor(share + 1e-7).astype(np.int64)
    kept[_least_regret(classes, hour_price)] = 0
    rest = VisitClasses(
        class_of_visit=classes.class_of_visit,
        n_visits=classes.n_visits - kept.sum(axis=1),
        hours=classes.hours,
        cost=classes.cost,
    )
    kept_cost = float(np.where(kept > 0, kept * np.where(kept > 0, classes.cost, 0.0), 0.0).sum())
    rest_cost = max(float(relaxed.fun) - kept_cost, 1e-9)
    relative_gap = float(np.clip(RELATIVE_GAP * float(relaxed.fun) / rest_cost, RELATIVE_GAP, 0.5))
    return _place_rest(rest, kept, hour_price, capacity, _Search(relative_gap, time_limit_seconds))


def _least_regret(classes: VisitClasses, hour_price: Floats) -> Integers:
    """Classes that lose least by another week, at the prices of an hour."""
    priced = classes.cost.copy()
    priced[:, :-1] += classes.hours[:, None] * hour_price
    two_best = np.partition(priced, 1, axis=1)[:, :2]
    return np.argsort(two_best[:, 1] - two_best[:, 0], kind="stable")[:N_FREE_CLASSES]


def _place_rest(
    rest: VisitClasses,
    kept: Integers,
    hour_price: Floats,
    capacity: WeekCapacity,
    search: _Search,
) -> WeekPlan:
    """Place what is left as whole visits in the hours that the kept ones leave."""
    rows = np.flatnonzero(rest.n_visits > 0)
    used = rest.hours @ kept[:, :-1]
    beyond = np.clip(used - capacity.regular_hours, 0.0, capacity.overtime_hours)
    left = WeekCapacity(
        regular_hours=np.maximum(capacity.regular_hours - used, 0.0),
        overtime_hours=capacity.overtime_hours - beyond,
        overtime_cost_per_hour=capacity.overtime_cost_per_hour,
    )
    free = VisitClasses(
        class_of_visit=rest.class_of_visit,
        n_visits=rest.n_visits[rows],
        hours=rest.hours[rows],
        cost=rest.cost[rows],
    )
    placed = _solve_integers(free, left, search)
    method = LevellingMethod.INTEGER_PROGRAMME
    if placed is None:
        placed, method = place_greedily(free, left), LevellingMethod.GREEDY
    count = kept.copy()
    count[rows] += placed
    return WeekPlan(count=count, hour_price=hour_price, method=method)


def _solve_integers(classes: VisitClasses, capacity: WeekCapacity, search: _Search) -> Integers | None:
    """Whole numbers of visits, or None when the search found nothing in time."""
    programme = _build(classes, capacity)
    is_integer = np.ones(programme.cost.size, np.int64)
    is_integer[programme.class_index.size :] = 0
    from scipy.optimize import Bounds, LinearConstraint, milp

    result = milp(
        programme.cost,
        integrality=is_integer,
        bounds=Bounds(0.0, programme.upper),
        constraints=[
            LinearConstraint(programme.each_class_once, classes.n_visits, classes.n_visits),
            LinearConstraint(
                _ROW_SCALE * programme.hours_by_week, -np.inf, _ROW_SCALE * capacity.regular_hours
            ),
        ],
        options={
            "time_limit": search.time_limit_seconds,
            "mip_rel_gap": search.relative_gap,
            "node_limit": NODE_LIMIT,
            # Without presolve no solution has to be carried back and repaired, which prints to standard output.
            "presolve": False,
        },
    )
    if result.x is None:
        return None
    count = np.zeros(classes.cost.shape, np.int64)
    chosen = np.rint(result.x[: programme.class_index.size]).astype(np.int64)
    count[programme.class_index, programme.week_index] = chosen
    return count


def place_greedily(classes: VisitClasses, capacity: WeekCapacity) -> Integers:
    """Give each class its cheapest weeks with room, classes that lose most by waiting first.

    Parameters
    ----------
    classes, capacity
        As for `solve_weeks`.

    Returns
    -------
    ndarray, shape (classes, weeks + 1), int64

    Notes
    -----
    Overtime is used where it costs less than the next cheapest week. O(classes * weeks).
    """
    n_classes, n_columns = classes.cost.shape
    regular = np.append(capacity.regular_hours, np.inf)
    overtime = np.append(capacity.overtime_hours, 0.0)
    count = np.zeros((n_classes, n_columns), np.int64)
    loss = (classes.cost[:, -1] - classes.cost.min(axis=1)) / classes.hours
    for row in np.argsort(-loss, kind="stable").tolist():
        left, hours = int(classes.n_visits[row]), float(classes.hours[row])
        price = np.concatenate(
            [classes.cost[row], classes.cost[row] + capacity.overtime_cost_per_hour * hours]
        )
        for option in np.argsort(price, kind="stable").tolist():
            week, room = option % n_columns, regular if option < n_columns else overtime
            if left == 0 or not np.isfinite(price[option]):
                break
            fits = left if np.isinf(room[week]) else min(left, int((room[week] + 1e-9) // hours))
            room[week] -= fits * hours
            count[row, week] += fits
            left -= fits
    return count
