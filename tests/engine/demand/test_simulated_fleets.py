"""Fleets simulated with known truth: what falls due lies within P10 and P90 as often as it should."""

import numpy as np
import pytest
from scipy.stats import norm

from service.engine.demand.forecast import forecast_demand
from service.engine.demand.lattice import distribution_quantile
from service.engine.demand.usage_shock import usage_shock_nodes
from tests.engine.demand.test_forecast import make_jobs

N_FLEETS = 150
N_WEEKS = 8
LOG_SD = 0.08


@pytest.mark.slow
@pytest.mark.parametrize("n_exact_max", [0, 2_000])
def test_p10_to_p90_covers_three_to_four_fifths_and_ignoring_the_shock_does_not(n_exact_max: int):
    """Two jobs a vehicle on one path of use, one shock a fleet; both ways of summing, weekly and cumulative."""
    n_fleets = N_FLEETS if n_exact_max == 0 else N_FLEETS // 3
    rng = np.random.default_rng(17)
    shock = usage_shock_nodes(LOG_SD)
    inside = np.zeros((3, n_fleets, N_WEEKS))
    for fleet in range(n_fleets):
        n_vehicles = 60
        vehicle = np.repeat(np.arange(n_vehicles), 2)
        # Log due time of each job: normal; both jobs of a vehicle share its deviate.
        log_mean = rng.normal(2.2, 0.8, 2 * n_vehicles)
        litres = rng.choice([4.25, 6.0, 9.5, 15.0], 2 * n_vehicles)
        log_week = np.log(np.arange(1, N_WEEKS + 1))

        def due(
            factor: np.ndarray, log_mean: np.ndarray = log_mean, log_week: np.ndarray = log_week
        ) -> np.ndarray:
            reached = log_week + np.log(factor)[:, None, None] - log_mean[None, :, None]
            return norm.cdf(reached / 0.25)

        jobs = make_jobs(due(shock.factor), litres, vehicle=vehicle)
        forecast = forecast_demand(jobs, n_pools=1, shock=shock, n_exact_max=n_exact_max)
        blind_jobs = make_jobs(due(np.ones(1)), litres, vehicle=vehicle)
        blind = forecast_demand(blind_jobs, n_pools=1, shock=usage_shock_nodes(0.0), n_exact_max=0)
        position = np.repeat(rng.random(n_vehicles), 2)
        came = position[:, None] < due(np.exp(LOG_SD * rng.standard_normal(1)))[0]
        cumulative = litres @ came
        weekly = np.diff(cumulative, prepend=0.0)
        for row, (sums, truth) in enumerate(
            ((forecast.weekly, weekly), (forecast.cumulative, cumulative), (blind.cumulative, cumulative))
        ):
            low, high = distribution_quantile(sums, 0.1), distribution_quantile(sums, 0.9)
            inside[row, fleet] = (truth >= low) & (truth <= high)
    coverage = inside.mean(axis=(1, 2))
    assert 0.75 <= coverage[0] <= 0.85
    assert 0.75 <= coverage[1] <= 0.85
    assert coverage[2] < coverage[1] - 0.1
