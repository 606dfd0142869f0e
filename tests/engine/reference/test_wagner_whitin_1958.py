"""Dynamic lot sizing against Wagner & Whitin (1958) and textbook instances.

Sources: Wagner & Whitin, "Dynamic version of the economic lot size model", Management Science 5, 1958, the
paper's twelve-period example (cost 864); Snyder & Shen, "Fundamentals of Supply Chain Theory", 2nd ed. 2019,
example 3.9 (cost 1380), both also solved here by the reference library stockpyl 1.0.2. Whole packs of 20 and
25 on the 1958 demand (939 and 984) were solved independently as mixed-integer programmes.
"""

import warnings

import numpy as np
import pytest

from service.engine.orders.lot_sizing import LotSizes, solve_lot_sizes

with warnings.catch_warnings():
    # The library's docstrings hold backslashes that Python 3.12 will refuse.
    warnings.simplefilter("ignore")
    from stockpyl.wagner_whitin import wagner_whitin

DEMAND_1958 = np.array([69, 29, 36, 61, 61, 26, 34, 67, 45, 67, 79, 56])
ORDER_COST_1958 = np.array([85, 102, 102, 101, 98, 114, 105, 86, 119, 110, 98, 114], float)


def solve(
    demand: np.ndarray,
    order_cost: np.ndarray,
    holding: float,
    pack: int = 1,
    most: int | None = None,
    price: float = 0.0,
) -> LotSizes:
    """Known demand, no shortage allowed: the classical problem in the terms of the recursion."""
    cumulative = np.cumsum(demand)
    levels = pack * np.arange(int(np.ceil(cumulative[-1] / pack)) + 1)
    over = (levels - cumulative[:, None]).astype(float)
    state = np.where(over < 0.0, np.inf, holding * over)
    goods = price * levels
    if most is not None:
        goods = np.where(levels > most, np.inf, goods)
    return solve_lot_sizes(order_cost, goods, state, np.zeros_like(state))


def test_the_papers_twelve_periods_cost_864():
    plan = solve(DEMAND_1958, ORDER_COST_1958, 1.0)
    assert plan.cost_minor == 864.0
    orders, cost, _, _ = wagner_whitin(12, 1.0, ORDER_COST_1958.tolist(), DEMAND_1958.tolist())
    assert cost == pytest.approx(864.0)
    assert plan.arriving_units.tolist() == [98, 0, 97, 0, 121, 0, 0, 112, 0, 67, 135, 0]
    assert sum(orders[1:]) == plan.arriving_units.sum()


@pytest.mark.parametrize(("pack", "cost"), [(20, 939.0), (25, 984.0)])
def test_whole_packs_on_the_same_demand(pack: int, cost: float):
    assert solve(DEMAND_1958, ORDER_COST_1958, 1.0, pack).cost_minor == cost


def test_textbook_four_periods():
    plan = solve(np.array([90, 120, 80, 70]), np.full(4, 500.0), 2.0)
    assert plan.cost_minor == 1380.0
    assert plan.arriving_units.tolist() == [210, 0, 150, 0]


def test_a_published_test_that_asserts_120_has_a_cheaper_plan():
    """Demand 10, 20, 30, 40 with K = 30, h = 1: ordering 30, 0, 30, 40 costs 90 + 20 = 110."""
    plan = solve(np.array([10, 20, 30, 40]), np.full(4, 30.0), 1.0)
    assert plan.cost_minor == 110.0
    assert plan.arriving_units.tolist() == [30, 0, 30, 40]


def test_capacity_per_order():
    """K = 40, price 1, h = 1, at most 30 an order: 10, 30, 30, 30 costs 160 + 100 + 20 = 280."""
    plan = solve(np.array([10, 20, 30, 40]), np.full(4, 40.0), 1.0, most=30, price=1.0)
    assert plan.cost_minor == 280.0
    assert plan.arriving_units.tolist() == [10, 30, 30, 30]


def test_random_instances_equal_the_reference_library():
    rng = np.random.default_rng(11)
    for _ in range(20):
        n = int(rng.integers(2, 9))
        demand = rng.integers(1, 60, n)
        order_cost = rng.integers(10, 200, n).astype(float)
        holding = float(rng.integers(1, 5))
        _, cost, _, _ = wagner_whitin(n, holding, order_cost.tolist(), demand.tolist())
        assert solve(demand, order_cost, holding).cost_minor == pytest.approx(cost)
