"""When to order how much: exact dynamic programming over weeks and whole units."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers

# Rows of the min-plus product worked on at once; bounds memory. Own choice.
_ROWS: Final = 512


@dataclass(frozen=True, slots=True, kw_only=True)
class LotSizes:
    """The cheapest plan: units arriving in each week, and its cost."""

    arriving_units: Integers
    cost_minor: float


def solve_lot_sizes(
    order_cost_minor: Floats,
    mix_cost_minor: Floats,
    state_cost_minor: Floats,
    arrival_cost_minor: Floats,
) -> LotSizes:
    """Choose how many units arrive in each week, at the least total cost.

    Parameters
    ----------
    order_cost_minor : ndarray, shape (weeks,), float64
        Fixed cost of an arrival in each week; infinite where nothing can arrive.
    mix_cost_minor : ndarray, shape (units + 1,), float64
        Cost of the goods for 0, 1, 2 ... units; infinite where impossible.
    state_cost_minor : ndarray, shape (weeks, units + 1), float64
        Cost of a week (keeping, running short) when so many units have arrived since the first week.
    arrival_cost_minor : ndarray, shape (weeks, units + 1), float64
        Extra cost when an arrival lifts the total to so many units; infinite above the tank.

    Returns
    -------
    LotSizes
        Of equal plans, the one that orders least and latest at each step back from the end.

    Notes
    -----
    F_t(k) = min_j [j > 0](K_t + a_t(k + j)) + g(j) + c_t(k + j) + F_{t+1}(k + j), solved backwards.
    Exact for any costs, convex or not. O(weeks * units^2).

    References
    ----------
    .. [1] Wagner & Whitin, "Dynamic version of the economic lot size model", Management Science 5, 1958.
    .. [2] Bookbinder & Tan, "Strategies for the probabilistic lot-sizing problem", Management Science 34, 1988.
    """
    n_weeks, n_levels = state_cost_minor.shape
    padded = np.concatenate([np.full(n_levels - 1, np.inf), mix_cost_minor[:n_levels]])
    padded[n_levels - 1] = np.inf
    # Row k of `step` holds the cost of moving from k units to each other level; no order is looked at apart.
    step = np.lib.stride_tricks.sliding_window_view(padded, n_levels)[::-1]
    ahead = np.zeros(n_levels)
    choice = np.tile(np.arange(n_levels), (n_weeks, 1))
    for week in range(n_weeks - 1, -1, -1):
        stay = state_cost_minor[week] + ahead
        best = stay.copy()
        if np.isfinite(order_cost_minor[week]):
            reach = stay + arrival_cost_minor[week] + order_cost_minor[week]
            for low in range(0, n_levels, _ROWS):
                total = step[low : low + _ROWS] + reach
                target = total.argmin(axis=1)
                value = np.take_along_axis(total, target[:, None], axis=1)[:, 0]
                is_better = value < best[low : low + _ROWS]
                best[low : low + _ROWS][is_better] = value[is_better]
                choice[week, low : low + _ROWS][is_better] = target[is_better]
        ahead = best
    return LotSizes(arriving_units=_follow(choice), cost_minor=float(ahead[0]))


def _follow(choice: Integers) -> Integers:
    """Walk the best choices forwards from zero units."""
    arriving = np.zeros(choice.shape[0], np.int64)
    level = 0
    for week in range(choice.shape[0]):
        target = int(choice[week, level])
        arriving[week] = target - level
        level = target
    return arriving
