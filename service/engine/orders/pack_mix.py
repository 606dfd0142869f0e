"""The cheapest mix of whole packs for every quantity."""

from dataclasses import dataclass
from math import gcd
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.engine.orders.terms import SupplyTerms
from service.errors import InvalidInputError

# Pack contents are told apart to this many litres or pieces. Own choice.
_RESOLUTION: Final = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class PackMixes:
    """For j = 0, 1, 2 ... units of `unit_quantity`: the least cost, and how many packs of each kind."""

    unit_quantity: float
    cost_minor: NDArray[np.float64]
    """Shape (units + 1,): infinite where no mix of packs gives the quantity or a minimum forbids it."""
    pack_count: NDArray[np.int64]
    """Shape (units + 1, packs)."""


def pack_unit(pack_quantity: NDArray[np.float64]) -> float:
    """Return the largest quantity that every pack is a whole multiple of."""
    whole = np.rint(pack_quantity / _RESOLUTION).astype(np.int64)
    if np.any(whole < 1):
        raise InvalidInputError.at("/pack_quantity", f"a pack holds at least {_RESOLUTION}")
    return gcd(*whole.tolist()) * _RESOLUTION


def price_of_packs(terms: SupplyTerms, pack: int, count: NDArray[np.int64]) -> NDArray[np.float64]:
    """Price of `count` packs of one kind in one order; the tier reached holds for all of them."""
    tiers = slice(int(terms.tier_offsets[pack]), int(terms.tier_offsets[pack + 1]))
    reached = np.searchsorted(terms.tier_minimum_count[tiers], np.maximum(count, 1), side="right") - 1
    price = terms.tier_price_minor[tiers][reached] * count
    return price.astype(np.float64)


def cheapest_mixes(terms: SupplyTerms, n_units: int) -> PackMixes:
    """Find the cheapest whole packs for every number of units up to a largest order.

    Parameters
    ----------
    terms : SupplyTerms
        Packs, price tiers and minimum order.
    n_units : int
        Largest order, in units of the packs' greatest common divisor.

    Returns
    -------
    PackMixes

    Notes
    -----
    Packs are added one kind after the other; for each kind every count is tried, so quantity discounts
    that make the price fall in steps are exact. The cost of placing the order is not included.
    O(sum over packs of n_units^2 / pack units).

    References
    ----------
    .. [1] Martello & Toth, "Knapsack Problems", 1990, ch. 3 (bounded and unbounded knapsack).
    """
    unit = pack_unit(terms.pack_quantity)
    units = np.rint(terms.pack_quantity / unit).astype(np.int64)
    cost = np.full(n_units + 1, np.inf)
    cost[0] = 0.0
    count = np.zeros((n_units + 1, units.size), np.int64)
    for pack, size in enumerate(units.tolist()):
        n_most = n_units // size
        price = price_of_packs(terms, pack, np.arange(n_most + 1))
        best, chosen = cost.copy(), np.zeros(n_units + 1, np.int64)
        for n_packs in range(1, n_most + 1):
            shifted = cost[: n_units + 1 - n_packs * size] + price[n_packs]
            target = best[n_packs * size :]
            is_better = shifted < target
            target[is_better] = shifted[is_better]
            chosen[n_packs * size :][is_better] = n_packs
        origin = np.arange(n_units + 1) - chosen * size
        count = count[origin]
        count[:, pack] = chosen
        cost = best
    quantity = unit * np.arange(n_units + 1)
    is_too_small = (quantity < terms.minimum_order_quantity - 1e-9) | (cost < terms.minimum_order_minor)
    is_too_small[0] = False
    return PackMixes(unit_quantity=unit, cost_minor=np.where(is_too_small, np.inf, cost), pack_count=count)
