"""Regression that a few wild distances do not carry off, and that believes no more than chance would not give."""

from typing import Final

import numpy as np

from service.engine.arrays import Floats

# 1.4826 times the median absolute deviation is the standard deviation of a normal law (exact: 1/z(0.75)).
SD_PER_MEDIAN_DEVIATION: Final = 1.4826
# Common practice, no source.
HUBER_SDS: Final = 1.5
ITERATIONS: Final = 6
CHANCE_FACTOR: Final = 6.0
"""How often the variance is taken, because a vehicle's distances hang together."""


def shrunk_fit(terms: Floats, observed: Floats, weight: Floats, limit_sd: float = HUBER_SDS) -> Floats:
    """Regress with Huber's weights, then shrink by what chance alone would give.

    Parameters
    ----------
    terms : ndarray, shape (r, k), float64
        One row an observation.
    observed, weight : ndarray, shape (r,), float64
        Observations, and one over their variances.
    limit_sd
        Residuals beyond so many standard deviations count less.

    Returns
    -------
    ndarray, shape (k,), float64
        Coefficients, times ``max(0, 1 - 6 (k - 2) s^2 / |fit|^2)``, a positive-part James-Stein factor [1]_.

    References
    ----------
    .. [1] James and Stein, "Estimation with quadratic loss", Proc. 4th Berkeley Symp. 1, 1961, 361-379.
    """
    robust = weight
    coefficients: Floats = np.zeros(terms.shape[1])
    for _ in range(ITERATIONS):
        normal = terms.T @ (robust[:, None] * terms) + 1e-9 * np.eye(terms.shape[1])
        coefficients = np.linalg.solve(normal, terms.T @ (robust * observed)).astype(np.float64)
        residual = np.abs(observed - terms @ coefficients) * np.sqrt(weight)
        limit = limit_sd * max(SD_PER_MEDIAN_DEVIATION * float(np.median(residual)), 1e-9)
        robust = weight * np.minimum(1.0, limit / np.maximum(residual, 1e-12))
    noise = float(np.sum(robust * (observed - terms @ coefficients) ** 2)) / max(
        observed.size - terms.shape[1], 1
    )
    fitted = float(np.sum(robust * (terms @ coefficients) ** 2))
    chance = CHANCE_FACTOR * (terms.shape[1] - 2) * noise
    return np.asarray(coefficients * max(0.0, 1.0 - chance / max(fitted, 1e-12)))
