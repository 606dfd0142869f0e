"""Translate packs, lots, orders and lead times into what the order planner works with."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Final

import numpy as np
from scipy.special import gammainc

from service.domain.planning_terms import planned_with
from service.domain.stock_entries import OrderState
from service.engine.arrays import Floats
from service.engine.orders.terms import NEVER_EXPIRES, StockOnHand, SupplyTerms
from service.store.repositories.stock_items import StockItem
from service.store.tables.fluids import Pack
from service.units import DAYS_PER_WEEK, DAYS_PER_YEAR
from service.usecases.stock.show_stock import StockLine
from service.usecases.stock.stock_items import room_for, shelf_life_days

LONGEST_LEAD_WEEKS: Final = 120
SHORTEST_DAYS: Final = 0.01
"""A lead time or a spread of less than a quarter of an hour is none."""

LEAD_TAIL: Final = 1e-3
"""Lead times longer than all but this share of deliveries are taken as the longest of the rest."""


def first_day_of_week(today: date) -> date:
    """Monday of the present week."""
    return today - timedelta(days=today.weekday())


def lead_time_probability(mean_days: float, sd_days: float, weekday: int) -> Floats:
    """Probability that what is ordered on a weekday (0 for Monday) is there at the start of the n-th week after.

    The lead time follows the gamma law with this mean and spread; what comes within a week is counted from the
    Monday after, because nobody knows that it comes before the job. Only what needs no lead time is there at once.
    """
    if mean_days < SHORTEST_DAYS:
        return np.ones(1)
    ends = DAYS_PER_WEEK * np.arange(LONGEST_LEAD_WEEKS) - weekday
    if sd_days < SHORTEST_DAYS:
        by_end = (ends >= mean_days).astype(np.float64)
    else:
        shape = (mean_days / sd_days) ** 2
        by_end = np.asarray(gammainc(shape, np.maximum(ends, 0.0) * shape / mean_days), np.float64)
    last = int(np.argmax(by_end >= 1.0 - LEAD_TAIL)) if by_end[-1] >= 1.0 - LEAD_TAIL else ends.size - 1
    by_end[last:] = 1.0
    return np.diff(by_end[: last + 1], prepend=0.0)


def stock_on_hand(line: StockLine, today: date) -> StockOnHand:
    """Lots that can be used, and placed orders.

    A ledger below zero counts as an empty shelf, and what is missing comes out of the deliveries on their way, the
    earliest first: most often they were used before anybody wrote down that they had come, and once they are received
    the ledger makes it up from them likewise.
    """
    monday = first_day_of_week(today)
    placed = sorted(
        (order for order in line.open_orders if order.state is OrderState.PLACED),
        key=lambda order: order.expected_on,
    )
    brought = np.array([order.quantity for order in placed], np.float64)
    missing = max(-line.shelf.quantity, 0.0)
    left = np.diff(np.maximum(np.cumsum(brought) - missing, 0.0), prepend=0.0)
    return StockOnHand(
        lot_quantity=np.array([lot.quantity for lot in line.shelf.lots], np.float64),
        lot_expiry_week=np.array([_last_week(lot.expires_on, monday) for lot in line.shelf.lots], np.int64),
        open_quantity=left,
        open_arrival_week=np.array(
            [_arrival_week(order.expected_on, today, monday) for order in placed], np.int64
        ),
    )


def supply_terms(
    item: StockItem,
    packs: Sequence[Pack],
    today: date,
    planning: dict[str, float],
    minimum_order_quantity: float = 0.0,
) -> SupplyTerms:
    """Terms for packs whose price is known."""
    tiers = [[(1, pack.price_minor or 0), *_breaks(pack)] for pack in packs]
    flat = [tier for steps in tiers for tier in steps]
    unit_price = min((pack.price_minor or 0) / pack.quantity for pack in packs)
    room = room_for(item)
    holding = planned_with(planning, "holding_share_a_year")
    return SupplyTerms(
        pack_quantity=np.array([pack.quantity for pack in packs], np.float64),
        tier_offsets=np.cumsum([0, *(len(steps) for steps in tiers)]).astype(np.int64),
        tier_minimum_count=np.array([count for count, _ in flat], np.int64),
        tier_price_minor=np.array([price for _, price in flat], np.int64),
        lead_time_probability=lead_time_probability(
            item.lead_time_days, item.lead_time_sd_days, today.weekday()
        ),
        order_cost_minor=round(planned_with(planning, "order_cost_minor")),
        minimum_order_quantity=minimum_order_quantity,
        holding_cost_minor=unit_price * holding * DAYS_PER_WEEK / DAYS_PER_YEAR,
        shelf_life_weeks=shelf_life_weeks(item),
        tank_capacity=np.inf if room is None else float(room),
    )


def shelf_life_weeks(item: StockItem) -> int:
    """Whole weeks that a delivery keeps."""
    life = shelf_life_days(item)
    return NEVER_EXPIRES if life is None else max(life // DAYS_PER_WEEK, 1)


def _breaks(pack: Pack) -> list[tuple[int, int]]:
    return [(step["from_packs"], step["price_minor"]) for step in pack.price_breaks]


def _last_week(expires_on: date, monday: date) -> int:
    """Last week that the lot lasts to the end of."""
    if expires_on == date.max:
        return NEVER_EXPIRES
    return (expires_on - monday + timedelta(days=1)).days // DAYS_PER_WEEK - 1


def _arrival_week(expected_on: date, today: date, monday: date) -> int:
    """First week at whose start the delivery is there; what is late is hoped for within a week."""
    return -(-(max(expected_on, today + timedelta(days=1)) - monday).days // DAYS_PER_WEEK)
