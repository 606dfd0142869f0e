"""From weeks to days: whose turn it is, what a pinned visit leaves, and what moving another visit may cost.

Costs and hours are invented; what must come out is worked by hand.
"""

import numpy as np
import pytest

from service.engine.visits.classes import VisitClasses, classify_visits
from service.engine.visits.levelling import level_visits
from service.engine.visits.repair import DayPlan, repair_days
from service.engine.visits.requests import NO_DAY, VisitOutcome
from service.engine.visits.week_programme import WeekCapacity, place_greedily, solve_weeks
from tests.engine.visits.instances import bays, due_in, open_days


def test_days_of_a_week_fill_evenly():
    result = level_visits(due_in([0, 0, 0, 0], 1, 2.0), bays(open_days(1, 8.0, (0, 1))))
    assert sorted(result.day.tolist()) == [0, 0, 1, 1]


def test_a_pin_beyond_the_hours_of_its_day_takes_them_from_overtime():
    """Six pinned hours on a day of four and four of overtime leave two: another visit of four does not fit."""
    visits = due_in([0, 0], 1, [6.0, 4.0], pinned_day=np.array([0, NO_DAY]))
    regular = open_days(1, 4.0, (0,))
    result = level_visits(visits, bays(regular, regular.copy(), price=1.0))
    assert result.day.tolist() == [0, NO_DAY]
    assert result.outcome[1] == VisitOutcome.BAYS_FULL
    assert not result.overbooked_hours.any()


def test_overtime_on_a_closing_day_is_none():
    """One visit a week fits, so one of two is a week late for 100; the bound knows nothing of the Sunday."""
    regular = open_days(2, 4.0, (0,))
    overtime = np.zeros_like(regular)
    overtime[0, 6::7] = 8.0
    result = level_visits(due_in([0, 0], 2, 4.0), bays(regular, overtime, price=1.0))
    assert sorted((result.day // 7).tolist()) == [0, 1]
    assert result.cost[0] == pytest.approx(100.0)
    assert result.lower_bound_cost[0] == pytest.approx(100.0)


def test_a_pin_costs_what_it_costs_in_the_plan_and_in_its_bound():
    result = level_visits(due_in([0], 2, pinned_day=np.array([9])), bays(open_days(2, 8.0)))
    assert result.cost[0] == result.lower_bound_cost[0] == 100.0


def test_room_is_made_first_for_whom_waiting_costs_most():
    """Five hours fit a day of four only by overtime, and only once."""
    visits = due_in([0, 0], 1, 5.0, overdue_cost_per_week=np.array([100.0, 300.0]))
    regular = open_days(1, 4.0, (0,))
    assert level_visits(visits, bays(regular, regular.copy())).day.tolist() == [NO_DAY, 0]


def test_a_visit_that_moves_leaves_its_day():
    """Two hours of four are taken; four more cost two of overtime, 100, and waiting costs 50."""
    plan = DayPlan(
        labour_hours=np.array([2.0, 4.0]),
        day_cost=np.zeros((2, 1)),
        waiting_cost=np.array([1000.0, 50.0]),
        day=np.array([0, NO_DAY]),
        left_hours=np.array([2.0]),
        overtime_hours=np.array([4.0]),
        overtime_cost_per_hour=50.0,
    )
    assert repair_days(plan, np.array([1])).tolist() == [0, NO_DAY]


def test_hours_go_first_to_those_who_lose_most_by_the_hour():
    """Four hours: two short visits that lose 60 each go before a long one that loses 100."""
    classes = VisitClasses(
        class_of_visit=np.array([0, 1, 1]),
        n_visits=np.array([1, 2]),
        hours=np.array([4.0, 2.0]),
        cost=np.array([[0.0, 100.0], [0.0, 60.0]]),
    )
    capacity = WeekCapacity(
        regular_hours=np.array([4.0]), overtime_hours=np.zeros(1), overtime_cost_per_hour=1.0
    )
    assert place_greedily(classes, capacity).tolist() == [[0, 1], [2, 0]]


@pytest.mark.parametrize("seed", range(8))
def test_overtime_is_given_once(seed: int):
    """Cheap overtime and many kinds of visit: the whole visits that are placed last find what the others left."""
    rng = np.random.default_rng(seed)
    hours = rng.choice([0.75, 1.0, 1.5, 2.0, 3.0, 4.0], 120)
    cost = np.sort(rng.uniform(0, 100, (120, 5)), axis=1)
    classes = classify_visits(hours, cost)
    capacity = WeekCapacity(
        regular_hours=np.full(4, 20.0), overtime_hours=np.full(4, 10.0), overtime_cost_per_hour=1.0
    )
    plan = solve_weeks(classes, capacity, 10.0)
    assert np.all(classes.hours @ plan.count[:, :-1] <= 30.0 + 1e-6)
