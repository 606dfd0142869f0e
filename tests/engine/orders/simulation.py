"""A depot simulated for years with known truth, run by the order plan or by a plain reorder point."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import gamma

from service.engine.demand.forecast import forecast_demand
from service.engine.demand.jobs import DemandJobs
from service.engine.demand.lattice import LatticeDistributions
from service.engine.demand.usage_shock import usage_shock_nodes
from service.engine.orders.plan import plan_orders
from service.engine.orders.terms import RunOutTarget, SupplyTerms
from tests.engine.orders.instances import shelf


@dataclass(frozen=True, slots=True, kw_only=True)
class Depot:
    """Vehicles whose services follow each other after gamma distributed numbers of weeks."""

    litres: np.ndarray
    interval_weeks: np.ndarray
    shape: float = 12.0

    def done_by(self, weeks: np.ndarray) -> np.ndarray:
        """Probability that a whole interval ends within so many weeks, (n, ...)."""
        scale = (self.interval_weeks / self.shape).reshape(-1, *([1] * (np.ndim(weeks) - 1)))
        return gamma.cdf(weeks, self.shape, scale=scale)


def make_depot(n_vehicles: int, rng: np.random.Generator) -> Depot:
    litres = rng.choice([4.5, 6.0, 9.0, 15.0, 24.0], n_vehicles)
    return Depot(litres=litres, interval_weeks=rng.uniform(15.0, 40.0, n_vehicles))


def step_week(depot: Depot, age: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, float]:
    """One week: ages afterwards, and litres used. A vehicle serviced this week starts anew the next."""
    before = depot.done_by(age)
    hazard = (depot.done_by(age + 1.0) - before) / np.maximum(1.0 - before, 1e-12)
    is_due = rng.random(age.size) < hazard
    return np.where(is_due, 0.0, age + 1.0), float(depot.litres[is_due].sum())


def due_probability(depot: Depot, age: np.ndarray, n_weeks: int) -> np.ndarray:
    """True probability that the next service and the one after are due by each week's end, (2, n, weeks)."""
    week = np.arange(1.0, n_weeks + 1.0)
    before = depot.done_by(age)[:, None]
    first = (depot.done_by(age[:, None] + week) - before) / np.maximum(1.0 - before, 1e-12)
    falls = np.diff(first, prepend=0.0, axis=1)
    whole = depot.done_by(np.tile(week, (age.size, 1)))
    second = np.zeros_like(first)
    for lag in range(1, n_weeks):
        second[:, lag:] += falls[:, : n_weeks - lag] * whole[:, lag - 1 : lag]
    return np.clip(np.stack([first, second]), 0.0, 1.0)


def forecast_depot(depot: Depot, age: np.ndarray, n_weeks: int) -> LatticeDistributions:
    """Cumulative demand as the engine sees it when it knows the truth."""
    n = age.size
    jobs = DemandJobs(
        pool_index=np.zeros(2 * n, np.int64),
        vehicle_index=np.tile(np.arange(n), 2),
        due_probability=due_probability(depot, age, n_weeks).reshape(1, 2 * n, n_weeks),
        option_quantity=np.tile(depot.litres, 2),
        option_probability=np.ones(2 * n),
        option_offsets=np.arange(2 * n + 1),
    )
    forecast = forecast_demand(
        jobs, n_pools=1, shock=usage_shock_nodes(0.0), step_quantity=0.5, n_exact_max=0
    )
    return forecast.cumulative


@dataclass(slots=True, kw_only=True)
class Ledger:
    """What a run costs and how often the shelf held."""

    weeks: int = 0
    weeks_short: int = 0
    orders: int = 0
    order_minor: float = 0.0
    premium_minor: float = 0.0
    """Paid for goods above the cheapest price of a litre."""
    holding_minor: float = 0.0

    @property
    def cost_minor(self) -> float:
        """What a policy can change: orders, keeping, and dearer packs."""
        return self.order_minor + self.premium_minor + self.holding_minor

    @property
    def service(self) -> float:
        return 1.0 - self.weeks_short / self.weeks


Decide = Callable[[np.ndarray, float, list[tuple[float, int]]], tuple[float, float]]
"""Ages, stock (negative: work waits), orders coming as (litres, weeks ahead) to litres ordered and their price."""


def run_depot(
    depot: Depot,
    decide: Decide,
    terms: SupplyTerms,
    n_weeks: int,
    rng: np.random.Generator,
    warm_up: int = 12,
) -> Ledger:
    """Run weeks: arrivals, the decision, then the week's demand."""
    age = rng.uniform(0.0, 1.0, depot.litres.size) * depot.interval_weeks
    for _ in range(80):
        age, _ = step_week(depot, age, rng)
    lead = terms.lead_time_probability.size - 1
    cheapest = float((terms.tier_price_minor / terms.pack_quantity).min())
    stock, coming, ledger = float(depot.litres.sum() / 8.0), np.zeros(lead + 1), Ledger()
    for week in range(-warm_up, n_weeks):
        stock += coming[0]
        coming = np.append(coming[1:], 0.0)
        on_order = [(float(q), ahead + 1) for ahead, q in enumerate(coming[:-1]) if q > 0.0]
        quantity, price = decide(age, stock, on_order)
        if lead == 0:
            stock += quantity
        else:
            coming[lead - 1] += quantity
        age, used = step_week(depot, age, rng)
        stock -= used
        if week >= 0:
            ledger.weeks += 1
            ledger.weeks_short += stock < -1e-9
            ledger.orders += quantity > 0.0
            ledger.order_minor += terms.order_cost_minor * (quantity > 0.0)
            ledger.premium_minor += price - quantity * cheapest
            ledger.holding_minor += terms.holding_cost_minor * max(stock, 0.0)
    return ledger


def follow_plan(depot: Depot, terms: SupplyTerms, target: RunOutTarget, horizon_weeks: int) -> Decide:
    """Order what the plan, made anew every week, says for this week."""

    def decide(age: np.ndarray, stock: float, coming: list[tuple[float, int]]) -> tuple[float, float]:
        demand = forecast_depot(depot, age, horizon_weeks)
        waiting = max(-stock, 0.0)
        demand = replace(demand, first_quantity=demand.first_quantity + waiting)
        plan = plan_orders(demand, terms, shelf(max(stock, 0.0), coming=tuple(coming)), target)
        now = plan.order_week == 0
        return float(plan.quantity[now].sum()), float(
            plan.cost_minor[now].sum()
        ) - now.sum() * terms.order_cost_minor

    return decide


def reorder_point(point: float, pack: float, n_packs: int, price_minor: float) -> Decide:
    """Order a fixed number of packs, as often as needed, when stock and what is coming fall to the point."""

    def decide(_age: np.ndarray, stock: float, coming: list[tuple[float, int]]) -> tuple[float, float]:
        position = stock + sum(quantity for quantity, _ in coming)
        if position > point:
            return 0.0, 0.0
        batches = int((point - position) // (pack * n_packs)) + 1
        return batches * n_packs * pack, batches * n_packs * price_minor

    return decide
