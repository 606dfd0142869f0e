"""The day of each visit within its week, all depots at once."""

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.visits.requests import NO_DAY


def rank_within(group: Integers) -> Integers:
    """Position of each entry among the entries of its group, in the order given; O(n log n)."""
    order = np.argsort(group, kind="stable")
    ordered = group[order]
    first = np.concatenate([[True], ordered[1:] != ordered[:-1]]) if group.size else np.zeros(0, np.bool_)
    start = np.maximum.accumulate(np.where(first, np.arange(group.size), 0))
    rank = np.empty(group.size, np.int64)
    rank[order] = np.arange(group.size) - start
    return rank


def place_days(
    depot_index: Integers,
    labour_hours: Floats,
    day_cost: Floats,
    free_hours: Floats,
    rank: Integers,
) -> tuple[Integers, Floats]:
    """Place visits one after the other within each depot, on the cheapest day with room.

    Parameters
    ----------
    depot_index : ndarray, shape (n,), int64
        Row of `free_hours` that each visit draws on.
    labour_hours : ndarray, shape (n,), float64
        Bay hours of each visit. [h]
    day_cost : ndarray, shape (n, days), float64
        Preference; infinite where the visit may not be.
    free_hours : ndarray, shape (rows, days), float64
        Hours left; not modified. [h]
    rank : ndarray, shape (n,), int64
        Turn of each visit in its row, 0 first; no two visits of a row share a turn.

    Returns
    -------
    day : ndarray, shape (n,), int64
        Day chosen, or -1 when no day had room.
    free_hours : ndarray, shape (rows, days), float64
        Hours left afterwards. [h]

    Notes
    -----
    Among equally cheap days the one with most hours left is taken, then the earliest, so days of a week fill
    evenly. The loop is over turns, all rows move together. O(n days).
    """
    day = np.full(depot_index.size, NO_DAY, np.int64)
    left = free_hours.copy()
    order = np.argsort(rank, kind="stable")
    bounds = np.searchsorted(rank[order], np.arange(rank.max(initial=-1) + 2))
    for turn in range(bounds.size - 1):
        visits = order[bounds[turn] : bounds[turn + 1]]
        rows = depot_index[visits]
        room = left[rows]
        fits = room >= labour_hours[visits, None] - 1e-9
        cost = np.where(fits, day_cost[visits], np.inf)
        least = cost.min(axis=1)
        is_best = np.isfinite(least)
        chosen = np.where(cost <= least[:, None], room, -np.inf).argmax(axis=1)
        placed, at = visits[is_best], chosen[is_best]
        day[placed] = at
        left[rows[is_best], at] -= labour_hours[placed]
    return day, left
