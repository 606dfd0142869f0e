"""Scores against quadrature and scipy's laws, by the definitions of Gneiting and Raftery, JASA 102 (2007).

The CRPS of a single gamma forecast was computed with scoringrules 0.10.0, a public library.
"""

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from service.engine.skill.calibration import interval_censored_pit
from service.engine.skill.scores import crps_gamma, pinball_loss


def one(value: float) -> np.ndarray:
    return np.array([value])


def test_crps_is_that_of_a_public_library():
    assert crps_gamma(one(180.0), one(150.0), one(750.0))[0] == pytest.approx(19.161400416927, abs=1e-9)


@pytest.mark.parametrize("observed", [20.0, 130.0, 400.0])
def test_crps_is_the_integral_it_stands_for(observed):
    """Definition: the integral of (F(x) - 1{x >= y})^2, scipy's law and quadrature."""
    law = stats.gamma(2.5, scale=60.0)
    below = quad(lambda x: law.cdf(x) ** 2, 0.0, observed, limit=300)[0]
    above = quad(lambda x: law.sf(x) ** 2, observed, 6000.0, limit=300)[0]
    score = crps_gamma(one(observed), one(150.0), one(9000.0))[0]
    assert score == pytest.approx(below + above, rel=1e-6)


def test_pinball_losses_by_hand():
    losses = pinball_loss(one(180.0), np.array([[115.4, 150.0, 184.6]]), np.array([0.1, 0.5, 0.9]))
    np.testing.assert_allclose(losses, [[6.46, 15.0, 0.46]])


@pytest.mark.parametrize(("n_levels", "expected"), [(9, 18.5776), (19, 18.3721), (99, 18.39355)])
def test_twice_the_mean_pinball_over_many_levels_is_the_crps(n_levels, expected):
    levels = (np.arange(1, n_levels + 1) - 0.5) / n_levels
    quantiles = stats.norm(150.0, 27.0).ppf(levels)[None, :]
    assert 2.0 * np.mean(pinball_loss(one(180.0), quantiles, levels)) == pytest.approx(expected, abs=5e-5)


def test_a_calibrated_forecast_of_censored_events_has_a_flat_histogram():
    """Events seen at monthly inspections only, watched for a year; every forecast is the truth."""
    rng = np.random.default_rng(8)
    law = stats.gamma(4.0, scale=60.0)
    event = law.rvs(4000, random_state=rng)
    start = rng.uniform(0.0, 30.0, 4000)
    before = np.maximum(start + np.floor((event - start) / 30.0) * 30.0, 0.0)
    seen = event <= 365.0
    low = law.cdf(np.where(seen, before, 365.0))
    high = np.where(seen, law.cdf(np.where(event < start, start, before + 30.0)), 1.0)
    histogram = interval_censored_pit(low, high)
    assert np.sum(histogram) == pytest.approx(1.0)
    np.testing.assert_allclose(histogram, 0.1, atol=0.015)
