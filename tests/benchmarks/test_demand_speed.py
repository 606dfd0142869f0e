"""How long demand takes: one pool exactly, and a fleet of 100,000 vehicles in 40 depots."""

import numpy as np
import pytest

from service.engine.demand.forecast import forecast_demand
from service.engine.demand.jobs import DemandJobs
from service.engine.demand.usage_shock import usage_shock_nodes


def fleet_jobs(n_jobs: int, n_pools: int, n_weeks: int, n_nodes: int) -> DemandJobs:
    rng = np.random.default_rng(1)
    mean, factor = rng.gamma(3.0, 10.0, n_jobs), usage_shock_nodes(0.05, n_nodes).factor
    week = np.arange(1, n_weeks + 1)
    due = 1.0 / (1.0 + (mean[None, :, None] / (week * factor[:, None, None])) ** 6)
    return DemandJobs(
        pool_index=rng.integers(0, n_pools, n_jobs),
        vehicle_index=rng.integers(0, max(n_jobs // 2, 1), n_jobs),
        due_probability=due,
        option_quantity=rng.integers(8, 80, n_jobs) * 0.25,
        option_probability=np.ones(n_jobs),
        option_offsets=np.arange(n_jobs + 1),
    )


@pytest.mark.bench
@pytest.mark.parametrize("n_jobs", [200, 2_000])
def test_one_pool_exactly_for_thirteen_weeks(benchmark, n_jobs: int):
    jobs, shock = fleet_jobs(n_jobs, 1, 13, 1), usage_shock_nodes(0.0)
    result = benchmark.pedantic(lambda: forecast_demand(jobs, n_pools=1, shock=shock), rounds=1)
    assert result.is_exact.all()


@pytest.mark.bench
def test_two_hundred_pools_of_a_hundred_thousand_jobs(benchmark):
    """Five usage scenarios, thirteen weeks, litres on a lattice of one; exact up to 50 uncertain groups."""
    jobs, shock = fleet_jobs(100_000, 200, 13, 5), usage_shock_nodes(0.05, 5)
    result = benchmark.pedantic(
        lambda: forecast_demand(jobs, n_pools=200, shock=shock, n_exact_max=50, step_quantity=1.0), rounds=1
    )
    assert result.weekly.first_quantity.size == 200 * 13
