"""Interval and rounds by renewal reward, and trying a policy out."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from service.engine.policy.drain_fill import (
    ServiceCosts,
    WearAndHazard,
    failure_cost_rate,
    plan_rounds_policy,
)
from service.engine.policy.what_if import TrialPolicy, try_policy
from service.errors import InvalidInputError

WEAR = WearAndHazard(exchanged_share=0.42, life_used_per_km=np.array([1e-5]), hazard_scale_km=4e5)
COSTS = ServiceCosts(
    visit_minor=35.0, round_minor=12.0, round_litres=4.2, fluid_minor_per_litre=9.0, failure_minor=3800.0
)


def long_run_cost_per_km(interval_km: float, n_rounds: int) -> float:
    """Reference: drive 400 intervals one by one, hazard integrated by scipy's quadrature in the last."""
    start, kept = 0.0, (1.0 - 0.42) ** n_rounds
    for _ in range(400):
        start = kept * (start + 1e-5 * interval_km)
    failures = quad(lambda x: (start + 1e-5 * x) ** 3 / 4e5, 0.0, interval_km)[0]
    return (35.0 + n_rounds * (12.0 + 4.2 * 9.0) + 3800.0 * failures) / interval_km


def test_best_interval_for_one_to_four_rounds() -> None:
    """φ .42, γ 1e-5/km, b 3, η 4e5 km: intervals and costs derived from the renewal-reward form."""
    policy = plan_rounds_policy(WEAR, COSTS)
    np.testing.assert_allclose(
        policy.unconstrained_km[:4, 0], [25_420.9236, 43_890.5307, 57_429.7501, 67_152.3410], atol=5e-5
    )
    np.testing.assert_allclose(
        policy.cost_minor_per_km[:4, 0], [0.0044477797, 0.0040889610, 0.0042811725, 0.0046501233], atol=5e-11
    )
    assert policy.best_rounds[0] == 2


@pytest.mark.parametrize("n_rounds", [1, 2, 3, 4])
def test_costs_are_those_of_driving_it_and_no_grid_interval_is_cheaper(n_rounds: int) -> None:
    policy = plan_rounds_policy(WEAR, COSTS)
    interval, cost = (float(x[n_rounds - 1, 0]) for x in (policy.interval_km, policy.cost_minor_per_km))
    assert long_run_cost_per_km(interval, n_rounds) == pytest.approx(cost, rel=1e-9)
    grid = [long_run_cost_per_km(km, n_rounds) for km in np.arange(5_000.0, 100_000.0, 500.0)]
    assert min(grid) >= cost * (1.0 - 1e-9)
    assert min(grid) == pytest.approx(cost, rel=1e-3)


def test_failures_at_a_chosen_interval_are_what_is_not_the_visit() -> None:
    """The driven reference's cost less A/τ, at an interval that is not the best one."""
    failures = failure_cost_rate(WEAR, COSTS, 30_000.0)
    for n_rounds in (1, 2, 6):
        visit = (35.0 + n_rounds * (12.0 + 4.2 * 9.0)) / 30_000.0
        expected = long_run_cost_per_km(30_000.0, n_rounds) - visit
        assert failures[n_rounds - 1, 0] == pytest.approx(expected, rel=1e-9)


def test_rounds_waste_new_fluid() -> None:
    """ρ = .58, .3364, .1951, .1132, .0656: what is poured grows faster than what is new; derived."""
    policy = plan_rounds_policy(WEAR, COSTS)
    np.testing.assert_allclose(
        1.0 - policy.effectively_new_share[:5, 0], [0.58, 0.3364, 0.1951, 0.1132, 0.0656], atol=5e-5
    )
    np.testing.assert_allclose(policy.visit_litres[:, 0], 4.2 * np.arange(1, 7))


def test_the_limit_holds_the_interval_with_the_wanted_probability() -> None:
    draws = 1e-5 * np.exp(np.random.default_rng(1).normal(0.0, 0.4, (4000, 2)))
    wear = replace(WEAR, life_used_per_km=draws, life_used_limit=np.array([0.3, 5.0]))
    policy = plan_rounds_policy(wear, COSTS, compliance_probability=0.9)
    assert policy.is_held_by_limit[:, 0].all()
    assert not policy.is_held_by_limit[:, 1].any()
    peaks = draws[:, :1].T * policy.interval_km[1, 0] / policy.effectively_new_share[1, 0]
    assert (peaks <= 0.3).mean() == pytest.approx(0.9, abs=1e-3)


def test_a_doubtful_rate_shortens_the_interval() -> None:
    """The mean of the cost over draws is minimised: E[γ³] exceeds the cube of the mean."""
    draws = 1e-5 * np.array([[0.5], [1.5]])
    doubtful = plan_rounds_policy(replace(WEAR, life_used_per_km=draws), COSTS)
    certain = plan_rounds_policy(WEAR, COSTS)
    assert np.all(doubtful.unconstrained_km < certain.unconstrained_km)


def test_without_a_hazard_only_limits_set_the_interval() -> None:
    """With no hazard more rounds pay only by a longer interval: (1 − ρ)/γ; derived."""
    policy = plan_rounds_policy(replace(WEAR, hazard_scale_km=np.inf), COSTS, allowed_km=50_000.0)
    assert np.isinf(policy.unconstrained_km).all()
    np.testing.assert_allclose(policy.interval_km[:2, 0], [42_000.0, 50_000.0])
    assert policy.peak_life_used[0, 0] == pytest.approx(1.0)
    assert np.isnan(policy.flat_km.shortest).all()


def test_the_flat_range_costs_two_percent_more_at_its_ends() -> None:
    policy = plan_rounds_policy(WEAR, COSTS)
    for edge in (policy.flat_km.shortest[1, 0], policy.flat_km.longest[1, 0]):
        assert long_run_cost_per_km(edge, 2) == pytest.approx(1.02 * policy.cost_minor_per_km[1, 0], rel=1e-8)


@pytest.mark.parametrize("probability", [0.0, 1.0, np.nan])
def test_senseless_probabilities_are_refused(probability: float) -> None:
    with pytest.raises(InvalidInputError):
        plan_rounds_policy(WEAR, COSTS, compliance_probability=probability)


def test_free_visits_and_negative_costs_are_refused() -> None:
    free = ServiceCosts(
        visit_minor=0.0, round_minor=0.0, round_litres=0.0, fluid_minor_per_litre=0.0, failure_minor=1.0
    )
    with pytest.raises(InvalidInputError):
        plan_rounds_policy(WEAR, free)
    with pytest.raises(InvalidInputError):
        plan_rounds_policy(WEAR, replace(COSTS, failure_minor=-1.0))


def walked_day_by_day(
    used: float, speed: float, policy: TrialPolicy, limit: float, steps_per_day: int = 20
) -> tuple[int, float, float]:
    """Reference: a plain loop in small steps."""
    visits, above, area, due = 0, 0.0, 0.0, float(policy.first_visit_days)
    for step in range(int(730 * steps_per_day)):
        if step / steps_per_day >= due:
            used, visits, due = (
                used * (1 - float(policy.exchanged_share)),
                visits + 1,
                due + policy.interval_days,
            )
        used += speed / steps_per_day
        above += used > limit
        area += used
    return visits, above / (730 * steps_per_day), area / (730 * steps_per_day)


@pytest.mark.parametrize(
    ("used", "speed", "first", "interval", "share"),
    [(0.2, 0.002, 100.0, 200.0, 0.5), (0.9, 0.001, 30.0, 365.0, 0.75), (0.0, 0.003, 0.0, 90.0, 0.42)],
)
def test_a_trial_is_what_a_day_by_day_walk_gives(
    used: float, speed: float, first: float, interval: float, share: float
) -> None:
    policy = TrialPolicy(
        interval_days=interval,
        first_visit_days=first,
        exchanged_share=share,
        visit_litres=8.0,
        visit_minor=90.0,
    )
    visits, above, mean = walked_day_by_day(used, speed, policy, 0.8)
    trial = try_policy(used, speed, policy, life_used_limit=0.8, horizon_days=730.0)
    assert trial.n_visits[0] == visits
    assert trial.share_of_time_above_limit[0] == pytest.approx(above, abs=1e-3)
    assert trial.mean_life_used[0] == pytest.approx(mean, abs=1e-3)
    assert trial.litres[0] == 8.0 * visits
    assert trial.cost_minor[0] == 90.0 * visits


def test_a_policy_that_never_comes_only_ages() -> None:
    never = TrialPolicy(
        interval_days=np.inf, first_visit_days=np.inf, exchanged_share=0.5, visit_litres=8.0, visit_minor=90.0
    )
    trial = try_policy(np.array([0.1, 0.9]), 0.0, never, life_used_limit=0.8)
    np.testing.assert_array_equal(trial.n_visits, 0)
    np.testing.assert_array_equal(trial.share_of_time_above_limit, [0.0, 1.0])
    np.testing.assert_array_equal(trial.highest_life_used, [0.1, 0.9])


def test_a_trial_with_a_visit_every_hour_is_refused() -> None:
    hourly = TrialPolicy(
        interval_days=1 / 24, first_visit_days=0.0, exchanged_share=0.5, visit_litres=8.0, visit_minor=90.0
    )
    with pytest.raises(InvalidInputError, match="visits"):
        try_policy(0.1, 0.001, hourly, life_used_limit=0.8)
