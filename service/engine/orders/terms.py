"""What a supplier sells and on which terms, and what is on the shelf and on its way."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.errors import InvalidInputError

NEVER_EXPIRES: Final = 2**31 - 1
"""Expiry week of a lot without a shelf life."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyTerms:
    """Packs and conditions for one fluid or consumable; quantities in litres or pieces, money in minor units."""

    pack_quantity: Floats
    """Shape (packs,): content of one pack."""
    tier_offsets: Integers
    """Shape (packs + 1,): where the price tiers of each pack begin; at least one tier a pack."""
    tier_minimum_count: Integers
    """Shape (tiers,): from how many packs in one order the tier holds, for all packs of the kind; first is 1."""
    tier_price_minor: Integers
    """Shape (tiers,): price of one pack."""
    lead_time_probability: Floats
    """Shape (leads,): probability that an order arrives 0, 1, 2 ... weeks later, at the week's start."""
    order_cost_minor: int = 0
    """Cost of placing one order, delivery included."""
    minimum_order_quantity: float = 0.0
    minimum_order_minor: int = 0
    holding_cost_minor: float = 0.0
    """Cost of keeping one litre or piece for one week."""
    shelf_life_weeks: int = NEVER_EXPIRES
    """Weeks after arrival in which it has to be used."""
    tank_capacity: float = np.inf
    """What the tank or shelf holds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockOnHand:
    """Lots on the shelf and orders already placed."""

    lot_quantity: Floats
    """Shape (lots,)."""
    lot_expiry_week: Integers
    """Shape (lots,): last week in which the lot may be used, `NEVER_EXPIRES` without one."""
    open_quantity: Floats
    """Shape (open orders,): still to come of each order."""
    open_arrival_week: Integers
    """Shape (open orders,): week at whose start it is expected; 0 if overdue."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOutTarget:
    """How well the shelf has to hold: by a service level, or by what running out costs.

    With `shortage_cost_minor` at 0 the service level rules: in every week the shelf must hold with that
    probability. Above 0 it is the cost of one litre or piece short for one week, weighed against the cost
    of keeping; the service level then only chooses the lead time to plan with.
    """

    service_level: float = 0.95
    shortage_cost_minor: float = 0.0


def check_terms(terms: SupplyTerms) -> None:
    """Refuse terms that nothing can be ordered on.

    Raises
    ------
    InvalidInputError
        Naming the field.
    """
    packs = terms.pack_quantity
    if packs.size == 0:
        raise InvalidInputError.at("/pack_quantity", "at least one pack is needed to order")
    if not np.all(np.isfinite(packs) & (packs > 0.0)):
        raise InvalidInputError.at("/pack_quantity", "a pack holds more than 0")
    _check_tiers(terms)
    lead = terms.lead_time_probability
    if lead.size == 0 or np.any(lead < 0.0) or not np.isclose(lead.sum(), 1.0, atol=1e-9):
        raise InvalidInputError.at(
            "/lead_time_probability", "lead times from 0 weeks on, probabilities sum to 1"
        )
    amounts = (
        terms.order_cost_minor,
        terms.minimum_order_quantity,
        terms.minimum_order_minor,
        terms.holding_cost_minor,
        terms.tank_capacity,
    )
    if not all(amount >= 0 for amount in amounts):
        raise InvalidInputError.at("/order_cost_minor", "costs, minima and capacity are at least 0")
    if terms.shelf_life_weeks < 1:
        raise InvalidInputError.at("/shelf_life_weeks", "a shelf life is at least one week")


def _check_tiers(terms: SupplyTerms) -> None:
    """Refuse price tiers that do not belong to the packs."""
    offsets = terms.tier_offsets
    n_tiers = terms.tier_price_minor.size
    if offsets.size != terms.pack_quantity.size + 1 or offsets[-1] != n_tiers or np.any(np.diff(offsets) < 1):
        raise InvalidInputError.at("/tier_offsets", "every pack has a price")
    if terms.tier_minimum_count.size != n_tiers or np.any(terms.tier_price_minor < 0):
        raise InvalidInputError.at("/tier_price_minor", "a price is at least 0")
    count = terms.tier_minimum_count
    rises = np.diff(count) > 0
    rises[offsets[1:-1] - 1] = True
    if np.any(count[offsets[:-1]] != 1) or not np.all(rises):
        raise InvalidInputError.at("/tier_minimum_count", "tiers start at one pack and rise")


def check_stock(stock: StockOnHand) -> None:
    """Refuse negative stock and arrays that do not fit together.

    Raises
    ------
    InvalidInputError
        Naming the field.
    """
    for name in ("lot_quantity", "open_quantity"):
        quantity = getattr(stock, name)
        if not np.all(np.isfinite(quantity) & (quantity >= 0.0)):
            raise InvalidInputError.at(
                f"/{name}", "stock is at least 0; count the shelf and correct the ledger"
            )
    if stock.lot_quantity.shape != stock.lot_expiry_week.shape:
        raise InvalidInputError.at("/lot_expiry_week", "one expiry week per lot")
    if stock.open_quantity.shape != stock.open_arrival_week.shape or np.any(stock.open_arrival_week < 0):
        raise InvalidInputError.at("/open_arrival_week", "one arrival week per open order, 0 if overdue")


def check_target(target: RunOutTarget) -> None:
    """Refuse a service level outside (0, 1) and a negative cost of running out.

    Raises
    ------
    InvalidInputError
        Naming the field.
    """
    if not 0.0 < target.service_level < 1.0:
        raise InvalidInputError.at("/service_level", "a service level lies between 0 and 1")
    if not (np.isfinite(target.shortage_cost_minor) and target.shortage_cost_minor >= 0.0):
        raise InvalidInputError.at("/shortage_cost_minor", "the cost of running out is at least 0")
