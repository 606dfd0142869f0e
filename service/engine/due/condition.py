"""Has the fluid used up its life? Ageing driven by distance, time and engine hours."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.due.limits import FloatArray
from service.engine.due.passage import SCORE_BOUND

_SMALLEST_SD: Final = 1e-12
_SMALLEST_SPREAD: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeGain:
    """Life used up since the last reading: mean, and the part of the variance that the meters cause."""

    mean_fraction: FloatArray
    meter_variance: FloatArray


def condition_sd(life_used_sd: FloatArray, rate_cv: FloatArray, gain: LifeGain) -> FloatArray:
    """Give the standard deviation of the life used.

    Notes
    -----
    Doubt about the rate is fully correlated in time: sd = sd_0 + cv * gain. The meters' own doubt comes in
    independently.
    """
    own = life_used_sd + rate_cv * gain.mean_fraction
    return np.sqrt(own * own + gain.meter_variance * (1.0 + rate_cv * rate_cv))


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
    forms are its ends: with the life left known it is the log-normal ratio of gain and threshold, with nothing
    gained it is the normal doubt about the life used. The skewness g of a log-normal variable with coefficient of
    variation q is q³ + 3q, so q = 2 sinh(asinh(g / 2) / 3).
    """
    mean = gain.mean_fraction
    gain_variance = rate_cv * rate_cv * mean * mean + gain.meter_variance * (1.0 + rate_cv * rate_cv)
    sd = np.maximum(condition_sd(life_used_sd, rate_cv, gain), _SMALLEST_SD)
    gain_cv = np.sqrt(gain_variance) / np.maximum(mean, _SMALLEST_SD)
    ratio = np.sqrt(gain_variance) / sd
    skewness = gain_cv * (3.0 + gain_cv * gain_cv) * ratio * ratio * ratio
    spread = np.maximum(2.0 * np.sinh(np.arcsinh(skewness / 2.0) / 3.0), _SMALLEST_SPREAD)
    log_variance = np.log1p(spread * spread)
    shift = np.maximum(-spread * (mean - life_left) / sd, _SMALLEST_SD - 1.0)
    score: FloatArray = -(np.log1p(shift) + log_variance / 2.0) / np.sqrt(log_variance)
    return np.clip(score, -SCORE_BOUND, SCORE_BOUND)
