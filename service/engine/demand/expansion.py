"""Distribution functions from mean, variance and skewness, where exact sums would be too long."""

import numpy as np
from scipy.special import ndtr

from service.engine.arrays import Floats


def edgeworth_cdf(quantity: Floats, cumulants: Floats) -> Floats:
    """First-order Edgeworth distribution function, made monotone.

    Parameters
    ----------
    quantity : ndarray, shape (m,), float64
        Increasing quantities. Add half a lattice step for a lattice sum.
    cumulants : ndarray, shape (3, n), float64
        Mean, variance and third cumulant of n sums; a variance of zero is a certain sum.

    Returns
    -------
    ndarray, shape (n, m), float64
        Within [0, 1], not decreasing along m.

    Notes
    -----
    F(z) = Phi(z) - phi(z) g (z^2 - 1) / 6 with g the skewness. O(n m).

    References
    ----------
    .. [1] Kolassa, "Series Approximation Methods in Statistics", 2006, ch. 3.
    """
    mean, variance, third = (cumulants[i][:, None] for i in range(3))
    sd = np.sqrt(np.maximum(variance, 0.0))
    certain = sd <= 1e-12 * np.maximum(1.0, np.abs(mean))
    safe = np.where(certain, 1.0, sd)
    z = (quantity[None, :] - mean) / safe
    density = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
    skew = np.where(certain, 0.0, third / safe**3)
    smooth = ndtr(z) - density * skew * (z * z - 1.0) / 6.0
    cdf = np.where(certain, (quantity[None, :] >= mean).astype(np.float64), smooth)
    return np.maximum.accumulate(np.clip(cdf, 0.0, 1.0), axis=1)
