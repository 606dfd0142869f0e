"""A vehicle that drives less than it used to also varies less, and one that drives more varies more."""

from dataclasses import replace

import numpy as np
import pytest

from service.engine.usage.filter import filter_readings
from service.engine.usage.predict import gamma_quantiles, outlook_moments, outlook_of, positive_mean
from service.engine.usage.priors import configured_priors
from service.engine.usage.scale import scale_km_per_day


def changed_work(n=1800, trip_km=300.0):
    """Monthly readings over 900 days of which the last 300 are at 0.4, 1 or 2 times the former pace, and 60 days more.

    Distances are a compound Poisson process of exponential journeys: variance 2 x `trip_km` x mean at any pace.
    """
    rng = np.random.default_rng(3)
    pace = 60.0 * np.where(np.arange(32) < 20, 1.0, np.repeat([0.4, 1.0, 2.0], n // 3)[:, None])
    steps = rng.gamma(np.maximum(rng.poisson(30.0 * pace / trip_km), 1e-9), trip_km)
    odometer = np.concatenate([np.zeros((n, 1)), np.cumsum(steps[:, :30], axis=1)], axis=1)
    state = filter_readings(
        np.tile(np.arange(31) * 30.0, n), odometer.ravel(), np.arange(n + 1) * 31, configured_priors(n)
    )
    return state, steps[:, 30:].sum(axis=1)


def test_the_outer_points_follow_the_pace_of_a_vehicle_that_changed_its_work():
    """Pinball loss of P10 and P90 with the level and without, either at the common width that suits it best."""
    state, came = changed_work()
    outlook = outlook_of(state)
    level = outlook.near_variance_factor / state.near_variance_factor
    flat = replace(outlook, near_variance_factor=state.near_variance_factor, slope=outlook.slope / level)
    least = []
    for one in (outlook, flat):
        mean, variance = outlook_moments(one, np.full(came.size, 60.0))
        losses = []
        for width in np.geomspace(0.2, 3.0, 30):
            wide = width * variance
            error = came[:, None] - gamma_quantiles(positive_mean(mean, wide), wide, np.array([0.1, 0.9]))
            losses.append(np.mean(np.maximum(np.array([0.1, 0.9]) * error, np.array([-0.9, -0.1]) * error)))
        least.append(min(losses))
    assert least[0] < least[1]


def test_the_level_is_the_long_run_rate_by_the_average_within_bounds():
    state, _ = changed_work(60)
    outlook = outlook_of(state)
    level = outlook.near_variance_factor / state.near_variance_factor
    np.testing.assert_allclose(level, np.clip(outlook.m / scale_km_per_day(state), 0.25, 4.0), rtol=1e-12)
    slowed, same, faster = np.median(level.reshape(3, -1), axis=1)
    assert slowed < 0.8 < same < 1.2 < faster
    stopped = np.concatenate([60.0 * np.arange(10), np.full(60, 540.0)])
    at = np.arange(70) * 30.0
    stop = outlook_of(filter_readings(at, 30.0 * stopped, np.array([0, 70]), configured_priors(1)))
    assert stop.near_variance_factor[0] == pytest.approx(0.25)
