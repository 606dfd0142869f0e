"""Life used that a set of laboratory values speaks for."""

from typing import Final

import numpy as np

from service.engine.arrays import Floats
from service.engine.exchange.checks import require_within
from service.errors import InvalidInputError

HIGHEST_LIFE_USED: Final = 1.5
"""Laboratory values far beyond their limit count no further. Common practice, no source."""


def life_used_from_laboratory(
    values: Floats, new_values: Floats, *, lower_limits: Floats, upper_limits: Floats
) -> Floats:
    """How far each value has gone from new to its limit; the worst counts.

    Parameters
    ----------
    values : ndarray, shape (n, n_tests), float64
        Measured; NaN where a test was not made. Not modified.
    new_values : ndarray, shape (n_tests,) or (n, n_tests), float64
        Of the new fluid, in the same units. Not modified.
    lower_limits, upper_limits : ndarray, shape (n_tests,) or (n, n_tests), float64
        Condemning values below and above the new one; NaN where that side has none. Not modified.

    Returns
    -------
    ndarray, shape (n,), float64
        The largest over the tests; NaN where nothing was measured. [-]

    Raises
    ------
    InvalidInputError
        If a limit is on the wrong side of the new value, or a value is infinite.

    Notes
    -----
    u_j = clip((x − x_new)/(x_lim − x_new), 0, 1.5) on the side where x lies; u = max_j u_j (derived).
    O(n n_tests).
    """
    require_within("values", values[~np.isnan(values)], -np.finfo(np.float64).max)
    if np.any(lower_limits >= new_values) or np.any(upper_limits <= new_values):
        raise InvalidInputError("a condemning limit must lie beyond the value of the new fluid")
    upwards = (values - new_values) / (upper_limits - new_values)
    downwards = (new_values - values) / (new_values - lower_limits)
    by_test = np.clip(np.fmax(upwards, downwards), 0.0, HIGHEST_LIFE_USED)
    worst = np.where(np.isnan(by_test), -1.0, by_test).max(axis=1, initial=-1.0)
    return np.where(worst >= 0.0, worst, np.nan)
