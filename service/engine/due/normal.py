"""The normal distribution function, many values at a time."""

from typing import Final

import numpy as np
from scipy import special

from service.engine.due.limits import FloatArray
from service.engine.due.passage import SCORE_BOUND
from service.engine.due.precision import Floats

# Linear interpolation between exact values errs by at most step² / 8 * max|phi'| = 2.9e-8 (derived).
_STEPS_A_UNIT: Final = 1024
_N_STEPS: Final = int(2 * SCORE_BOUND) * _STEPS_A_UNIT

_VALUES: Final[FloatArray] = special.ndtr(np.arange(_N_STEPS + 2) / _STEPS_A_UNIT - SCORE_BOUND)
_RISES: Final[FloatArray] = np.diff(_VALUES)


def normal_probability(score: Floats) -> FloatArray:
    """Give Phi(score), to 3e-8.

    Parameters
    ----------
    score : ndarray, any shape
        Normal scores; those beyond ±SCORE_BOUND count as these bounds.

    Returns
    -------
    ndarray, the shape of `score`, float64
        Rises with the score.

    Notes
    -----
    A table with linear interpolation: a fifth of the cost of a library function that is called for each value.
    """
    place: FloatArray = np.add(score, SCORE_BOUND, dtype=np.float64)
    place *= _STEPS_A_UNIT
    np.clip(place, 0.0, float(_N_STEPS), out=place)
    before = place.astype(np.int64)
    place -= before
    place *= _RISES.take(before)
    place += _VALUES.take(before)
    return place
