"""The order plan as an integer programme, for pack lattices too fine for the exact recursion."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from service.engine.demand.lattice import LatticeDistributions
from service.engine.orders.tables import PlanningTables, state_costs
from service.engine.orders.terms import SupplyTerms

_N_CHORDS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class IntegerPlan:
    """Packs arriving in each week, and how far from the best they may be."""

    pack_count: NDArray[np.int64]
    """Shape (weeks, packs)."""
    optimality_gap_fraction: float
    """Relative gap proven by the solver; 1 when it found nothing and the plan is empty."""


class _Rows:
    """Constraint rows, collected one by one."""

    def __init__(self) -> None:
        self.entries: list[tuple[int, int, float]] = []
        self.low: list[float] = []
        self.high: list[float] = []

    def add(self, terms: list[tuple[int, float]], low: float, high: float) -> None:
        """Low <= sum of coefficient * variable <= high."""
        row = len(self.low)
        self.entries.extend((row, column, value) for column, value in terms)
        self.low.append(low)
        self.high.append(high)

    def constraint(self, n_columns: int) -> LinearConstraint:
        """All rows as one sparse constraint."""
        rows, columns, values = (np.array(part) for part in zip(*self.entries, strict=True))
        matrix = coo_array((values, (rows, columns)), shape=(len(self.low), n_columns)).tocsc()
        return LinearConstraint(matrix, np.array(self.low), np.array(self.high))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Columns:
    """Where each week's variables sit: tier counts, tier switches, order switch, supply, state cost, waste."""

    n_weeks: int
    n_tiers: int

    def count(self, week: int, tier: int) -> int:
        return week * self.n_tiers + tier

    def switch(self, week: int, tier: int) -> int:
        return (self.n_weeks + week) * self.n_tiers + tier

    def scalar(self, kind: int, week: int) -> int:
        return 2 * self.n_weeks * self.n_tiers + kind * self.n_weeks + week

    @property
    def n_columns(self) -> int:
        return 2 * self.n_weeks * self.n_tiers + 4 * self.n_weeks


_ORDER, _SUPPLY, _STATE, _WASTE = range(4)


def solve_integer_plan(
    cumulative: LatticeDistributions,
    terms: SupplyTerms,
    tables: PlanningTables,
    lead_weeks: int,
    shortage_cost_minor: float,
    time_limit_seconds: float,
) -> IntegerPlan:
    """Plan whole packs per week with a mixed-integer programme.

    Parameters
    ----------
    cumulative, terms, tables
        As in the exact recursion.
    lead_weeks : int
        First week in which an order of this plan can arrive.
    shortage_cost_minor : float
        Price of a unit short for a week; 0 plans by the needed quantity.
    time_limit_seconds : float
        The best plan found by then is returned with its gap.

    Returns
    -------
    IntegerPlan

    Notes
    -----
    The convex cost of a week becomes the largest of 24 chords, exact at their ends. A missed need costs the
    same penalty as in the recursion. Price tiers hold for all packs of a kind in one order. Solved by HiGHS.

    References
    ----------
    .. [1] Huangfu & Hall, "Parallelizing the dual revised simplex method", 2018 (HiGHS).
    """
    n_weeks, n_tiers = tables.needed_quantity.size, terms.tier_price_minor.size
    columns, rows = _Columns(n_weeks=n_weeks, n_tiers=n_tiers), _Rows()
    most = tables.n_units * tables.unit_quantity
    for week in range(n_weeks):
        _add_order_rows(rows, columns, terms, week, most)
        _add_supply_rows(rows, columns, terms, tables, week, most)
    _add_chords(rows, columns, cumulative, terms, tables, shortage_cost_minor)
    cost = np.zeros(columns.n_columns)
    cost[: n_weeks * n_tiers] = np.tile(terms.tier_price_minor.astype(np.float64), n_weeks)
    for week in range(n_weeks):
        cost[columns.scalar(_ORDER, week)] = terms.order_cost_minor
        cost[columns.scalar(_STATE, week)] = 1.0 if week >= lead_weeks else 0.0
        cost[columns.scalar(_WASTE, week)] = tables.waste_penalty_minor
    lower, upper = np.zeros(columns.n_columns), np.full(columns.n_columns, np.inf)
    lower[columns.scalar(_STATE, 0) : columns.scalar(_WASTE, 0)] = -np.inf
    upper[n_weeks * n_tiers : columns.scalar(_ORDER, 0)] = 1.0
    for week in range(n_weeks):
        upper[columns.scalar(_ORDER, week)] = 1.0 if week >= lead_weeks else 0.0
    is_integer = np.zeros(columns.n_columns, np.int64)
    is_integer[: columns.scalar(_SUPPLY, 0)] = 1
    result = milp(
        cost,
        integrality=is_integer,
        bounds=Bounds(lower, upper),
        constraints=rows.constraint(columns.n_columns),
        options={"time_limit": time_limit_seconds, "mip_rel_gap": 1e-3},
    )
    n_packs = terms.pack_quantity.size
    if result.x is None:
        return IntegerPlan(pack_count=np.zeros((n_weeks, n_packs), np.int64), optimality_gap_fraction=1.0)
    chosen = np.rint(result.x[: n_weeks * n_tiers]).astype(np.int64).reshape(n_weeks, n_tiers)
    count = np.add.reduceat(chosen, terms.tier_offsets[:-1], axis=1)
    return IntegerPlan(pack_count=count, optimality_gap_fraction=float(result.mip_gap or 0.0))


def _add_order_rows(rows: _Rows, columns: _Columns, terms: SupplyTerms, week: int, most: float) -> None:
    """Tiers, one tier a pack and order, minimum order."""
    order = columns.scalar(_ORDER, week)
    tier_pack = np.repeat(np.arange(terms.pack_quantity.size), np.diff(terms.tier_offsets))
    for tier in range(columns.n_tiers):
        n_most = float(np.ceil(most / terms.pack_quantity[tier_pack[tier]]))
        count, switch = columns.count(week, tier), columns.switch(week, tier)
        rows.add([(count, 1.0), (switch, -n_most)], -np.inf, 0.0)
        rows.add([(count, 1.0), (switch, -float(terms.tier_minimum_count[tier]))], 0.0, np.inf)
    for pack in range(terms.pack_quantity.size):
        tiers = range(int(terms.tier_offsets[pack]), int(terms.tier_offsets[pack + 1]))
        rows.add([*((columns.switch(week, tier), 1.0) for tier in tiers), (order, -1.0)], -np.inf, 0.0)
    content = [
        (columns.count(week, t), float(terms.pack_quantity[tier_pack[t]])) for t in range(columns.n_tiers)
    ]
    rows.add([*content, (order, -max(terms.minimum_order_quantity, 0.0))], 0.0, np.inf)
    value = [(columns.count(week, t), float(terms.tier_price_minor[t])) for t in range(columns.n_tiers)]
    rows.add([*value, (order, -float(terms.minimum_order_minor))], 0.0, np.inf)


def _add_supply_rows(
    rows: _Rows, columns: _Columns, terms: SupplyTerms, tables: PlanningTables, week: int, most: float
) -> None:
    """Balance of supply; tank and shelf life when something arrives."""
    tier_pack = np.repeat(np.arange(terms.pack_quantity.size), np.diff(terms.tier_offsets))
    supply, order = columns.scalar(_SUPPLY, week), columns.scalar(_ORDER, week)
    balance = [(supply, 1.0)]
    if week > 0:
        balance.append((columns.scalar(_SUPPLY, week - 1), -1.0))
    balance += [
        (columns.count(week, t), -float(terms.pack_quantity[tier_pack[t]])) for t in range(columns.n_tiers)
    ]
    rows.add(balance, 0.0, 0.0)
    committed = float(tables.committed_quantity[week])
    room = float(tables.room_quantity[week]) - committed
    if np.isfinite(room):
        slack = 2.0 * most + abs(room)
        rows.add([(supply, 1.0), (order, slack)], -np.inf, room + slack)
    usable = max(float(tables.usable_quantity[week]), committed) - committed
    if np.isfinite(usable):
        slack = 2.0 * most
        rows.add(
            [(supply, 1.0), (columns.scalar(_WASTE, week), -1.0), (order, slack)], -np.inf, usable + slack
        )


def _add_chords(
    rows: _Rows,
    columns: _Columns,
    cumulative: LatticeDistributions,
    terms: SupplyTerms,
    tables: PlanningTables,
    shortage_cost_minor: float,
) -> None:
    """State cost above every chord of the convex cost curve of the week."""
    most = tables.n_units * tables.unit_quantity
    grid = np.tile(np.linspace(0.0, 2.0 * most, _N_CHORDS), (columns.n_weeks, 1))
    needed = np.clip(tables.needed_quantity - tables.committed_quantity, 0.0, most)
    grid = np.sort(np.concatenate([grid, needed[:, None]], axis=1), axis=1)
    supply = grid + tables.committed_quantity[:, None]
    value = state_costs(cumulative, supply, tables, terms.holding_cost_minor, shortage_cost_minor)
    for week in range(columns.n_weeks):
        for left in range(grid.shape[1] - 1):
            width = grid[week, left + 1] - grid[week, left]
            if width < 1e-9:
                continue
            slope = float((value[week, left + 1] - value[week, left]) / width)
            start = float(value[week, left] - slope * grid[week, left])
            rows.add(
                [(columns.scalar(_STATE, week), 1.0), (columns.scalar(_SUPPLY, week), -slope)], start, np.inf
            )
