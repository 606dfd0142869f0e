"""Demand per pool and week: what the distribution is made of, and what it must never be."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.demand.comonotone import window_cases
from service.engine.demand.forecast import DemandForecast, forecast_demand
from service.engine.demand.jobs import DemandJobs, TopUps
from service.engine.demand.lattice import (
    distribution_mean,
    distribution_quantile,
    probability_above,
    select_distributions,
)
from service.engine.demand.usage_shock import UsageShock, usage_shock_nodes
from service.errors import InvalidInputError
from tests.engine.demand.variances import distribution_variance

NO_SHOCK = usage_shock_nodes(0.0)


def make_jobs(
    due_probability: np.ndarray,
    litres: list[float] | np.ndarray,
    *,
    vehicle: list[int] | np.ndarray | None = None,
    pool: list[int] | np.ndarray | None = None,
) -> DemandJobs:
    """Jobs with one way each; `due_probability` of shape (nodes, n, weeks)."""
    n = due_probability.shape[1]
    arrays = {
        "pool_index": np.zeros(n, np.int64) if pool is None else np.array(pool, np.int64),
        "vehicle_index": np.arange(n) if vehicle is None else np.array(vehicle, np.int64),
        "due_probability": np.array(due_probability, float),
        "option_quantity": np.array(litres, float),
        "option_probability": np.ones(n),
        "option_offsets": np.arange(n + 1),
    }
    for array in arrays.values():
        array.setflags(write=False)
    return DemandJobs(**arrays)


def forecast_one(jobs: DemandJobs, **options: object) -> DemandForecast:
    return forecast_demand(jobs, n_pools=1, **{"shock": NO_SHOCK, **options})


def test_zero_jobs_need_zero_litres():
    jobs = make_jobs(np.zeros((1, 0, 3)), [])
    forecast = forecast_one(jobs)
    assert distribution_mean(forecast.cumulative).tolist() == [0.0, 0.0, 0.0]
    assert distribution_quantile(forecast.weekly, 0.99).tolist() == [0.0, 0.0, 0.0]


def test_certain_and_impossible_jobs_leave_no_spread():
    jobs = make_jobs(np.array([[[1.0], [0.0], [1.0]]]), [5.0, 100.0, 2.5])
    forecast = forecast_one(jobs)
    assert distribution_mean(forecast.weekly) == pytest.approx([7.5])
    assert distribution_variance(forecast.weekly) == pytest.approx([0.0], abs=1e-9)


def test_cumulative_demand_is_not_the_sum_of_independent_weeks():
    """One job, a quarter in each of four weeks: after four weeks it is certain, so the variance is zero."""
    jobs = make_jobs(np.array([[[0.25, 0.5, 0.75, 1.0]]]), [8.0])
    forecast = forecast_one(jobs)
    assert distribution_variance(forecast.cumulative)[3] == pytest.approx(0.0, abs=1e-9)
    assert distribution_variance(forecast.weekly) == pytest.approx([0.25 * 0.75 * 64.0] * 4)


def test_jobs_of_one_vehicle_move_together():
    """Two axles due at the same time: both or none, so the spread adds up linearly."""
    due = np.array([[[0.3], [0.3]]])
    together = forecast_one(make_jobs(due, [4.0, 6.0], vehicle=[7, 7]))
    apart = forecast_one(make_jobs(due, [4.0, 6.0]))
    assert distribution_variance(together.weekly) == pytest.approx([0.21 * 100.0])
    assert distribution_variance(apart.weekly) == pytest.approx([0.21 * 52.0])
    assert probability_above(together.weekly, np.array([[0.0, 9.75]])) == pytest.approx(np.full((1, 2), 0.3))


def test_services_of_one_vehicle_that_follow_each_other_exclude_each_other_in_a_short_week():
    """First and second service of one compartment on one path: the week between holds one of them at most."""
    due = np.array([[[0.6, 1.0], [0.0, 0.4]]])
    forecast = forecast_one(make_jobs(due, [5.0, 5.0], vehicle=[1, 1]))
    # Week 2 holds the first service for U in (0.6, 1] and the second for U in (0, 0.4].
    assert probability_above(forecast.weekly, np.array([[0.0, 5.0], [0.0, 5.0]])) == pytest.approx(
        np.array([[0.6, 0.0], [0.8, 0.0]])
    )


def test_ways_of_doing_a_job_are_mixed_by_their_probability():
    """One round of 4 L (0.7) or two rounds (0.3), due with probability 0.5."""
    jobs = DemandJobs(
        pool_index=np.zeros(1, np.int64),
        vehicle_index=np.zeros(1, np.int64),
        due_probability=np.array([[[0.5]]]),
        option_quantity=np.array([4.0, 8.0]),
        option_probability=np.array([0.7, 0.3]),
        option_offsets=np.array([0, 2]),
    )
    above = probability_above(forecast_one(jobs).weekly, np.array([[0.0, 4.0, 8.0]]))
    assert above == pytest.approx(np.array([[0.5, 0.15, 0.0]]))


def test_a_fill_between_two_lattice_points_keeps_its_mean():
    jobs = make_jobs(np.full((1, 40, 1), 0.5), np.full(40, 4.37))
    forecast = forecast_one(jobs, step_quantity=0.5)
    assert distribution_mean(forecast.weekly) == pytest.approx([40 * 0.5 * 4.37])


def test_exact_sum_equals_enumeration():
    """Nine jobs on three vehicles: every combination of the three paths of use, added up."""
    rng = np.random.default_rng(3)
    due = rng.uniform(0.05, 0.95, (1, 9, 1))
    litres = rng.integers(1, 30, 9) * 0.25
    vehicle = np.repeat([0, 1, 2], 3)
    forecast = forecast_one(make_jobs(due, litres, vehicle=vehicle))
    cases = []
    for v in range(3):
        p, k = due[0, vehicle == v, 0], litres[vehicle == v]
        edges = np.sort(np.concatenate([[0.0, 1.0], p]))
        middle = 0.5 * (edges[1:] + edges[:-1])
        cases.append([(w, k[m < p].sum()) for w, m in zip(np.diff(edges), middle, strict=True)])
    stocks = np.array([[5.0, 10.0, 20.0]])
    truth = [
        sum(a[0] * b[0] * c[0] for a, b, c in itertools.product(*cases) if a[1] + b[1] + c[1] > x + 1e-9)
        for x in stocks[0]
    ]
    assert probability_above(forecast.weekly, stocks)[0] == pytest.approx(truth, abs=1e-12)


def test_a_shared_shock_adds_the_variance_of_the_conditional_mean():
    """Var = E Var(.|Z) + Var E(.|Z), the law of total variance."""
    rng = np.random.default_rng(4)
    base = rng.uniform(0.1, 0.5, 300)
    shock = usage_shock_nodes(0.1)
    due = np.clip(base[None, :, None] * shock.factor[:, None, None], 0.0, 1.0)
    forecast = forecast_one(make_jobs(due, np.full(300, 6.0)), shock=shock)
    mean_given = (due[:, :, 0] * 6.0).sum(axis=1)
    variance_given = (due * (1 - due))[:, :, 0].sum(axis=1) * 36.0
    mean = shock.weight @ mean_given
    variance = shock.weight @ variance_given + shock.weight @ (mean_given - mean) ** 2
    assert distribution_mean(forecast.weekly) == pytest.approx([mean])
    assert distribution_variance(forecast.weekly) == pytest.approx([variance], rel=1e-6)


def test_top_ups_add_their_compound_poisson_mean_and_variance():
    top_ups = TopUps(
        expected_count=np.array([[3.0, 5.0]]),
        option_quantity=np.array([0.5, 1.0]),
        option_probability=np.array([0.25, 0.75]),
        option_offsets=np.array([0, 2]),
    )
    jobs = make_jobs(np.array([[[0.5, 1.0]]]), [4.0])
    forecast = forecast_one(jobs, top_ups=top_ups)
    mean_size, square = 0.875, 0.25 * 0.25 + 0.75
    assert distribution_mean(forecast.cumulative) == pytest.approx([2.0 + 3 * mean_size, 4.0 + 8 * mean_size])
    assert distribution_variance(forecast.cumulative) == pytest.approx([4.0 + 3 * square, 8 * square])


def test_expansion_and_exact_sum_agree_on_many_jobs():
    rng = np.random.default_rng(6)
    due = np.sort(rng.uniform(0.02, 0.4, (1, 900, 2)), axis=2)
    vehicle = np.repeat(np.arange(450), 2)
    jobs = make_jobs(due, rng.choice([4.25, 5.0, 8.0, 12.0], 900), vehicle=vehicle)
    exact, quick = forecast_one(jobs), forecast_one(jobs, n_exact_max=100)
    assert exact.is_exact.all()
    assert not quick.is_exact.any()
    for level in (0.05, 0.5, 0.95):
        difference = distribution_quantile(exact.cumulative, level) - distribution_quantile(
            quick.cumulative, level
        )
        sd = np.sqrt(distribution_variance(exact.cumulative))
        assert np.abs(difference / sd).max() < 0.02


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 25), st.integers(1, 4))
def test_order_of_jobs_is_irrelevant_and_quantiles_are_ordered(seed: int, n_jobs: int, n_weeks: int):
    rng = np.random.default_rng(seed)
    due = np.sort(rng.uniform(0, 1, (1, n_jobs, n_weeks)), axis=2)
    litres = rng.integers(0, 40, n_jobs) * 0.25
    vehicle, pool = rng.integers(0, 6, n_jobs), rng.integers(0, 2, n_jobs)
    order = rng.permutation(n_jobs)
    first = forecast_demand(make_jobs(due, litres, vehicle=vehicle, pool=pool), n_pools=2, shock=NO_SHOCK)
    second = forecast_demand(
        make_jobs(due[:, order], litres[order], vehicle=vehicle[order], pool=pool[order]),
        n_pools=2,
        shock=NO_SHOCK,
    )
    low, middle, high = (distribution_quantile(first.cumulative, level) for level in (0.1, 0.5, 0.9))
    assert np.all(low <= middle)
    assert np.all(middle <= high)
    assert distribution_mean(second.cumulative) == pytest.approx(
        distribution_mean(first.cumulative), abs=1e-9
    )
    by_week = np.cumsum(distribution_mean(first.weekly).reshape(2, n_weeks), axis=1)
    assert by_week.ravel() == pytest.approx(distribution_mean(first.cumulative), abs=1e-9)


def test_impossible_input_is_refused_with_the_place():
    good = np.array([[[0.2, 0.4]]])
    with pytest.raises(InvalidInputError) as falling:
        forecast_one(make_jobs(good[:, :, ::-1], [1.0]))
    assert falling.value.errors[0].pointer == "/due_probability"
    with pytest.raises(InvalidInputError):
        forecast_one(make_jobs(good, [-1.0]))
    with pytest.raises(InvalidInputError):
        forecast_one(make_jobs(good, [np.nan]))
    with pytest.raises(InvalidInputError):
        forecast_one(make_jobs(good, [1.0], pool=[1]))
    with pytest.raises(InvalidInputError):
        forecast_one(make_jobs(good, [1.0]), step_quantity=0.0)
    with pytest.raises(InvalidInputError):
        forecast_one(make_jobs(good, [1.0]), shock=UsageShock(factor=np.ones(2), weight=np.full(2, 0.5)))


def test_one_pool_can_be_picked_out():
    due = np.array([[[0.2, 0.4], [0.5, 1.0]]])
    forecast = forecast_demand(make_jobs(due, [5.0, 8.0], pool=[0, 1]), n_pools=2, shock=NO_SHOCK)
    second = select_distributions(forecast.cumulative, np.array([2, 3]))
    assert distribution_mean(second) == pytest.approx([4.0, 8.0])
    assert distribution_quantile(second, 0.9).tolist() == [8.0, 8.0]


def test_rare_groups_pooled_stay_within_le_cams_bound():
    """Few of many jobs fall into the week, so the sum is skewed: |F - F_exact| <= sum of squared rare probabilities."""
    rng = np.random.default_rng(12)
    due = np.concatenate([rng.uniform(0.0, 0.005, 400), rng.uniform(0.1, 0.9, 4)])[None, :, None]
    jobs = make_jobs(due, rng.integers(8, 80, 404) * 0.25)
    exact, pooled = forecast_one(jobs), forecast_one(jobs, n_exact_max=10)
    assert not pooled.is_exact.any()
    stocks = np.arange(0.0, 80.0, 0.25)[None, :]
    bound = float((due[due < 0.005] ** 2).sum())
    difference = np.abs(
        probability_above(exact.weekly, stocks) - probability_above(pooled.weekly, stocks)
    ).max()
    assert 0.0 < difference <= bound
    assert distribution_mean(pooled.weekly) == pytest.approx(distribution_mean(exact.weekly))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 4))
def test_members_keep_their_own_probability_however_they_move_together(seed: int, n_members: int):
    rng = np.random.default_rng(seed)
    bounds = np.sort(rng.uniform(0, 1, (2, 7, n_members)), axis=0)
    probability, falls_in = window_cases(bounds[0], bounds[1])
    falls_in = np.broadcast_to(falls_in, (*probability.shape, n_members))
    assert np.all(probability >= 0.0)
    assert np.all(probability.sum(axis=-1) <= 1.0 + 1e-12)
    assert (probability[..., None] * falls_in).sum(axis=1) == pytest.approx(bounds[1] - bounds[0])
