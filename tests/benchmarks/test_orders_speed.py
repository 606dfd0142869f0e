"""How long one order plan takes; the goal is a tenth of a second for a depot and fluid."""

import numpy as np
import pytest

from service.engine.orders.plan import plan_orders
from service.engine.orders.terms import RunOutTarget
from tests.engine.orders.instances import poisson_weeks, shelf, terms


@pytest.mark.bench
@pytest.mark.parametrize("mean", [40.0, 250.0])
def test_twenty_six_weeks_three_packs(benchmark, mean: float):
    demand = poisson_weeks(mean, 26)
    plan = benchmark.pedantic(lambda: plan_orders(demand, terms(), shelf(100.0), RunOutTarget()), rounds=3)
    assert plan.optimality_gap_fraction == 0.0


@pytest.mark.bench
def test_spread_of_lead_times(benchmark):
    demand, spread = poisson_weeks(40.0, 26), terms(lead_time_probability=np.array([0, 0.2, 0.6, 0.15, 0.05]))
    plan = benchmark.pedantic(lambda: plan_orders(demand, spread, shelf(100.0), RunOutTarget()), rounds=3)
    assert plan.order_week.size > 0
