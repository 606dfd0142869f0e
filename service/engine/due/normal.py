"""The normal distribution function, many values at a time."""

from typing import Final

import numpy as np
from scipy import special

from service.engine.due.passage import SCORE_BOUND
from service.engine.due.precision import AnyFloats

# Linear interpolation between exact values errs by at most step² / 8 * max|phi'| = 2.9e-8 (derived); the place between
# them is known to 2^-11 of a step in single precision, which errs by 2e-7.
_STEPS_A_UNIT: Final = 1024
_N_STEPS: Final = int(2 * SCORE_BOUND) * _STEPS_A_UNIT

_VALUES: Final = special.ndtr(np.arange(_N_STEPS + 2) / _STEPS_A_UNIT - SCORE_BOUND)
_TABLES: Final = {
    np.dtype(kind): (_VALUES.astype(kind), np.diff(_VALUES).astype(kind)) for kind in (np.float32, np.float64)
}


def normal_probability(score: AnyFloats) -> AnyFloats:
    """Give Phi(score), to 3e-8; in single precision to 5e-7.

    Parameters
    ----------
    score : ndarray, any shape
        Normal scores; those beyond ±SCORE_BOUND count as these bounds.

    Returns
    -------
    ndarray, shape and precision of `score`
        Rises with the score, but for the rounding of single precision.

    Notes
    -----
    A table with linear interpolation: a fifth of the cost of a library function that is called for each value.
    """
    values, rises = _TABLES[score.dtype]
    place = score + SCORE_BOUND
    place *= _STEPS_A_UNIT
    np.clip(place, 0.0, float(_N_STEPS), out=place)
    whole = np.floor(place)
    before = whole.astype(np.intp)
    place -= whole
    place *= rises.take(before)
    place += values.take(before)
    return place
