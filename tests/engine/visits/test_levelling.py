"""Visits levelled to bay hours: within the hours, at little cost, and with a reason for what is left."""

import dataclasses
import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.visits.classes import classify_visits
from service.engine.visits.levelling import level_visits
from service.engine.visits.requests import NO_DAY, VisitOutcome, VisitRequests
from service.engine.visits.week_costs import week_costs
from service.engine.visits.week_programme import LevellingMethod, WeekCapacity, place_greedily, solve_weeks
from service.errors import InvalidInputError
from tests.engine.visits.instances import bays, due_in, fleet, open_days


def test_week_costs_weigh_early_against_late():
    """Due in week 0, 1 or 2 with 0.2, 0.5, 0.3: expected weeks early and late by hand."""
    cost = week_costs(np.array([[0.2, 0.7, 1.0]]), np.array([1.0]), np.array([10.0]))
    assert cost[0] == pytest.approx([0.8 + 0.3, 0.3 + 10 * 0.2, 10 * (0.2 + 0.7), 10 * (0.2 + 0.7 + 1.0)])


def test_without_conflict_everybody_has_the_cheapest_week():
    result = level_visits(due_in([0, 1, 2, 3], 3), bays(open_days(3, 8.0)))
    assert (result.day // 7)[:3].tolist() == [0, 1, 2]
    assert result.outcome.tolist() == [VisitOutcome.PLACED] * 3 + [VisitOutcome.DUE_LATER]
    assert result.cost[0] == result.lower_bound_cost[0] == 0.0
    assert result.method[0] == LevellingMethod.NO_CONFLICT


def test_all_due_in_one_week_spread_before_it():
    """Ten hours a week and six visits of five hours due in week 2: two each in weeks 0, 1 and 2, early cost 30."""
    result = level_visits(due_in([2] * 6, 3, 5.0), bays(open_days(3, 5.0, (0, 1))))
    assert np.bincount(result.day // 7).tolist() == [2, 2, 2]
    assert result.cost[0] == pytest.approx(5.0 * (2 * 2 + 2 * 1))
    assert result.cost[0] == pytest.approx(result.lower_bound_cost[0])


def test_a_closed_week_is_zero_capacity():
    regular = open_days(3, 8.0)
    regular[0, 7:14] = 0.0
    result = level_visits(due_in([1, 1], 3), bays(regular))
    assert (result.day // 7).tolist() == [0, 0]


def test_no_visit_on_a_closing_day_or_when_the_vehicle_is_away():
    visits, hours = fleet(300, 2, 6)
    result = level_visits(visits, hours)
    placed = result.day > NO_DAY
    assert np.all(hours.regular_hours[visits.depot_index[placed], result.day[placed]] > 0.0)
    assert np.all(visits.is_available[placed, result.day[placed]])
    assert np.all(result.booked_hours <= hours.regular_hours + hours.overtime_hours + 1e-9)
    assert not result.overbooked_hours.any()


def test_reasons_for_what_did_not_fit():
    visits = due_in([0, 0, 0, 0, 3], 2, [2.0, 30.0, 2.0, 2.0, 2.0])
    there = visits.is_available.copy()
    there[2] = False
    there[3, :] = np.arange(14) % 7 == 6
    result = level_visits(dataclasses.replace(visits, is_available=there), bays(open_days(2, 8.0)))
    assert result.outcome.tolist() == [
        VisitOutcome.PLACED,
        VisitOutcome.LONGER_THAN_ANY_DAY,
        VisitOutcome.VEHICLE_NEVER_THERE,
        VisitOutcome.VEHICLE_NEVER_THERE,
        VisitOutcome.DUE_LATER,
    ]
    full = level_visits(due_in([0] * 9, 2, 4.0), bays(open_days(2, 4.0, (0, 1))))
    assert np.bincount(full.outcome, minlength=4).tolist()[:4] == [4, 0, 0, 5]
    closed = level_visits(due_in([0], 2), bays(np.zeros((1, 14))))
    assert closed.outcome.tolist() == [VisitOutcome.DEPOT_CLOSED]


def test_pins_are_kept_and_ruled_out_days_avoided():
    visits = due_in([0, 0, 0], 2, 3.0, pinned_day=np.array([9, NO_DAY, NO_DAY]))
    ruled_out = visits.is_available.copy()
    ruled_out[1, :5] = False
    result = level_visits(dataclasses.replace(visits, is_available=ruled_out), bays(open_days(2, 4.0)))
    assert result.day[0] == 9
    assert result.outcome[0] == VisitOutcome.PINNED
    assert result.day[1] // 7 == 1
    assert result.day[1] != 9
    assert result.day[2] // 7 == 0


def test_a_pin_beyond_the_hours_is_kept_and_shown_as_overbooked():
    visits = due_in([0, 0], 1, 6.0, pinned_day=np.array([2, 2]))
    result = level_visits(visits, bays(open_days(1, 8.0)))
    assert result.day.tolist() == [2, 2]
    assert result.overbooked_hours[0].tolist() == [0, 0, 4, 0, 0, 0, 0]


def test_overtime_is_used_only_where_it_is_worth_its_price():
    """Two visits of 4 h due now, one day of 4 h a week: waiting costs 100, overtime 4 x 50 or 4 x 10."""
    visits, regular = due_in([0, 0], 2, 4.0), open_days(2, 4.0, (0,))
    dear = level_visits(visits, bays(regular, regular.copy(), price=50.0))
    assert sorted((dear.day // 7).tolist()) == [0, 1]
    cheap = level_visits(visits, bays(regular, regular.copy(), price=10.0))
    assert (cheap.day // 7).tolist() == [0, 0]
    assert cheap.cost[0] == pytest.approx(40.0)


def test_class_programme_equals_enumeration():
    """Seven visits, three weeks, whole visits: the best of all 4^7 assignments."""
    rng = np.random.default_rng(5)
    for _ in range(5):
        hours = rng.choice([1.0, 2.0, 3.0], 7)
        cost = np.round(rng.uniform(0, 20, (7, 4)), 2)
        cost[:, 3] += 40.0
        capacity = WeekCapacity(
            regular_hours=np.array([4.0, 3.0, 5.0]),
            overtime_hours=np.array([2.0, 0.0, 1.0]),
            overtime_cost_per_hour=6.0,
        )
        classes = classify_visits(hours, cost)
        plan = solve_weeks(classes, capacity, 10.0)
        best = np.inf
        for weeks in itertools.product(range(4), repeat=7):
            used = np.bincount(weeks, weights=hours, minlength=4)[:3]
            beyond = np.maximum(used - capacity.regular_hours, 0.0)
            if np.all(beyond <= capacity.overtime_hours):
                best = min(best, cost[np.arange(7), weeks].sum() + 6.0 * beyond.sum())
        used = classes.hours @ plan.count[:, :3]
        own = (plan.count * classes.cost).sum() + 6.0 * np.maximum(used - capacity.regular_hours, 0.0).sum()
        # The search may stop within its gap of 0.1 % of the cost of the plan.
        assert best - 1e-9 <= own <= best * 1.001 + 1e-9
        assert (plan.count.sum(axis=1) == classes.n_visits).all()


def test_greedy_fallback_respects_the_hours_and_is_dearer_than_the_programme():
    visits, hours = fleet(200, 1, 6)
    cost = week_costs(visits.due_probability, visits.early_cost_per_week, visits.overdue_cost_per_week)
    classes = classify_visits(visits.labour_hours, cost)
    weekly = hours.regular_hours.reshape(6, 7).sum(axis=1)
    capacity = WeekCapacity(regular_hours=weekly, overtime_hours=0.15 * weekly, overtime_cost_per_hour=50.0)
    greedy, best = place_greedily(classes, capacity), solve_weeks(classes, capacity, 10.0)
    assert best.method is LevellingMethod.INTEGER_PROGRAMME
    for count in (greedy, best.count):
        assert np.all(count.sum(axis=1) == classes.n_visits)
        assert np.all(classes.hours @ count[:, :-1] <= 1.15 * weekly + 1e-6)

    def total(count: np.ndarray) -> float:
        used = classes.hours @ count[:, :-1]
        return float((count * classes.cost).sum() + 50.0 * np.maximum(used - weekly, 0.0).sum())

    assert total(best.count) < 0.95 * total(greedy)


def test_out_of_time_falls_back_to_greedy():
    visits, hours = fleet(120, 1, 6)
    result = level_visits(visits, hours, time_limit_seconds=1e-9)
    assert result.method.tolist() == [LevellingMethod.GREEDY]
    assert np.all(result.booked_hours <= hours.regular_hours + hours.overtime_hours + 1e-9)
    assert np.count_nonzero(result.day > NO_DAY) > 60


def test_cost_is_close_to_the_bound_on_a_crowded_depot():
    """The bound is Lagrangian, so it holds for every plan by weeks; days only make it harder."""
    visits, hours = fleet(400, 1, 8)
    result = level_visits(visits, hours)
    assert result.lower_bound_cost[0] <= result.cost[0] + 1e-6
    assert result.cost[0] <= 1.03 * result.lower_bound_cost[0]


def permuted(visits: VisitRequests, order: np.ndarray) -> VisitRequests:
    return VisitRequests(
        **{field.name: getattr(visits, field.name)[order] for field in dataclasses.fields(VisitRequests)}
    )


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 60))
def test_order_of_input_does_not_change_the_result(seed: int, n: int):
    visits, hours = fleet(n, 2, 4, seed=seed)
    order = np.random.default_rng(seed).permutation(n)
    first, second = level_visits(visits, hours), level_visits(permuted(visits, order), hours)
    assert second.day.tolist() == first.day[order].tolist()
    assert second.outcome.tolist() == first.outcome[order].tolist()
    used = np.zeros_like(hours.regular_hours)
    placed = first.day > NO_DAY
    np.add.at(used, (visits.depot_index[placed], first.day[placed]), visits.labour_hours[placed])
    assert first.booked_hours == pytest.approx(used)


def test_no_visits_leave_the_bays_empty():
    result = level_visits(due_in([], 2), bays(open_days(2, 8.0)))
    assert result.day.size == 0
    assert not result.booked_hours.any()


def test_impossible_requests_are_refused():
    visits, hours = due_in([0, 1], 2), bays(open_days(2, 8.0))
    for changes in (
        {"labour_hours": np.array([0.0, 1.0])},
        {"labour_hours": np.array([np.nan, 1.0])},
        {"depot_index": np.array([0, 1])},
        {"pinned_day": np.array([14, NO_DAY])},
        {"due_probability": np.array([[1.0, 0.0], [0.0, 1.0]])},
        {"is_available": np.ones((2, 7), np.bool_)},
        {"vehicle_index": np.arange(3)},
        {"early_cost_per_week": np.array([-1.0, 1.0])},
    ):
        with pytest.raises(InvalidInputError):
            level_visits(dataclasses.replace(visits, **changes), hours)
    with pytest.raises(InvalidInputError):
        level_visits(visits, bays(open_days(1, 8.0)))
    with pytest.raises(InvalidInputError):
        level_visits(visits, dataclasses.replace(hours, overtime_cost_per_hour=np.ones(2)))
