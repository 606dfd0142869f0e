"""How far an interval may move before the cost notices."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats

TOLERATED_EXTRA_COST: Final = 0.02
N_BISECTIONS: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class IntervalRange:
    """Intervals that cost at most 2 % more than the best; arrays of one shape, in the interval's unit.

    Parameters
    ----------
    shortest, longest : ndarray
        Held inside a hundredth and a hundred times the best interval.
    """

    shortest: Floats
    longest: Floats


def indifference_range(cost_rate: Callable[[Floats], Floats], best_interval: Floats) -> IntervalRange:
    """Find on both sides of the best interval where its cost rate has risen by 2 %.

    Parameters
    ----------
    cost_rate : callable
        From intervals to cost rates of the same shape; falls before the best interval and rises after it.
    best_interval : ndarray of float64
        Finite and positive.

    Returns
    -------
    IntervalRange

    Notes
    -----
    Bisection of the logarithm, 60 steps a side, error below 1e-15 of the interval.
    """
    ceiling = (1.0 + TOLERATED_EXTRA_COST) * cost_rate(best_interval)
    edges = []
    for factor in (0.01, 100.0):
        inside, outside = np.log(best_interval), np.log(best_interval * factor)
        for _ in range(N_BISECTIONS):
            middle = 0.5 * (inside + outside)
            is_inside = cost_rate(np.exp(middle)) <= ceiling
            inside, outside = np.where(is_inside, middle, inside), np.where(is_inside, outside, middle)
        edges.append(np.exp(inside))
    return IntervalRange(shortest=edges[0], longest=edges[1])
