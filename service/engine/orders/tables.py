"""What every week would cost at every stock level: the tables both solvers plan on."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.demand.lattice import (
    LatticeDistributions,
    distribution_mean,
    distribution_quantile,
    expected_excess,
)
from service.engine.orders.expiry import replay_lots
from service.engine.orders.pack_mix import units_of_packs
from service.engine.orders.terms import NEVER_EXPIRES, RunOutTarget, StockOnHand, SupplyTerms

# A tank is checked against a week of low demand: what is used up with this probability. Own choice.
_LOW_DEMAND_LEVEL: Final = 0.10
# A litre expected to expire counts as many times its price, so that waste gives way only to running out. Own choice.
_WASTE_PRICE_FACTOR: Final = 10.0
# Demand level that the largest order looks up to when running out has a price. Own choice.
_FAR_LEVEL: Final = 0.9999
# A plan brings so many units at most; what is missing beyond is told as the chance of running out. Seconds instead of
# hours for demand by the tanker that is bought in bottles. Own choice.
_MOST_UNITS: Final = 50_000


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanningTables:
    """Quantities and costs per week; levels are 0, 1, 2 ... units arrived from orders of this plan."""

    unit_quantity: float
    n_units: int
    committed_quantity: Floats
    """Shape (weeks,): usable stock and open orders up to the week's start, less what is expected to expire."""
    needed_quantity: Floats
    """Shape (weeks,): cumulative supply that the week asks for."""
    room_quantity: Floats
    """Shape (weeks,): cumulative supply that the tank leaves room for."""
    usable_quantity: Floats
    """Shape (weeks,): cumulative supply that is expected to be used before an arrival of that week expires."""
    shortage_penalty_minor: float
    waste_penalty_minor: float
    left_over_price_minor: float
    """Worth of a unit left at the end, at the cheapest price a pack has."""
    left_over_quantity: float
    """Most that is counted: what a further horizon of the same demand, or the shelf life, would use."""


def _all_lots(stock: StockOnHand, shelf_life_weeks: int) -> tuple[Floats, Integers, Integers]:
    """Quantity, arrival week and expiry week of what is on the shelf and on its way."""
    quantity = np.concatenate([stock.lot_quantity, stock.open_quantity])
    arrival = np.concatenate([np.zeros(stock.lot_quantity.size, np.int64), stock.open_arrival_week])
    expiry = np.concatenate([stock.lot_expiry_week, stock.open_arrival_week + shelf_life_weeks - 1])
    return quantity, arrival, expiry


def expected_expiry(
    cumulative: LatticeDistributions,
    terms: SupplyTerms,
    stock: StockOnHand,
    arrival_week: Integers,
    pack_count: Integers,
) -> float:
    """Quantity expected to expire within the horizon when the mean demand comes and the plan is followed."""
    lots = _all_lots(stock, terms.shelf_life_weeks)
    quantity = np.concatenate([lots[0], pack_count @ terms.pack_quantity])
    arrival = np.concatenate([lots[1], arrival_week])
    expiry = np.concatenate([lots[2], arrival_week + terms.shelf_life_weeks - 1])
    weekly = np.diff(distribution_mean(cumulative), prepend=0.0)
    return float(replay_lots(quantity, arrival, expiry, weekly).expired.sum())


def committed_supply(stock: StockOnHand, shelf_life_weeks: int, mean_cumulative: Floats) -> Floats:
    """Cumulative supply at each week's start without any new order.

    Parameters
    ----------
    stock : StockOnHand
        Lots and open orders.
    shelf_life_weeks : int
        Life of what open orders bring.
    mean_cumulative : ndarray, shape (weeks,), float64
        Expected cumulative demand, which decides what expires (first expired, first out).

    Returns
    -------
    ndarray, shape (weeks,), float64
    """
    week = np.arange(mean_cumulative.size)
    quantity, arrival, expiry = _all_lots(stock, shelf_life_weeks)
    replay = replay_lots(quantity, arrival, expiry, np.diff(mean_cumulative, prepend=0.0))
    lost_before = np.cumsum(replay.expired) - replay.expired
    already_expired = float(stock.lot_quantity[stock.lot_expiry_week < 0].sum())
    arrived = (quantity * (arrival <= week[:, None])).sum(axis=1)
    committed: Floats = np.where(week == 0, arrived - already_expired, arrived - lost_before)
    return committed


def _usable_within_life(mean_cumulative: Floats, shelf_life_weeks: int) -> Floats:
    """Give the expected demand until an arrival of each week expires, continued at the mean rate."""
    n_weeks = mean_cumulative.size
    if shelf_life_weeks >= NEVER_EXPIRES:
        return np.full(n_weeks, np.inf)
    last = np.arange(n_weeks) + shelf_life_weeks - 1
    inside = mean_cumulative[np.minimum(last, n_weeks - 1)]
    usable: Floats = inside + np.maximum(last - (n_weeks - 1), 0) * mean_cumulative[-1] / n_weeks
    return usable


def _n_units(terms: SupplyTerms, unit: float, missing: float) -> int:
    """Most units a plan may ever bring: what is missing, and a pack, a minimum or a near price tier on top."""
    if missing <= 0.0:
        return 0
    largest_pack = float(terms.pack_quantity.max())
    pack_of_tier = np.repeat(terms.pack_quantity, np.diff(terms.tier_offsets))
    tier_quantity = terms.tier_minimum_count * pack_of_tier
    near_tier = tier_quantity[tier_quantity <= 2.0 * missing].max(initial=0.0)
    cheapest = float((terms.tier_price_minor / pack_of_tier).min())
    by_value = terms.minimum_order_minor / cheapest if cheapest > 0.0 else 0.0
    most = max(missing, near_tier, terms.minimum_order_quantity, by_value) + largest_pack
    return int(min(np.ceil(most / unit), _MOST_UNITS))


def planning_tables(
    cumulative: LatticeDistributions,
    terms: SupplyTerms,
    stock: StockOnHand,
    target: RunOutTarget,
    planning_level: float,
) -> PlanningTables:
    """Gather what each week needs, holds and loses.

    Parameters
    ----------
    cumulative : LatticeDistributions
        Demand up to the end of each week, one distribution a week.
    terms, stock, target
        Checked inputs of the plan.
    planning_level : float
        Service level to plan with; above the target's when the lead time varies.

    Returns
    -------
    PlanningTables
    """
    mean = distribution_mean(cumulative)
    unit, units = units_of_packs(terms.pack_quantity)
    beyond_units = float((terms.pack_quantity / (unit * units)).max())
    committed = committed_supply(stock, terms.shelf_life_weeks, mean)
    has_price = target.shortage_cost_minor > 0.0
    needed = distribution_quantile(cumulative, planning_level)
    farthest = distribution_quantile(cumulative, _FAR_LEVEL) if has_price else needed
    low = np.concatenate([np.zeros(1), distribution_quantile(cumulative, _LOW_DEMAND_LEVEL)[:-1]])
    pack_of_tier = np.repeat(terms.pack_quantity, np.diff(terms.tier_offsets))
    price_of_unit = terms.tier_price_minor / pack_of_tier
    unit_price = max(float(price_of_unit.max()), 1e-6)
    waste = _WASTE_PRICE_FACTOR * unit_price
    largest = float(terms.pack_quantity.max()) + terms.minimum_order_quantity
    worst_order = (
        (unit_price + waste + terms.holding_cost_minor * mean.size) * largest
        + terms.order_cost_minor
        + (1.0 + _WASTE_PRICE_FACTOR) * terms.minimum_order_minor
    )
    usable = _usable_within_life(mean, terms.shelf_life_weeks)
    return PlanningTables(
        unit_quantity=unit,
        n_units=_n_units(terms, unit, float((farthest - committed).max())),
        committed_quantity=committed,
        needed_quantity=needed,
        # What packs hold beyond their units has to find room as well.
        room_quantity=committed + (terms.tank_capacity + low - committed) / beyond_units,
        usable_quantity=usable,
        shortage_penalty_minor=2.0 * worst_order / float(cumulative.step_quantity.min()),
        waste_penalty_minor=waste,
        left_over_price_minor=float(price_of_unit.min()),
        left_over_quantity=float(min(mean[-1], usable[-1] - mean[-1])),
    )


def state_costs(
    cumulative: LatticeDistributions,
    supply: Floats,
    tables: PlanningTables,
    holding_cost_minor: float,
    shortage_cost_minor: float,
) -> Floats:
    """Cost of each week at each cumulative supply, convex in the supply.

    Parameters
    ----------
    supply : ndarray, shape (weeks, m), float64
        Cumulative supply at the week's start. [L or pieces]

    Returns
    -------
    ndarray, shape (weeks, m), float64
        Expected cost of keeping plus either the priced expected shortage or the penalty for missing the level.

    Notes
    -----
    The last week is credited with what is left over on average, at the cheapest price; otherwise the end of
    the horizon would look like the end of the depot, and small dear packs would be bought to end it empty.
    """
    short = expected_excess(cumulative, supply)
    ahead = supply - distribution_mean(cumulative)[:, None]
    over = ahead + short
    if shortage_cost_minor > 0.0:
        run_out = shortage_cost_minor * short
    else:
        missing = np.maximum(tables.needed_quantity[:, None] - supply, 0.0)
        run_out = tables.shortage_penalty_minor * missing
    cost: Floats = holding_cost_minor * np.maximum(over, 0.0) + run_out
    cost[-1] -= tables.left_over_price_minor * np.minimum(ahead[-1], tables.left_over_quantity)
    return cost


def arrival_costs(tables: PlanningTables, supply: Floats) -> Floats:
    """Cost of an arrival that lifts the cumulative supply of each week to `supply`; infinite above the tank."""
    waste = np.maximum(supply - np.maximum(tables.usable_quantity, tables.committed_quantity)[:, None], 0.0)
    fits = supply <= tables.room_quantity[:, None] + 1e-9
    return np.where(fits, tables.waste_penalty_minor * waste, np.inf)
