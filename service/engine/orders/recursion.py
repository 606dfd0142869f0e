"""The exact recursion on the pack lattice of one supplier, thinned where the lattice is very fine."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Integers
from service.engine.demand.lattice import LatticeDistributions
from service.engine.orders.lot_sizing import solve_lot_sizes
from service.engine.orders.pack_mix import cheapest_mixes
from service.engine.orders.tables import PlanningTables, arrival_costs, state_costs
from service.engine.orders.terms import SupplyTerms

# Above so many pack units the lattice is thinned. Own choice: about half a second for 26 weeks.
N_UNITS_EXACT: Final = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class RecursionPlan:
    """Packs arriving in each week, and how far from the best they may be."""

    pack_count: Integers
    """Shape (weeks, packs)."""
    optimality_gap_fraction: float
    """Proven: cost above a lower bound, as a share of what the orders cost; 0 when exact."""


def solve_recursion(
    cumulative: LatticeDistributions,
    terms: SupplyTerms,
    tables: PlanningTables,
    lead_weeks: int,
    shortage_cost_minor: float,
) -> RecursionPlan:
    """Plan whole packs per week by dynamic programming.

    Parameters
    ----------
    cumulative, terms, tables
        Demand, terms and the tables made from them.
    lead_weeks : int
        First week in which an order of this plan can arrive.
    shortage_cost_minor : float
        Price of a unit short for a week; 0 plans by the needed quantity.

    Returns
    -------
    RecursionPlan

    Notes
    -----
    Up to `N_UNITS_EXACT` units every quantity is looked at. Above, orders are whole multiples of c units,
    each still bought as the cheapest mix of packs. The bound comes from the same recursion with every order
    rounded down to a multiple of c at the least cost of the quantities rounded together, and every week at
    its least cost among the levels that the rounding may hide (c - 1 units an order). Derived.
    O(weeks * N_UNITS_EXACT^2 + units^2 / smallest pack).
    """
    n_weeks = tables.needed_quantity.size
    thin = max(1, int(np.ceil(tables.n_units / N_UNITS_EXACT)))
    n_units = thin * int(np.ceil(tables.n_units / thin))
    mixes = cheapest_mixes(terms, n_units + thin - 1)
    supply = tables.committed_quantity[:, None] + tables.unit_quantity * np.arange(n_units + 1)
    state = state_costs(cumulative, supply, tables, terms.holding_cost_minor, shortage_cost_minor)
    arrival = arrival_costs(tables, supply)[:, ::thin]
    order_cost = np.full(n_weeks, float(terms.order_cost_minor))
    order_cost[:lead_weeks] = np.inf
    goods = mixes.cost_minor[: n_units + 1 : thin]
    sizes = solve_lot_sizes(order_cost, goods, state[:, ::thin], arrival)
    pack_count = mixes.pack_count[thin * sizes.arriving_units]
    if thin == 1:
        return RecursionPlan(pack_count=pack_count, optimality_gap_fraction=0.0)
    least_goods = mixes.cost_minor.reshape(-1, thin).min(axis=1)
    least_state = state.copy()
    for week in range(lead_weeks, n_weeks):
        hidden = (week - lead_weeks + 1) * (thin - 1)
        ahead = np.pad(state[week], (0, hidden), constant_values=np.inf)
        least_state[week] = np.lib.stride_tricks.sliding_window_view(ahead, hidden + 1).min(axis=1)
    bound = solve_lot_sizes(order_cost, least_goods, least_state[:, ::thin], arrival).cost_minor
    spent = float(goods[sizes.arriving_units].sum()) + terms.order_cost_minor * np.count_nonzero(
        sizes.arriving_units
    )
    return RecursionPlan(
        pack_count=pack_count,
        optimality_gap_fraction=max(sizes.cost_minor - bound, 0.0) / max(float(spent), 1.0),
    )
