"""Services of one vehicle become one visit when that is cheaper than two."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.visits.bundling import bundle_visits
from service.errors import InvalidInputError

DUE = np.array([40.0, 50.0, 75.0, 160.0, 170.0])
EARLY = np.array([1.0, 2.0, 1.5, 0.8, 3.0])


@pytest.mark.parametrize(
    ("visit_cost", "visits", "total"),
    [
        (10.0, [0, 1, 2, 3, 4], 50.0),
        (50.0, [0, 0, 1, 2, 2], 200.0),
        (120.0, [0, 0, 0, 1, 1], 342.5),
        (400.0, [0, 0, 0, 1, 1], 902.5),
    ],
)
def test_worked_instance(visit_cost: float, visits: list[int], total: float):
    """Solved by brute force over all groupings (derived; see the next test for the method)."""
    bundles = bundle_visits(DUE, EARLY, np.array([0, 5]), np.array([visit_cost]))
    assert bundles.visit_of_job.tolist() == visits
    assert bundles.early_cost.sum() + visit_cost * bundles.due_day.size == pytest.approx(total)
    assert bundles.saved_cost.sum() == pytest.approx(5 * visit_cost - total)


def cheapest_grouping(due: np.ndarray, early: np.ndarray, visit_cost: float) -> float:
    """Try every assignment of jobs to visits, contiguous or not."""
    best = np.inf
    for labels in itertools.product(range(due.size), repeat=due.size):
        label = np.array(labels)
        cost = 0.0
        for visit in set(labels):
            members = label == visit
            cost += visit_cost + (early[members] * (due[members] - due[members].min())).sum()
        best = min(best, cost)
    return best


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 5), st.floats(0.0, 300.0))
def test_never_dearer_than_any_grouping(seed: int, n_jobs: int, visit_cost: float):
    rng = np.random.default_rng(seed)
    due, early = rng.integers(-20, 200, n_jobs).astype(float), rng.uniform(0, 4, n_jobs)
    bundles = bundle_visits(due, early, np.array([0, n_jobs]), np.array([visit_cost]))
    total = bundles.early_cost.sum() + visit_cost * bundles.due_day.size
    assert total == pytest.approx(cheapest_grouping(due, early, visit_cost))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 12))
def test_all_vehicles_at_once_equal_one_by_one_in_any_order(seed: int, n_vehicles: int):
    rng = np.random.default_rng(seed)
    count = rng.integers(0, 7, n_vehicles)
    offsets = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    due, early = rng.uniform(0, 200, offsets[-1]), rng.uniform(0, 3, offsets[-1])
    cost = rng.uniform(0, 150, n_vehicles)
    for array in (due, early, offsets, cost):
        array.setflags(write=False)
    together = bundle_visits(due, early, offsets, cost)
    assert np.all(np.diff(together.vehicle_index) >= 0)
    for vehicle in range(n_vehicles):
        jobs = slice(offsets[vehicle], offsets[vehicle + 1])
        order = rng.permutation(count[vehicle])
        alone = bundle_visits(
            due[jobs][order], early[jobs][order], np.array([0, count[vehicle]]), cost[vehicle : vehicle + 1]
        )
        own = together.due_day[together.vehicle_index == vehicle]
        assert alone.due_day.tolist() == own.tolist()
        assert together.due_day[together.visit_of_job[jobs]][order].tolist() == pytest.approx(
            alone.due_day[alone.visit_of_job].tolist()
        )


def test_no_vehicle_and_no_job():
    assert bundle_visits(np.zeros(0), np.zeros(0), np.array([0]), np.zeros(0)).due_day.size == 0
    assert bundle_visits(np.zeros(0), np.zeros(0), np.array([0, 0]), np.ones(1)).due_day.size == 0


def test_every_job_is_done_by_its_date():
    rng = np.random.default_rng(3)
    due, early = rng.uniform(0, 400, 500), rng.uniform(0, 2, 500)
    bundles = bundle_visits(due, early, np.arange(0, 501, 5), np.full(100, 60.0))
    assert np.all(bundles.due_day[bundles.visit_of_job] <= due)


@given(seed=st.integers(0, 10**6), size=st.integers(1, 6))
@settings(max_examples=50, deadline=None)
def test_a_limit_on_coming_early_is_kept_at_the_least_cost_that_trying_every_grouping_finds(
    seed: int, size: int
):
    rng = np.random.default_rng(seed)
    due, early = rng.uniform(0, 100, size), rng.uniform(0, 2, size)
    limit, cost = rng.uniform(0, 60, size), float(rng.uniform(0, 120))
    bundles = bundle_visits(due, early, np.array([0, size]), np.array([cost]), limit)
    given_up = due - bundles.due_day[bundles.visit_of_job]
    assert np.all(given_up <= limit + 1e-9)
    best = np.inf
    for openers in itertools.product([False, True], repeat=size):
        days = due[list(openers)]
        apart = due[:, None] - days[None, :]
        apart = np.where((apart >= 0) & (apart <= limit[:, None]), apart, np.inf)
        if days.size and np.all(np.isfinite(apart.min(axis=1))):
            best = min(best, days.size * cost + float(early @ apart.min(axis=1)))
    assert bundles.due_day.size * cost + float(early @ given_up) == pytest.approx(best)


def test_of_equal_groupings_the_one_with_fewer_visits_wins():
    """Ten days early at 1 a day cost what a second visit does; worked by hand."""
    bundles = bundle_visits(np.array([0.0, 10.0]), np.array([0.0, 1.0]), np.array([0, 2]), np.array([10.0]))
    assert bundles.visit_of_job.tolist() == [0, 0]


@pytest.mark.parametrize(("most_early", "n_visits"), [(10.0, 1), (9.9, 2)])
def test_as_early_as_a_job_may_come_it_comes(most_early: float, n_visits: int):
    due, early = np.array([0.0, 10.0]), np.array([0.0, 0.1])
    limits = np.array([0.0, most_early])
    assert bundle_visits(due, early, np.array([0, 2]), np.array([10.0]), limits).due_day.size == n_visits


def test_impossible_input_is_refused():
    with pytest.raises(InvalidInputError):
        bundle_visits(np.array([np.inf]), np.ones(1), np.array([0, 1]), np.ones(1))
    with pytest.raises(InvalidInputError):
        bundle_visits(np.ones(1), np.array([-1.0]), np.array([0, 1]), np.ones(1))
    with pytest.raises(InvalidInputError):
        bundle_visits(np.ones(1), np.ones(2), np.array([0, 1]), np.ones(1))
    with pytest.raises(InvalidInputError):
        bundle_visits(np.ones(1), np.ones(1), np.array([0, 2]), np.ones(1))
