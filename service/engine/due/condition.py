"""Has the fluid used up its life? Ageing driven by distance, time and engine hours."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.due.limits import FloatArray
from service.engine.due.passage import SCORE_BOUND

_SMALLEST_GAIN: Final = 1e-12
_SMALLEST_VARIANCE: Final = 1e-24
_SMALLEST_SPREAD: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeGain:
    """Life used up since the last reading: mean, and the doubt that the meters cause, together and each."""

    mean_fraction: FloatArray
    meter_variance: FloatArray
    km_sd: FloatArray
    hours_sd: FloatArray


def life_variance(life_used_sd: FloatArray, rate_cv: FloatArray, gain: LifeGain) -> FloatArray:
    """Give the variance of the life used.

    Notes
    -----
    Doubt about the rate is fully correlated in time, so its standard deviation grows by cv * gain. The doubt of the
    meters comes in independently.
    """
    variance: FloatArray = rate_cv * gain.mean_fraction
    variance += life_used_sd
    variance *= variance
    variance += gain.meter_variance * (1.0 + rate_cv * rate_cv)
    return variance


def condition_score(
    life_left: FloatArray, life_used_sd: FloatArray, rate_cv: FloatArray, gain: LifeGain
) -> FloatArray:
    """Give the normal score of the probability that the life left is used up.

    Parameters
    ----------
    life_left : ndarray, shape (n,), float64
        Limit less mean life used at the last reading; may be negative. [1]
    life_used_sd, rate_cv : ndarray, shape (n,), float64
        Doubt about the life used then, and coefficient of variation of the rates. [1]
    gain : LifeGain, shape (..., n)
        Life used up since.

    Returns
    -------
    ndarray, shape (..., n), float64
        z with P(used up) = Phi(z), within ±SCORE_BOUND.

    Notes
    -----
    Gain less life left is a shifted log-normal variable with matched mean, variance and third cumulant. Two closed
    forms are its ends: with the life used known it is the log-normal ratio of gain and threshold, with nothing
    gained it is the normal doubt about the life used. With own = cv * gain and q the coefficient of variation of
    the gain, the third cumulant is (3 q + q³) (sd of gain)³ + 3 sd_0 own cv (2 own + sd_0): the second part because
    one doubt drives both. A log-normal variable of coefficient of variation s has skewness s³ + 3 s, so
    s = 2 sinh(asinh(skewness / 2) / 3). Within .007 of that model by simulation, cv .2 to .4.
    """
    mean = np.maximum(gain.mean_fraction, _SMALLEST_GAIN)
    own = rate_cv * mean
    both = own + life_used_sd
    from_meters = gain.meter_variance * (1.0 + rate_cv * rate_cv)
    gain_variance = own * own + from_meters
    total_variance = np.maximum(both * both + from_meters, _SMALLEST_VARIANCE)
    scale = 1.0 / np.sqrt(total_variance)
    per_gain = gain_variance / mean
    half_skewness = per_gain / mean
    half_skewness += 3.0
    half_skewness *= per_gain * gain_variance
    half_skewness += (3.0 * life_used_sd * rate_cv) * own * (own + both)
    half_skewness *= scale * scale
    half_skewness *= 0.5 * scale
    # exp(asinh(x) / 3), whose difference from its inverse is 2 sinh(asinh(x) / 3).
    root = np.cbrt(half_skewness + np.sqrt(half_skewness * half_skewness + 1.0))
    spread = np.maximum(root - 1.0 / root, _SMALLEST_SPREAD)
    log_variance = np.log1p(spread * spread)
    spread *= scale
    spread *= life_left - mean
    score: FloatArray = np.log1p(np.maximum(spread, _SMALLEST_GAIN - 1.0))
    score += 0.5 * log_variance
    score /= -np.sqrt(log_variance)
    np.clip(score, -SCORE_BOUND, SCORE_BOUND, out=score)
    return score
