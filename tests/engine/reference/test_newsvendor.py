"""One week, one piece a pack, a price on running out: the order plan is the newsvendor.

Source: stockpyl 1.0.2 and the examples of Snyder & Shen, "Fundamentals of Supply Chain Theory", 2nd ed. 2019,
chapter 4: Poisson(6) with h = 1, p = 4; Poisson(50) and Normal(50, 8) with h = 0.18, p = 0.70.
"""

import warnings

import numpy as np
import pytest
from scipy import stats

from service.engine.demand.lattice import (
    LatticeDistributions,
    distribution_mean,
    expected_excess,
    pack_distributions,
)
from service.engine.orders.plan import plan_orders
from service.engine.orders.terms import RunOutTarget
from tests.engine.orders.instances import one_pack, poisson_weeks, shelf

with warnings.catch_warnings():
    # The library's docstrings hold backslashes that Python 3.12 will refuse.
    warnings.simplefilter("ignore")
    from stockpyl.newsvendor import newsvendor_normal, newsvendor_poisson


def order_up_to(
    demand: LatticeDistributions, pack: float, holding: float, shortage: float
) -> tuple[float, float]:
    """Quantity ordered from an empty shelf, and the expected cost of the week."""
    free = one_pack(
        pack, 0, order_cost_minor=0, holding_cost_minor=holding, lead_time_probability=np.array([1.0])
    )
    target = RunOutTarget(service_level=0.9, shortage_cost_minor=shortage)
    quantity = float(plan_orders(demand, free, shelf(), target).quantity.sum())
    short = expected_excess(demand, np.array([[quantity]]))[0, 0]
    over = quantity - distribution_mean(demand)[0] + short
    return quantity, holding * over + shortage * short


@pytest.mark.parametrize(
    ("mean", "holding", "shortage", "stock", "cost"),
    [(6.0, 1.0, 4.0, 8.0, 3.5701069457), (50.0, 0.18, 0.70, 56.0, 1.7972352118)],
)
def test_poisson_demand(mean: float, holding: float, shortage: float, stock: float, cost: float):
    own = order_up_to(poisson_weeks(mean, 1), 1.0, holding, shortage)
    assert own[0] == stock
    assert own[1] == pytest.approx(cost, abs=1e-6)
    library = newsvendor_poisson(holding, shortage, mean)
    assert library[0] == stock
    assert library[1] == pytest.approx(cost, abs=1e-4)


def test_normal_demand_on_a_lattice_of_a_tenth():
    """S* = 56.6039559274, cost 1.9976051932; the lattice decides the tolerance."""
    grid = np.arange(0.0, 110.0, 0.1)
    demand = pack_distributions(np.zeros(1), np.array([0.1]), [stats.norm.pdf(grid, 50.0, 8.0)])
    stock, cost = order_up_to(demand, 0.1, 0.18, 0.70)
    assert stock == pytest.approx(56.6039559274, abs=0.1)
    assert cost == pytest.approx(1.9976051932, abs=1e-3)
    assert newsvendor_normal(0.18, 0.70, 50.0, 8.0)[0] == pytest.approx(56.6039559274, abs=1e-6)
