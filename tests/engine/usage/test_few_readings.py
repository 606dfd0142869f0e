"""What a few readings say of how unevenly a vehicle is driven: they have already said how much."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chi2

from service.engine.usage.filter import filter_readings
from service.engine.usage.hyperparameters import DEFAULT_HYPERPARAMETERS
from service.engine.usage.priors import TAIL_FACTOR, RatePriors
from service.engine.usage.scale import STUDENT_ALLOWANCE, dispersion


def driven(rng, n, days, log_sd):
    """Odometers of n vehicles day by day, drawn from the model itself: shape (days + 1, n)."""
    h = DEFAULT_HYPERPARAMETERS
    decay = np.exp(-h.reversion_per_day)
    long_run = 1.0 + h.initial_sd * rng.standard_normal(n)
    temporary = h.temporary_sd * rng.standard_normal(n)
    x = np.zeros((days + 1, n))
    for day in range(days):
        x[day + 1] = x[day] + long_run + temporary + h.noise_sd * rng.standard_normal(n)
        temporary = decay * temporary + h.temporary_sd * np.sqrt(1.0 - decay**2) * rng.standard_normal(n)
        long_run = long_run + np.sqrt(h.drift_per_day) * rng.standard_normal(n)
    return x * np.exp(4.0 + log_sd * rng.standard_normal(n))


def read(x, n_readings, log_sd):
    """Filter so many readings, a month apart, with no word of the fleet on how unevenly vehicles are driven."""
    n, at = x.shape[1], 30 * np.arange(n_readings)
    priors = RatePriors(log_rate=np.full(n, 4.0), log_rate_sd=np.full(n, TAIL_FACTOR * log_sd))
    times, offsets = np.tile(at.astype(float), n), np.arange(n + 1) * n_readings
    return filter_readings(
        times, x[at].T.ravel(), offsets, priors, replace(DEFAULT_HYPERPARAMETERS, dispersion_weight=1e-9)
    )


@pytest.mark.parametrize("n_readings", [4, 6, 12])
def test_the_scale_takes_a_degree_of_freedom_from_the_dispersion(n_readings):
    """Reference: the median of chi-square by its degrees of freedom, (n - 1)^2 / n of them, by scipy.

    The median, because the mean is that of the few vehicles which hardly moved.
    """
    log_sd, degrees = 0.6, (n_readings - 1) ** 2 / n_readings
    x = driven(np.random.default_rng(n_readings), 6000, 30 * n_readings, log_sd)
    found = np.median(dispersion(read(x, n_readings, log_sd))) / (1.0 + STUDENT_ALLOWANCE / degrees)
    assert found == pytest.approx(chi2.median(degrees) / degrees, rel=0.05)
