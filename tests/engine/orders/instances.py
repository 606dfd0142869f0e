"""Supply terms and demands that several order tests share; invented numbers."""

import numpy as np
from scipy import stats

from service.engine.demand.lattice import LatticeDistributions, pack_distributions
from service.engine.orders.terms import NEVER_EXPIRES, StockOnHand, SupplyTerms


def poisson_weeks(mean_per_week: float, n_weeks: int, step: float = 1.0) -> LatticeDistributions:
    """Cumulative demand of a Poisson number of `step` litres a week."""
    means = mean_per_week / step * np.arange(1, n_weeks + 1)
    masses = [stats.poisson.pmf(np.arange(int(m + 10 * np.sqrt(m) + 20)), m) for m in means]
    return pack_distributions(np.zeros(n_weeks), np.full(n_weeks, step), masses)


def certain_weeks(cumulative: list[float]) -> LatticeDistributions:
    """Cumulative demand that is known."""
    n_weeks = len(cumulative)
    return pack_distributions(np.array(cumulative, float), np.ones(n_weeks), [np.ones(1)] * n_weeks)


def terms(**changes: object) -> SupplyTerms:
    """Bottles of 20, kegs of 60 and drums of 208 litres; two weeks of lead time."""
    base: dict[str, object] = {
        "pack_quantity": np.array([20.0, 60.0, 208.0]),
        "tier_offsets": np.arange(4),
        "tier_minimum_count": np.ones(3, np.int64),
        "tier_price_minor": np.array([9_000, 24_000, 70_000]),
        "lead_time_probability": np.array([0.0, 0.0, 1.0]),
        "order_cost_minor": 6_000,
        "holding_cost_minor": 2.0,
    }
    return SupplyTerms(**{**base, **changes})


def one_pack(quantity: float, price_minor: int, **changes: object) -> SupplyTerms:
    """One pack only."""
    return terms(
        pack_quantity=np.array([quantity]),
        tier_offsets=np.array([0, 1]),
        tier_minimum_count=np.array([1]),
        tier_price_minor=np.array([price_minor]),
        **changes,
    )


def shelf(
    quantity: float = 0.0, *, expiry: int = NEVER_EXPIRES, coming: tuple[tuple[float, int], ...] = ()
) -> StockOnHand:
    """One lot, and open orders as (quantity, week)."""
    return StockOnHand(
        lot_quantity=np.array([quantity]),
        lot_expiry_week=np.array([expiry]),
        open_quantity=np.array([q for q, _ in coming], float),
        open_arrival_week=np.array([w for _, w in coming], np.int64),
    )
