"""The order plan: what to order, by when and why, and what happens if nothing is ordered."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.demand.lattice import LatticeDistributions
from service.engine.orders.projection import StockProjection, project_stock, supply_by_lead_time
from service.engine.orders.reasons import OrderReason, order_reasons, packs_cost
from service.engine.orders.recursion import solve_recursion
from service.engine.orders.tables import PlanningTables, expected_expiry, planning_tables
from service.engine.orders.terms import (
    RunOutTarget,
    StockOnHand,
    SupplyTerms,
    check_stock,
    check_target,
    check_terms,
)
from service.errors import InvalidInputError

# Planning levels tried between the service level asked for and certainty, when the lead time varies. Own choice.
_N_LEVEL_STEPS: Final = 4


class PlanMethod(StrEnum):
    """How the plan was found."""

    EXACT_RECURSION = "exact-recursion"
    THINNED_RECURSION = "thinned-recursion"
    NOTHING_NEEDED = "nothing-needed"


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderPlan:
    """Orders of one fluid or consumable over the weeks ahead; money in minor units."""

    order_week: Integers
    """Shape (orders,): week in which the order is placed, ascending."""
    arrival_week: Integers
    """Shape (orders,): week at whose start it is planned to arrive."""
    pack_count: Integers
    """Shape (orders, packs)."""
    quantity: Floats
    """Shape (orders,): content of all packs. [L or pieces]"""
    cost_minor: Integers
    """Shape (orders,): goods and order cost."""
    reasons: tuple[tuple[OrderReason, ...], ...]
    """Why each order is as it is."""
    needed_week: Integers
    """Shape (orders,): first week that would miss its level without the order, or -1."""
    with_plan: StockProjection
    without_orders: StockProjection
    first_week_short_without_orders: int
    """First week whose risk of running out exceeds one minus the service level if nothing is ordered, or -1."""
    shortfall_before_first_arrival_probability: float
    """Probability of running out before anything ordered now can arrive."""
    expected_expired_quantity: float
    planned_lead_weeks: int
    method: PlanMethod
    optimality_gap_fraction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Solution:
    """Packs arriving by week, and how good that is known to be."""

    arriving: Integers
    tables: PlanningTables
    method: PlanMethod
    gap: float


def _solve(
    cumulative: LatticeDistributions,
    terms: SupplyTerms,
    stock: StockOnHand,
    target: RunOutTarget,
    level: float,
    lead_weeks: int,
) -> _Solution:
    """Plan packs per arrival week at one planning level."""
    tables = planning_tables(cumulative, terms, stock, target, level)
    n_weeks, n_packs = tables.needed_quantity.size, terms.pack_quantity.size
    if tables.n_units == 0 or lead_weeks >= n_weeks:
        nothing = np.zeros((n_weeks, n_packs), np.int64)
        return _Solution(arriving=nothing, tables=tables, method=PlanMethod.NOTHING_NEEDED, gap=0.0)
    plan = solve_recursion(cumulative, terms, tables, lead_weeks, target.shortage_cost_minor)
    is_exact = plan.optimality_gap_fraction == 0.0
    return _Solution(
        arriving=plan.pack_count,
        tables=tables,
        method=PlanMethod.EXACT_RECURSION if is_exact else PlanMethod.THINNED_RECURSION,
        gap=plan.optimality_gap_fraction,
    )


def _planned_lead_weeks(terms: SupplyTerms, target: RunOutTarget) -> int:
    """Lead time to plan with: kept with at least the probability the shelf has to hold with."""
    level = target.service_level
    if target.shortage_cost_minor > 0.0:
        level = target.shortage_cost_minor / (target.shortage_cost_minor + terms.holding_cost_minor)
    reached = np.cumsum(terms.lead_time_probability) >= level - 1e-12
    return int(np.argmax(reached)) if reached.any() else terms.lead_time_probability.size - 1


def _ordered_quantity(arriving: Integers, pack_quantity: Floats, lead: int) -> Floats:
    """Quantity ordered in each week when it is planned to arrive `lead` weeks later."""
    quantity = arriving @ pack_quantity
    return np.concatenate([quantity[lead:], np.zeros(min(lead, quantity.size))])


def _project(
    cumulative: LatticeDistributions, terms: SupplyTerms, solution: _Solution, lead: int
) -> StockProjection:
    """Stock band of a solution over all lead times."""
    ordered = _ordered_quantity(solution.arriving, terms.pack_quantity, lead)
    leads = terms.lead_time_probability
    supply = supply_by_lead_time(solution.tables.committed_quantity, ordered, leads.size)
    return project_stock(cumulative, supply, leads)


def _best_solution(
    cumulative: LatticeDistributions,
    terms: SupplyTerms,
    stock: StockOnHand,
    target: RunOutTarget,
    lead: int,
) -> _Solution:
    """Raise or lower the planning level until the lead time's spread is just paid for."""
    n_leads = int(np.flatnonzero(terms.lead_time_probability > 0.0)[-1]) + 1
    is_spread = np.count_nonzero(terms.lead_time_probability) > 1

    def solve(level: float) -> _Solution:
        return _solve(cumulative, terms, stock, target, level, lead)

    if target.shortage_cost_minor > 0.0 or not is_spread:
        return solve(target.service_level)
    low, high = max(0.5, 2.0 * target.service_level - 1.0), 1.0 - (1.0 - target.service_level) / 20.0
    best = solve(high)
    if best.method is PlanMethod.NOTHING_NEEDED:
        return best
    for _ in range(_N_LEVEL_STEPS):
        middle = 0.5 * (low + high)
        trial = solve(middle)
        risk = _project(cumulative, terms, trial, lead).run_out_probability[n_leads - 1 :]
        if risk.max(initial=0.0) <= 1.0 - target.service_level + 1e-9:
            best, high = trial, middle
        else:
            low = middle
    return best


def plan_orders(
    cumulative: LatticeDistributions,
    terms: SupplyTerms,
    stock: StockOnHand,
    target: RunOutTarget,
) -> OrderPlan:
    """Plan orders of one fluid or consumable over the weeks ahead.

    Parameters
    ----------
    cumulative : LatticeDistributions
        Demand up to the end of each week, one distribution a week (12 to 26 weeks are usual).
    terms : SupplyTerms
        Packs, price tiers, minimum order, lead time, shelf life, tank.
    stock : StockOnHand
        Lots and open orders.
    target : RunOutTarget
        Service level, or what running out costs.

    Returns
    -------
    OrderPlan

    Raises
    ------
    InvalidInputError
        If the terms, the stock or the target cannot be right.

    Notes
    -----
    Every week's end has to be covered with the service level by what has arrived at its start (static
    chance-constrained plan, to be solved again every week). What no order can prevent is returned as a
    probability, never as an error. Tanks are never overfilled; shelf life gives way only to running out;
    cost comes third. With a spread of lead times, all orders of a plan share one lead time, the plan uses
    one that is kept with the service level, and the demand level is lowered until the risk over both is the
    one asked for. Cost: O(weeks * units^2), exact up to 2,000 pack units, with a proven gap above. What
    packs hold is told apart to half a percent, never above what they hold.

    References
    ----------
    .. [1] Bookbinder & Tan, "Strategies for the probabilistic lot-sizing problem with service-level
       constraints", Management Science 34, 1988.
    """
    check_terms(terms)
    check_stock(stock)
    check_target(target)
    if cumulative.first_quantity.size == 0:
        raise InvalidInputError.at("/cumulative", "at least one week of demand")
    lead = _planned_lead_weeks(terms, target)
    solution = _best_solution(cumulative, terms, stock, target, lead)
    tables, leads = solution.tables, terms.lead_time_probability
    arrival_week = np.flatnonzero(solution.arriving.any(axis=1))
    pack_count = solution.arriving[arrival_week]
    nothing = project_stock(cumulative, np.tile(tables.committed_quantity, (leads.size, 1)), leads)
    is_short = nothing.run_out_probability > 1.0 - target.service_level + 1e-9
    reasoned = order_reasons(terms, tables, arrival_week, pack_count)
    return OrderPlan(
        order_week=arrival_week - lead,
        arrival_week=arrival_week,
        pack_count=pack_count,
        quantity=pack_count @ terms.pack_quantity,
        cost_minor=packs_cost(terms, pack_count) + terms.order_cost_minor,
        reasons=reasoned.reasons,
        needed_week=reasoned.needed_week,
        with_plan=_project(cumulative, terms, solution, lead),
        without_orders=nothing,
        first_week_short_without_orders=int(np.argmax(is_short)) if is_short.any() else -1,
        shortfall_before_first_arrival_probability=float(nothing.run_out_probability[:lead].max(initial=0.0)),
        expected_expired_quantity=expected_expiry(cumulative, terms, stock, arrival_week, pack_count),
        planned_lead_weeks=lead,
        method=solution.method,
        optimality_gap_fraction=solution.gap,
    )
