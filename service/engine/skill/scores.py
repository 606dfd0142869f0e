"""Scores of single forecasts: pinball loss, and CRPS in closed form."""

import numpy as np
from scipy.special import betaln, gammainc

from service.engine.arrays import Floats


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


def crps_gamma(observed: Floats, mean: Floats, variance: Floats) -> Floats:
    """Continuous ranked probability score of a gamma forecast with this mean and variance.

    Parameters
    ----------
    observed, mean, variance : ndarray, shape (n,), float64
        What came to be; moments of the forecasts, both positive.

    Returns
    -------
    ndarray, shape (n,), float64
        In the unit of the observations, zero or more.

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
