"""Scores of single forecasts: pinball loss, CRPS in closed form, interval scores."""

import math
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln, gammainc, ndtr

Floats: TypeAlias = NDArray[np.float64]

_INVERSE_SQRT_PI: Final = 1.0 / math.sqrt(math.pi)
_INVERSE_SQRT_2PI: Final = 1.0 / math.sqrt(2.0 * math.pi)


def pinball_loss(observed: Floats, quantiles: Floats, probabilities: Floats) -> Floats:
    """Pinball loss of quantile forecasts.

    Parameters
    ----------
    observed : ndarray, shape (n,), float64
        What came to be.
    quantiles : ndarray, shape (n, p), float64
        Forecasts.
    probabilities : ndarray, shape (p,), float64
        Levels of the forecasts, 0 … 1.

    Returns
    -------
    ndarray, shape (n, p), float64
        In the unit of the observations, zero or more.

    References
    ----------
    .. [1] Gneiting and Raftery, "Strictly proper scoring rules", JASA 102, 2007, 359-378, eq. 40.
    """
    error = observed[:, None] - quantiles
    return np.maximum(probabilities * error, (probabilities - 1.0) * error)


def crps_normal(observed: Floats, mean: Floats, sd: Floats) -> Floats:
    """Continuous ranked probability score of a normal forecast (Gneiting and Raftery 2007, eq. 21)."""
    z = (observed - mean) / sd
    density = _INVERSE_SQRT_2PI * np.exp(-0.5 * z * z)
    return np.asarray(sd * (z * (2.0 * ndtr(z) - 1.0) + 2.0 * density - _INVERSE_SQRT_PI))


def crps_gamma(observed: Floats, mean: Floats, variance: Floats) -> Floats:
    """Continuous ranked probability score of a gamma forecast with this mean and variance.

    References
    ----------
    .. [1] Scheuerer and Möller, "Probabilistic wind speed forecasting on a grid", Ann. Appl. Stat. 9, 2015, eq. 5.
    """
    shape = mean * mean / variance
    rate = mean / variance
    below = gammainc(shape, np.maximum(rate * observed, 0.0))
    below_next = gammainc(shape + 1.0, np.maximum(rate * observed, 0.0))
    spread = np.exp(-betaln(0.5, shape)) / rate
    return np.asarray(observed * (2.0 * below - 1.0) - mean * (2.0 * below_next - 1.0) - spread)


def crps_log_normal(observed: Floats, log_mean: Floats, log_sd: Floats) -> Floats:
    """Continuous ranked probability score of a log-normal forecast (Baran and Lerch 2015, appendix)."""
    z = (np.log(observed) - log_mean) / log_sd
    mean = np.exp(log_mean + 0.5 * log_sd * log_sd)
    inner = ndtr(z - log_sd) + ndtr(log_sd / math.sqrt(2.0)) - 1.0
    return np.asarray(observed * (2.0 * ndtr(z) - 1.0) - 2.0 * mean * inner)


def crps_exponential(observed: Floats, mean: Floats) -> Floats:
    """Continuous ranked probability score of an exponential forecast (Jordan, Krüger and Lerch 2019, app. A)."""
    above = np.exp(-np.maximum(observed, 0.0) / mean)
    return np.asarray(np.abs(observed) - 2.0 * mean * (1.0 - above) + 0.5 * mean)


def crps_ensemble(observed: Floats, members: Floats, is_fair: bool = False) -> Floats:
    """Continuous ranked probability score of an ensemble.

    Parameters
    ----------
    observed : ndarray, shape (n,), float64
        What came to be.
    members : ndarray, shape (n, m), float64
        Equally likely values.
    is_fair
        Whether to score the law the members were drawn from rather than the members (Ferro 2014).

    Returns
    -------
    ndarray, shape (n,), float64
    """
    m = members.shape[1]
    ranked = np.sort(members, axis=1)
    weights = 2.0 * np.arange(1, m + 1) - m - 1.0
    pairs = 2.0 * np.sum(weights * ranked, axis=1) / (m * (m - 1.0) if is_fair else m * m)
    return np.asarray(np.mean(np.abs(members - observed[:, None]), axis=1) - 0.5 * pairs)


def interval_score(observed: Floats, low: Floats, high: Floats, alpha: float) -> Floats:
    """Score of a central interval that should hold all but `alpha` (Gneiting and Raftery 2007, eq. 43)."""
    miss = np.maximum(low - observed, 0.0) + np.maximum(observed - high, 0.0)
    return np.asarray(high - low + 2.0 / alpha * miss)


def weighted_interval_score(
    observed: Floats, median: Floats, low: Floats, high: Floats, alpha: float
) -> Floats:
    """Score of a median with one central interval (Bracher et al. 2021, eq. 2 with K = 1)."""
    interval = interval_score(observed, low, high, alpha)
    return np.asarray((0.5 * np.abs(observed - median) + 0.5 * alpha * interval) / 1.5)
