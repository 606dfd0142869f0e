"""Replacement policies against Barlow and Hunter, Operations Research 8 (1960) 90, policies I and II.

The numbers follow from their optimality conditions for a Weibull life (derived, α 1000, β 2.5, planned 1,
failure 5). Policy I is checked again by scipy's quadrature and minimiser, and against what `reliability`
0.9.0 prints for the same case from a 10 000-point grid (493.1851185 and 0.00346204292; its grid explains
0.2). Its branch for minimal repair has the two costs swapped and is no reference.
"""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from scipy.stats import weibull_min

from service.engine.policy.age_replacement import (
    replace_by_age,
    replace_by_age_from_draws,
    replace_with_minimal_repair,
    replacement_cost_rate,
)
from service.engine.policy.flatness import indifference_range
from service.errors import InvalidInputError


def test_policy_one_renewal_at_an_age_or_at_failure() -> None:
    best = replace_by_age(1000.0, 2.5, planned_cost=1.0, failure_cost=5.0)
    assert best.interval[0] == pytest.approx(493.0469575966, abs=1e-8)
    assert best.cost_rate[0] == pytest.approx(0.0034620427388, abs=1e-13)
    assert best.cost_rate_without[0] == pytest.approx(0.0056353025, abs=1e-10)


def test_policy_one_against_a_library() -> None:
    best = replace_by_age(1000.0, 2.5, planned_cost=1.0, failure_cost=5.0)
    assert best.interval[0] == pytest.approx(493.1851185, abs=0.2)
    assert best.cost_rate[0] == pytest.approx(0.00346204292, rel=1e-6)


def test_policy_two_minimal_repair() -> None:
    best = replace_with_minimal_repair(1000.0, 2.5, planned_cost=1.0, repair_cost=5.0)
    assert best.interval[0] == pytest.approx(446.6583884415, abs=1e-9)
    assert best.cost_rate[0] == pytest.approx(0.0037314124391, abs=1e-13)
    assert np.isinf(best.cost_rate_without[0])


@pytest.mark.parametrize(("shape", "failure"), [(1.3, 20.0), (2.0, 3.0), (3.7, 8.0), (6.0, 1.5)])
def test_policy_one_against_quadrature_and_a_minimiser(shape: float, failure: float) -> None:
    life = weibull_min(shape, scale=80_000.0)

    def cost_rate(t: float) -> float:
        reached = quad(life.sf, 0.0, t, epsrel=1e-12)[0]
        return float((life.sf(t) + failure * life.cdf(t)) / reached)

    found = minimize_scalar(cost_rate, bounds=(500.0, 240_000.0), method="bounded", options={"xatol": 1e-3})
    ours = replace_by_age(80_000.0, shape, planned_cost=1.0, failure_cost=failure)
    assert ours.interval[0] == pytest.approx(found.x, rel=2e-4)
    assert ours.cost_rate[0] == pytest.approx(found.fun, rel=1e-9)
    at_best = replacement_cost_rate(ours.interval, 80_000.0, shape, planned_cost=1.0, failure_cost=failure)
    assert at_best[0] == pytest.approx(found.fun, rel=1e-9)


def test_what_does_not_wear_out_is_left_to_fail() -> None:
    """β ≤ 1, or a failure that costs no more than the renewal: waiting is best."""
    left = replace_by_age(
        1000.0, np.array([0.8, 1.0, 2.5]), planned_cost=5.0, failure_cost=np.array([50, 50, 5.0])
    )
    assert not left.is_worthwhile.any()
    assert np.isinf(left.interval).all()
    np.testing.assert_array_equal(left.cost_rate, left.cost_rate_without)
    repaired = replace_with_minimal_repair(1000.0, np.array([0.8, 1.0]), planned_cost=1.0, repair_cost=5.0)
    assert np.isinf(repaired.interval).all()
    np.testing.assert_allclose(repaired.cost_rate, [0.0, 0.005])


def test_draws_that_agree_give_the_known_answer_and_doubt_shifts_it() -> None:
    scale, shape = np.full((9, 1), 1000.0), np.full((9, 1), 2.5)
    sure = replace_by_age_from_draws(scale, shape, planned_cost=1.0, failure_cost=5.0)
    assert sure.interval[0] == pytest.approx(493.0469575966, rel=1e-6)
    assert sure.cost_rate[0] == pytest.approx(0.0034620427388, rel=1e-12)
    rng = np.random.default_rng(2)
    unsure = 1000.0 * np.exp(rng.normal(0.0, 0.6, (400, 1)))
    mixed = replace_by_age_from_draws(unsure, np.full((400, 1), 2.5), planned_cost=1.0, failure_cost=5.0)
    plugged = replace_by_age(np.median(unsure), 2.5, planned_cost=1.0, failure_cost=5.0)

    def mean_rate(interval: np.ndarray) -> float:
        rates = replacement_cost_rate(interval, unsure, 2.5, planned_cost=1.0, failure_cost=5.0)
        return float(rates.mean())

    assert mean_rate(mixed.interval) == pytest.approx(float(mixed.cost_rate[0]))
    assert mean_rate(mixed.interval) < mean_rate(plugged.interval)


def test_the_cost_is_flat_around_the_best_age() -> None:
    best = replace_by_age(np.array([1000.0, 500.0]), 2.5, planned_cost=1.0, failure_cost=5.0)

    def rate(interval: np.ndarray) -> np.ndarray:
        return replacement_cost_rate(
            interval, np.array([1000.0, 500.0]), 2.5, planned_cost=1.0, failure_cost=5.0
        )

    flat = indifference_range(rate, best.interval)
    for edge in (flat.shortest, flat.longest):
        np.testing.assert_allclose(rate(edge), 1.02 * best.cost_rate, rtol=1e-9)
    assert np.all(flat.shortest < best.interval)
    assert np.all(flat.longest > best.interval)


@pytest.mark.parametrize(
    ("scale", "shape", "planned", "failure"),
    [(0.0, 2.0, 1.0, 5.0), (1e3, 0.0, 1.0, 5.0), (1e3, 2.0, -1.0, 5.0), (1e3, 2.0, 1.0, np.nan)],
)
def test_senseless_lives_and_costs_are_refused(
    scale: float, shape: float, planned: float, failure: float
) -> None:
    with pytest.raises(InvalidInputError):
        replace_by_age(scale, shape, planned_cost=planned, failure_cost=failure)
    with pytest.raises(InvalidInputError):
        replace_by_age_from_draws(np.empty((0, 1)), np.empty((0, 1)), planned_cost=1.0, failure_cost=5.0)
