"""Why an order is as it is, in codes that a page can put into words."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from service.engine.arrays import Booleans, Integers
from service.engine.orders.pack_mix import price_of_packs
from service.engine.orders.tables import PlanningTables
from service.engine.orders.terms import SupplyTerms


class OrderReason(StrEnum):
    """What shaped an order."""

    COVERS_NEED = "covers-need"
    """Without it a week would miss its level."""
    COVERS_SEVERAL_WEEKS = "covers-several-weeks"
    """It also brings what later weeks need, which saves an order."""
    WHOLE_PACKS = "whole-packs"
    """It brings more than the weeks it covers need, because packs are not split."""
    MINIMUM_ORDER = "minimum-order"
    """It is at the supplier's minimum."""
    PRICE_BREAK = "price-break"
    """It reaches a lower price."""
    TANK_LIMIT = "tank-limit"
    """The tank has no room for another smallest pack."""
    MAY_EXPIRE = "may-expire"
    """Part of it is expected to outlive its shelf life."""
    BALANCES_COSTS = "balances-costs"
    """It is worth its price against the cost of running out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReasonedOrders:
    """Codes of each order, and the week that first needs it (-1: none misses its level)."""

    reasons: tuple[tuple[OrderReason, ...], ...]
    needed_week: Integers


def packs_cost(terms: SupplyTerms, pack_count: Integers) -> Integers:
    """Price of the goods of each order, shape (orders,), without the cost of ordering."""
    total = np.zeros(pack_count.shape[0])
    for pack in range(pack_count.shape[1]):
        total += price_of_packs(terms, pack, pack_count[:, pack])
    return np.rint(total).astype(np.int64)


def _reaches_break(terms: SupplyTerms, pack_count: Integers) -> Booleans:
    """Whether an order buys some pack below its first price."""
    first_price = terms.tier_price_minor[terms.tier_offsets[:-1]]
    reaches: Booleans = packs_cost(terms, pack_count) < pack_count @ first_price
    return reaches


def order_reasons(
    terms: SupplyTerms,
    tables: PlanningTables,
    arrival_week: Integers,
    pack_count: Integers,
) -> ReasonedOrders:
    """Explain each order by what would happen without it.

    Parameters
    ----------
    terms, tables
        What the plan was made on.
    arrival_week : ndarray, shape (orders,), int64
        Ascending.
    pack_count : ndarray, shape (orders, packs), int64

    Returns
    -------
    ReasonedOrders
    """
    quantity = pack_count @ terms.pack_quantity
    supplied = np.cumsum(quantity)
    goods = packs_cost(terms, pack_count)
    has_break = _reaches_break(terms, pack_count)
    smallest = float(terms.pack_quantity.min())
    missing = tables.needed_quantity - tables.committed_quantity
    next_arrival = np.append(arrival_week[1:], missing.size)
    reasons, needed_week = [], np.full(arrival_week.size, -1, np.int64)
    for order, week in enumerate(arrival_week.tolist()):
        before = supplied[order] - quantity[order]
        short = week + np.flatnonzero(missing[week : next_arrival[order]] > before + 1e-9)
        codes = [OrderReason.COVERS_NEED if short.size else OrderReason.BALANCES_COSTS]
        if short.size:
            needed_week[order] = short[0]
        if short.size > 1:
            codes.append(OrderReason.COVERS_SEVERAL_WEEKS)
        total = tables.committed_quantity[week] + supplied[order]
        level = missing[week : next_arrival[order]].max()
        flags = {
            OrderReason.WHOLE_PACKS: short.size > 0 and supplied[order] > level + 1e-9,
            OrderReason.MINIMUM_ORDER: _at_minimum(terms, float(quantity[order]), int(goods[order])),
            OrderReason.PRICE_BREAK: bool(has_break[order]),
            OrderReason.TANK_LIMIT: total + smallest > tables.room_quantity[week] + 1e-9,
            OrderReason.MAY_EXPIRE: total > tables.usable_quantity[week] + 1e-9,
        }
        codes += [code for code, holds in flags.items() if holds]
        reasons.append(tuple(codes))
    return ReasonedOrders(reasons=tuple(reasons), needed_week=needed_week)


def _at_minimum(terms: SupplyTerms, quantity: float, goods_minor: int) -> bool:
    """Whether one smallest pack less would fall below the supplier's minimum."""
    smallest = int(terms.pack_quantity.argmin())
    less_quantity = quantity - float(terms.pack_quantity[smallest])
    less_value = goods_minor - int(terms.tier_price_minor[terms.tier_offsets[smallest]])
    has_minimum = terms.minimum_order_quantity > 0.0 or terms.minimum_order_minor > 0
    return has_minimum and (
        less_quantity < terms.minimum_order_quantity or less_value < terms.minimum_order_minor
    )
