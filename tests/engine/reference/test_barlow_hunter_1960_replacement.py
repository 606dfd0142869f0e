"""The policy with complete exchanges is that of Barlow and Hunter, Operations Research 8 (1960) 90, policy II.

Renewal at an age, and after a failure a repair that leaves everything as old as it was. If one round renews the
whole charge, life used begins at 0 after every visit and the hazard (γx/c_lim)^b/η is that of a Weibull life of shape
β = b + 1 and scale α with α^β = β η (c_lim/γ)^b. Their optimum is t* = α (c_p/(c_m (β − 1)))^{1/β} at a cost of
c_m β t*^{β−1}/α^β; the numbers follow from it for α 1000, β 2.5, planned 1, repair 5 (derived).
"""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import weibull_min

from service.engine.policy.drain_fill import RoundsPolicy, ServiceCosts, WearAndHazard, plan_rounds_policy


def complete_exchange(scale_km: float, shape: float, planned: float, repair: float) -> RoundsPolicy:
    wear = WearAndHazard(
        exchanged_share=1.0,
        life_used_per_km=np.array([1.0 / scale_km]),
        hazard_shape=shape - 1.0,
        hazard_scale_km=scale_km / shape,
    )
    costs = ServiceCosts(
        visit_minor=planned,
        round_minor=0.0,
        round_litres=0.0,
        fluid_minor_per_litre=0.0,
        failure_minor=repair,
    )
    return plan_rounds_policy(wear, costs)


def test_the_published_optimum() -> None:
    policy = complete_exchange(1000.0, 2.5, 1.0, 5.0)
    assert policy.unconstrained_km[0, 0] == pytest.approx(446.6583884415, abs=1e-9)
    assert policy.cost_minor_per_km[0, 0] == pytest.approx(0.0037314124391, abs=1e-13)


@pytest.mark.parametrize(("shape", "repair"), [(1.3, 20.0), (2.0, 3.0), (3.7, 8.0), (6.0, 1.5)])
def test_the_optimum_of_a_minimiser(shape: float, repair: float) -> None:
    """Expected repairs are the cumulative hazard −ln R, by scipy."""
    life = weibull_min(shape, scale=80_000.0)

    def cost_rate(km: float) -> float:
        return float((1.0 - repair * life.logsf(km)) / km)

    found = minimize_scalar(cost_rate, bounds=(500.0, 400_000.0), method="bounded", options={"xatol": 1e-3})
    policy = complete_exchange(80_000.0, shape, 1.0, repair)
    assert policy.unconstrained_km[0, 0] == pytest.approx(found.x, rel=2e-4)
    within_life = found.x <= policy.longest_km[0, 0]
    if within_life:
        assert policy.cost_minor_per_km[0, 0] == pytest.approx(found.fun, rel=1e-9)
    for edge in (policy.flat_km.shortest[0, 0], policy.flat_km.longest[0, 0]):
        assert cost_rate(edge) == pytest.approx(1.02 * found.fun, rel=1e-8)
