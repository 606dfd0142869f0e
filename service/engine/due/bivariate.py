"""Two correlated limits: the probability that both normal scores stay below their bounds."""

from typing import Final

import numpy as np
from scipy import special

from service.engine.due.limits import FloatArray

# Correlations beyond this count as this: ten nodes keep the error below 1e-8 up to here (measured against
# Owen's T function).
CORRELATION_BOUND: Final = 0.95

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(10)


def bivariate_normal_probability(
    first: FloatArray, second: FloatArray, correlation: FloatArray | float
) -> FloatArray:
    """P(X <= first, Y <= second) for standard normal X and Y.

    Parameters
    ----------
    first, second : ndarray, shape (..., n), float64
        Bounds, finite.
    correlation : float or ndarray, shape (n,)
        Correlation of X and Y, within ±CORRELATION_BOUND.

    Returns
    -------
    ndarray, shape (..., n), float64
        The probability.
    """
    return special.ndtr(first) * special.ndtr(second) + dependence_excess(first, second, correlation)


def dependence_excess(first: FloatArray, second: FloatArray, correlation: FloatArray | float) -> FloatArray:
    """Give what correlation adds to the probability that both scores stay below their bounds.

    Parameters
    ----------
    first, second, correlation
        As in `bivariate_normal_probability`.

    Returns
    -------
    ndarray, shape (..., n), float64
        Phi2(h, k; r) - Phi(h) Phi(k); the same for (-h, -k).

    Notes
    -----
    1/(2 pi) * integral over 0..asin r of exp(-(h² + k² - 2 h k sin a) / (2 cos² a)) da [1]_, by Gauss-Legendre
    quadrature. Costs ten exponentials an element, a third of Owen's T function.

    References
    ----------
    .. [1] Drezner, Z. and Wesolowsky, G. O., "On the computation of the bivariate normal integral",
       J. Statist. Comput. Simul. 35, 1990.
    """
    half_angle = np.arcsin(np.clip(correlation, -CORRELATION_BOUND, CORRELATION_BOUND)) / 2.0
    product = first * second
    half_squares = (first * first + second * second) / 2.0
    total = np.zeros_like(product)
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        sine = np.sin(half_angle * (node + 1.0))
        total += weight * np.exp((product * sine - half_squares) / (1.0 - sine * sine))
    excess: FloatArray = total * (half_angle / (2.0 * np.pi))
    return excess
