"""The cheapest mix of whole packs for every quantity."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.orders.terms import SupplyTerms
from service.errors import InvalidInputError

_LEAST_PACK: Final = 0.001
# What a pack holds beyond a whole number of units is left out of account up to this share of it: quarts, gallons and
# drums typed in litres have no common measure but a thousandth of a litre. Own choice.
_LEFT_OUT_SHARE: Final = 0.005
# The smallest pack is cut into so many units at most: then nothing larger than that share can be left over.
_MOST_PARTS: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class PackMixes:
    """For j = 0, 1, 2 ... units of `unit_quantity`: the least cost, and how many packs of each kind."""

    unit_quantity: float
    cost_minor: Floats
    """Shape (units + 1,): infinite where no mix of packs gives the quantity or a minimum forbids it."""
    pack_count: Integers
    """Shape (units + 1, packs)."""


def units_of_packs(pack_quantity: Floats) -> tuple[float, Integers]:
    """Return the largest part of the smallest pack that every pack is nearly a multiple of, and the whole multiples.

    No pack holds less than its units: what a plan counts on is there.
    """
    smallest = float(pack_quantity.min())
    if smallest < _LEAST_PACK:
        raise InvalidInputError.at("/pack_quantity", f"a pack holds at least {_LEAST_PACK}")
    parts = np.arange(1, _MOST_PARTS + 1)
    multiple = parts[:, None] * pack_quantity / smallest
    whole = np.floor(multiple * (1.0 + 1e-9))
    is_near = (whole >= (1.0 - _LEFT_OUT_SHARE) * multiple).all(axis=1)
    first = int(np.argmax(is_near))
    return smallest / int(parts[first]), whole[first].astype(np.int64)


def price_of_packs(terms: SupplyTerms, pack: int, count: Integers) -> Floats:
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
        Largest order, in units of the packs' common measure.

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
    unit, units = units_of_packs(terms.pack_quantity)
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
