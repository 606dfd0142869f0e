"""The level at which being early and being late cost the same."""

import numpy as np

from service.engine.due.limits import FloatArray
from service.errors import InvalidInputError


def critical_ratio(early_cost_per_day: FloatArray, late_cost_per_day: FloatArray) -> FloatArray:
    """Probability of being due by the planned date that makes the expected cost least.

    Parameters
    ----------
    early_cost_per_day, late_cost_per_day : ndarray, same shape, float64
        What a day too early and a day too late cost, positive, in any one unit of money.

    Returns
    -------
    ndarray, float64
        The ratio p in (0, 1); the planned date is the p quantile of the due date, so hand p to `forecast_due`.

    Raises
    ------
    InvalidInputError
        If a cost is not positive and finite.

    Notes
    -----
    c_e E(T - t)+ + c_l E(t - T)+ is least where F(t) = c_e / (c_e + c_l): the newsvendor's ratio. A late day nine
    times as dear as an early one plans at P10.
    """
    costs = np.stack([early_cost_per_day, late_cost_per_day])
    if not (np.isfinite(costs).all() and (costs > 0.0).all()):
        raise InvalidInputError("the cost of a day early and of a day late must be positive and finite")
    ratio: FloatArray = costs[0] / (costs[0] + costs[1])
    return ratio
