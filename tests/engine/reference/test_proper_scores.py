"""Scores and tests of calibration against quadrature, scipy's laws and published values.

CRPS values were computed with properscoring 0.1 and scoringrules 0.10.0, two public libraries; Kupiec's acceptance
regions are those of Kupiec, J. Derivatives 3, 1995, table 1 (5 % level), as generally quoted.
"""

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from service.engine.skill.calibration import interval_censored_pit, kupiec_test
from service.engine.skill.scores import (
    crps_ensemble,
    crps_exponential,
    crps_gamma,
    crps_log_normal,
    crps_normal,
    interval_score,
    pinball_loss,
    weighted_interval_score,
)


def one(value: float) -> np.ndarray:
    return np.array([value])


@pytest.mark.parametrize(
    ("score", "expected"),
    [
        (crps_normal(one(0.0), one(0.0), one(1.0)), 0.233694977255),
        (crps_normal(one(180.0), one(150.0), one(27.0)), 18.391658364224),
        (crps_gamma(one(180.0), one(150.0), one(750.0)), 19.161400416927),
        (crps_log_normal(one(180.0), one(5.0), one(0.2)), 18.610207572132),
        (crps_exponential(one(180.0), one(150.0)), 45.358263573661),
        (crps_ensemble(one(130.0), np.array([[100.0, 120.0, 150.0, 180.0, 240.0]])), 16.8),
        (crps_ensemble(one(130.0), np.array([[240.0, 120.0, 180.0, 150.0, 100.0]]), is_fair=True), 10.0),
    ],
)
def test_crps_is_that_of_the_public_libraries(score, expected):
    assert score[0] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("score", "law"),
    [
        (lambda y: crps_normal(y, one(150.0), one(27.0)), stats.norm(150.0, 27.0)),
        (lambda y: crps_gamma(y, one(150.0), one(9000.0)), stats.gamma(2.5, scale=60.0)),
        (lambda y: crps_log_normal(y, one(5.0), one(0.2)), stats.lognorm(0.2, scale=np.exp(5.0))),
        (lambda y: crps_exponential(y, one(150.0)), stats.expon(scale=150.0)),
    ],
)
@pytest.mark.parametrize("observed", [20.0, 130.0, 400.0])
def test_crps_is_the_integral_it_stands_for(score, law, observed):
    """Definition: the integral of (F(x) - 1{x >= y})^2, scipy's laws and quadrature."""
    below = quad(lambda x: law.cdf(x) ** 2, -500.0, observed, limit=300)[0]
    above = quad(lambda x: law.sf(x) ** 2, observed, 6000.0, limit=300)[0]
    assert score(one(observed))[0] == pytest.approx(below + above, rel=1e-6)


def test_pinball_losses_by_hand():
    losses = pinball_loss(one(180.0), np.array([[115.4, 150.0, 184.6]]), np.array([0.1, 0.5, 0.9]))
    np.testing.assert_allclose(losses, [[6.46, 15.0, 0.46]])


@pytest.mark.parametrize(("n_levels", "expected"), [(9, 18.5776), (19, 18.3721), (99, 18.39355)])
def test_twice_the_mean_pinball_over_many_levels_is_the_crps(n_levels, expected):
    levels = (np.arange(1, n_levels + 1) - 0.5) / n_levels
    quantiles = stats.norm(150.0, 27.0).ppf(levels)[None, :]
    assert 2.0 * np.mean(pinball_loss(one(180.0), quantiles, levels)) == pytest.approx(expected, abs=5e-5)


def test_interval_scores_by_hand():
    low, high = one(115.4), one(184.6)
    assert interval_score(one(180.0), low, high, 0.2)[0] == pytest.approx(69.2)
    assert interval_score(one(200.0), low, high, 0.2)[0] == pytest.approx(223.2)
    assert weighted_interval_score(one(200.0), one(150.0), low, high, 0.2)[0] == pytest.approx(31.546666667)


@pytest.mark.parametrize(
    ("n_exceedances", "statistic", "p_value"),
    [(130, 9.226008845862, 0.0023860), (108, 0.694907637570, 0.4045)],
)
def test_kupiecs_likelihood_ratio(n_exceedances, statistic, p_value):
    """Derived: chi square with one degree of freedom by scipy."""
    result = kupiec_test(1000, n_exceedances, 0.1)
    assert result.statistic == pytest.approx(statistic, abs=1e-9)
    assert result.p_value == pytest.approx(p_value, abs=5e-5)
    assert result.p_value == pytest.approx(stats.chi2(1).sf(statistic), abs=1e-9)


@pytest.mark.parametrize(("n", "region"), [(255, (7, 20)), (510, (17, 35)), (1000, (38, 64))])
def test_kupiecs_published_regions(n, region):
    inside = [x for x in range(n) if kupiec_test(n, x, 0.05).p_value > 0.05]
    assert (min(inside), max(inside)) == region


def test_no_exceedance_at_all_is_a_number():
    assert np.isfinite(kupiec_test(100, 0, 0.1).statistic)


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
