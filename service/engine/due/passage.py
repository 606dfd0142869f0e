"""Has a meter that never falls passed its limit? The increment is gamma, by moment matching."""

from typing import Final

import numpy as np

from service.engine.arrays import Floats

# Scores beyond these bounds are certain to any planner: Phi(-9) = 1e-19. Common practice, no source.
SCORE_BOUND: Final = 9.0

_SMALLEST_MEAN: Final = 1e-9
_SMALLEST_ROOT: Final = 1e-6


def passage_terms(mean: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """Offset and slope of the passage score, which is `offset - cbrt(remaining) * slope`.

    Parameters
    ----------
    mean, variance : ndarray, any shape, float64
        Moments of the increment, not negative. [km], [km²], or [h], [h²]

    Returns
    -------
    tuple of ndarray
        Offset [1] and slope [km^(-1/3)], of the shape of `mean`.

    Notes
    -----
    A meter that never falls has passed L by t exactly when its increment D_t is at least a = L - last reading, so no
    path has to be simulated and no reflection term belongs here. D_t ~ gamma(mean, variance), whose cube root is
    nearly normal [1]_: P(D_t >= a) = Phi((1 - c - (a / mean)^(1/3)) / sqrt(c)) with c = variance / (9 mean²).
    The terms do not depend on a, so all limits of a vehicle on one meter share them.

    References
    ----------
    .. [1] Wilson, E. B. and Hilferty, M. M., "The distribution of chi-square", PNAS 17, 1931.
    """
    safe_mean = np.maximum(mean, _SMALLEST_MEAN)
    root = np.maximum(np.sqrt(variance) / (3.0 * safe_mean), _SMALLEST_ROOT)
    slope = 1.0 / (np.cbrt(safe_mean) * root)
    return 1.0 / root - root, slope


def passage_score(offset: Floats, slope: Floats, root_remaining: Floats) -> Floats:
    """Give the normal score of the probability that the limit has been passed.

    Parameters
    ----------
    offset, slope : ndarray, shape (..., n), float64
        From `passage_terms`.
    root_remaining : ndarray, shape (n,), float64
        From `root_remaining`. [km^(1/3)]

    Returns
    -------
    ndarray, shape (..., n), float64
        z with P(passed) = Phi(z), within ±SCORE_BOUND.
    """
    score: Floats = root_remaining * slope
    np.subtract(offset, score, out=score)
    np.clip(score, -SCORE_BOUND, SCORE_BOUND, out=score)
    return score


def root_remaining(limit: Floats, last_reading: Floats) -> Floats:
    """Cube root of what is left to a limit; minus infinity where the last reading stood at it already."""
    remaining = limit - last_reading
    return np.where(remaining <= 0.0, -np.inf, np.cbrt(remaining))
