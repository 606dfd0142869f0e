"""Fluid ageing against its two closed forms, `scipy.stats.lognorm` and `scipy.stats.norm` as references."""

import numpy as np
import pytest
from scipy import stats

from service.engine.arrays import Floats
from service.engine.due.condition import LifeGain, condition_score
from service.engine.due.passage import SCORE_BOUND

# log-sd .25, median rate 8e-5 a km: the mean and coefficient of variation of that log-normal rate.
LOG_SD = 0.25
MEAN_RATE, RATE_CV = stats.lognorm.mean(LOG_SD, scale=8e-5), np.sqrt(np.expm1(LOG_SD**2))
DISTANCE_KM, DISTANCE_SD_KM = np.array([6000.0, 9000.0, 12000.0]), np.array([1500.0, 2000.0, 2500.0])


def gain_of(distance_km: Floats, distance_sd_km: Floats, rate: float) -> LifeGain:
    return LifeGain(mean_fraction=rate * distance_km, meter_variance=(rate * distance_sd_km) ** 2)


def used_up(life_left: float, life_used_sd: float, rate_cv: float, gain: LifeGain) -> Floats:
    score = condition_score(np.array([life_left]), np.array([life_used_sd]), np.array([rate_cv]), gain)
    return stats.norm.cdf(score)


def test_a_random_threshold_in_distance_is_a_ratio_of_log_normals() -> None:
    """.8 of life left: log distance and log threshold are both normal (`scipy.stats.lognorm`)."""
    ours = used_up(0.8, 0.0, RATE_CV, gain_of(DISTANCE_KM, DISTANCE_SD_KM, MEAN_RATE))
    distance_log_sd = np.sqrt(np.log1p((DISTANCE_SD_KM / DISTANCE_KM) ** 2))
    median = np.exp(np.log(DISTANCE_KM) - distance_log_sd**2 / 2.0) * 8e-5
    reference = stats.lognorm.sf(0.8, np.hypot(distance_log_sd, LOG_SD), scale=median)
    np.testing.assert_allclose(ours, reference, rtol=1e-9)


def test_a_random_threshold_against_simulated_gamma_distances() -> None:
    """2 million draws of a gamma distance over a log-normal threshold: .0612, .3523, .6912 (derived)."""
    ours = used_up(0.8, 0.0, RATE_CV, gain_of(DISTANCE_KM, DISTANCE_SD_KM, MEAN_RATE))
    np.testing.assert_allclose(ours, [0.0612, 0.3523, 0.6912], atol=0.004)


def test_without_any_gain_only_the_doubt_about_the_life_used_is_left() -> None:
    """Life used .677855±.070588 and a limit of .8: the normal tail, .04178."""
    ours = used_up(0.8 - 0.677855, 0.070588, 0.4, gain_of(np.zeros(1), np.zeros(1), 1e-5))
    assert ours[0] == pytest.approx(stats.norm.sf(0.8, 0.677855, 0.070588), abs=1e-9)
    assert ours[0] == pytest.approx(0.04178, abs=5e-6)


def test_doubt_about_life_used_grows_with_the_gain() -> None:
    """sd = sd_0 + cv * gain: mean and sd of the matched law, at a coefficient of variation that leaves it normal."""
    gain = gain_of(np.array([5000.0]), np.zeros(1), 1e-5)
    ours = used_up(0.06, 0.02, 0.05, gain)
    assert ours[0] == pytest.approx(stats.norm.sf(0.06, 0.05, 0.02 + 0.05 * 0.05), abs=1e-3)


def test_matched_law_against_draws() -> None:
    """Life left normal, gain log-normal, both driven by the same doubt: 400,000 draws; tolerance .01."""
    rng = np.random.default_rng(7)
    doubt = rng.normal(size=400_000)
    factor = stats.lognorm.ppf(
        stats.norm.cdf(doubt), np.sqrt(np.log1p(0.09)), scale=np.exp(-np.log1p(0.09) / 2.0)
    )
    for mean_gain in (0.1, 0.3, 0.5):
        used = 0.3 + 0.05 * doubt + factor * mean_gain
        gain = gain_of(np.array([mean_gain]), np.zeros(1), 1.0)
        assert used_up(0.4, 0.05, 0.3, gain)[0] == pytest.approx(np.mean(used >= 0.7), abs=0.01)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_numbers_beyond_all_reason_still_give_a_score(dtype: type) -> None:
    """Nothing gained and any doubt, or a thousand lives gained: within the bounds of a score, and never NaN."""
    mean, variance = np.meshgrid([0.0, 1e-9, 1.0, 1e3], [0.0, 1e-12, 1.0, 1e12])
    gain = LifeGain(mean_fraction=mean.ravel().astype(dtype), meter_variance=variance.ravel().astype(dtype))
    for life_left in (-1.0, 0.0, 1.0):
        for life_used_sd, rate_cv in ((0.0, 0.0), (0.1, 0.3), (0.0, 5.0)):
            known = (np.full(mean.size, one, dtype=dtype) for one in (life_left, life_used_sd, rate_cv))
            score = condition_score(*known, gain)
            assert score.dtype == dtype
            assert (np.abs(score) <= SCORE_BOUND).all()
