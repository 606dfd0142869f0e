"""Passage of a gamma process over a level (Lawless & Crowder 2004): `scipy.stats.gamma` as reference."""

import numpy as np
from scipy import optimize, stats

from service.engine.due.forecast import forecast_due
from service.engine.due.passage import passage_score, passage_terms, root_remaining
from tests.engine.due.odometers import DenseOdometer
from tests.engine.due.questions import compartments, linear_moments, meter

KM_PER_DAY, KM2_PER_DAY, LEVEL_KM = 40.0, 8000.0, 6000.0
DAYS = np.array([100.0, 120.0, 150.0, 180.0, 200.0])


def passed(mean: object, variance: object, level_km: float) -> np.ndarray:
    """Probability of having passed a level, by the code under test."""
    offset, slope = passage_terms(np.asarray(mean), np.asarray(variance))
    root = root_remaining(np.full(np.shape(mean), level_km), np.zeros(np.shape(mean)))
    return stats.norm.cdf(passage_score(offset, slope, root))


def gamma_passed(days: object) -> np.ndarray:
    """The same by the gamma distribution of the process itself."""
    shape = KM_PER_DAY**2 / KM2_PER_DAY * np.asarray(days)
    return stats.gamma.sf(LEVEL_KM, shape, scale=KM2_PER_DAY / KM_PER_DAY)


def test_passage_probability_is_that_of_the_gamma_process() -> None:
    """Wilson-Hilferty's cube root is good to .002 at these shapes (20 to 40)."""
    np.testing.assert_allclose(
        passed(KM_PER_DAY * DAYS, KM2_PER_DAY * DAYS, LEVEL_KM), gamma_passed(DAYS), atol=0.002
    )


def test_there_is_no_reflection_term() -> None:
    """A Brownian path of the same mean and variance (`scipy.stats.invgauss`) would be due days earlier."""
    brownian = stats.invgauss.cdf(
        DAYS, KM2_PER_DAY / (LEVEL_KM * KM_PER_DAY), scale=LEVEL_KM**2 / KM2_PER_DAY
    )
    ours = passed(KM_PER_DAY * DAYS, KM2_PER_DAY * DAYS, LEVEL_KM)
    assert brownian[2] - ours[2] > 0.05
    assert np.abs(ours - gamma_passed(DAYS)).max() < 0.05 * np.abs(brownian - ours).max()


def test_due_quantiles_are_those_of_the_gamma_process() -> None:
    odometer = meter(linear_moments(KM_PER_DAY, 0.0, KM2_PER_DAY))
    forecast = forecast_due(compartments(distance_km=LEVEL_KM), odometer, week_end_days=DAYS)
    exact = [optimize.brentq(lambda t, p=p: gamma_passed(t) - p, 1.0, 1000.0) for p in (0.1, 0.5, 0.9)]
    np.testing.assert_allclose(forecast.days_ahead[0], exact, atol=0.1)
    np.testing.assert_allclose(np.cumsum(forecast.week_probability[0]), gamma_passed(DAYS), atol=0.002)


def test_repeated_services_are_higher_levels_on_the_same_path() -> None:
    """The third service of an interval I is the level L + 2 I: no convolution."""
    intervals = LEVEL_KM * np.arange(1, 4)
    odometer = meter(linear_moments(KM_PER_DAY, 0.0, KM2_PER_DAY))
    forecast = forecast_due(compartments(distance_km=intervals), odometer, week_end_days=DAYS)
    shape = KM_PER_DAY**2 / KM2_PER_DAY * forecast.days_ahead[:, 1]
    reached = stats.gamma.sf(intervals, shape, scale=KM2_PER_DAY / KM_PER_DAY)
    np.testing.assert_allclose(reached, 0.5, atol=0.003)


def test_quantiles_of_an_uncertain_rate_are_those_of_the_exact_gamma_increment() -> None:
    """Six irregular readings: the exact gamma law with the same moments; cube root within .1 day (derived)."""
    odometer = DenseOdometer()

    def exact(days: float, probability: float) -> float:
        mean, variance = odometer.moments(np.zeros(1, dtype=np.int64), np.array([days + 10.0]))
        return (
            float(stats.gamma.sf(7300.0, mean[0] ** 2 / variance[0], scale=variance[0] / mean[0]))
            - probability
        )

    expected = [optimize.brentq(exact, 1.0, 1000.0, args=(p,)) for p in (0.1, 0.5, 0.9)]
    limits = compartments(distance_km=135000.0)
    forecast = forecast_due(limits, meter(odometer.moments, 127700.0, 10.0), week_end_days=DAYS)
    np.testing.assert_allclose(forecast.days_ahead[0], expected, atol=0.1)
