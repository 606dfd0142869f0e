"""First expired, first out: which lots are used, which expire, and what stays uncovered."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats, Integers


@dataclass(frozen=True, slots=True, kw_only=True)
class LotReplay:
    """What becomes of the lots week by week; arrived = used + expired + left over."""

    used: Floats
    """Shape (weeks,): taken from the shelf."""
    expired: Floats
    """Shape (weeks,): lost at the end of the week."""
    unmet: Floats
    """Shape (weeks,): demand that waits because the shelf is empty; served from the next arrivals."""
    lot_expired: Floats
    """Shape (lots,): how much of each lot expired."""
    left_over: float
    """Stock at the end of the last week."""


def replay_lots(
    lot_quantity: Floats,
    arrival_week: Integers,
    expiry_week: Integers,
    weekly_demand: Floats,
) -> LotReplay:
    """Use lots in the order in which they expire.

    Parameters
    ----------
    lot_quantity : ndarray, shape (lots,), float64
        Content of each lot. [L or pieces]
    arrival_week : ndarray, shape (lots,), int64
        Week at whose start the lot is on the shelf.
    expiry_week : ndarray, shape (lots,), int64
        Last week in which the lot may be used.
    weekly_demand : ndarray, shape (weeks,), float64
        Demand of each week. [L or pieces]

    Returns
    -------
    LotReplay

    Notes
    -----
    Demand that finds the shelf empty waits and is served first from what arrives next.
    O(weeks * lots).
    """
    order = np.lexsort((arrival_week, expiry_week))
    remaining = lot_quantity[order].astype(np.float64)
    arrives, expires = arrival_week[order], expiry_week[order]
    n_weeks = weekly_demand.size
    used, expired, unmet = np.zeros(n_weeks), np.zeros(n_weeks), np.zeros(n_weeks)
    lost = np.zeros(remaining.size)
    waiting = 0.0
    for week in range(n_weeks):
        usable = np.where((arrives <= week) & (expires >= week), remaining, 0.0)
        wanted = waiting + float(weekly_demand[week])
        before = np.concatenate([np.zeros(1), np.cumsum(usable)])[:-1]
        taken = np.clip(wanted - before, 0.0, usable)
        remaining = remaining - taken
        used[week] = taken.sum()
        waiting = max(wanted - float(used[week]), 0.0)
        unmet[week] = waiting
        gone = np.where((expires <= week) & (arrives <= week), remaining, 0.0)
        expired[week] = gone.sum()
        lost += gone
        remaining = remaining - gone
    lot_expired = np.empty(remaining.size)
    lot_expired[order] = lost
    arrived = arrives < n_weeks
    return LotReplay(
        used=used,
        expired=expired,
        unmet=unmet,
        lot_expired=lot_expired,
        left_over=float(remaining[arrived].sum()),
    )
