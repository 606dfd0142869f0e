"""How long bundling and levelling take; goals: 500 visits in 2 s, 20,000 over 40 depots in 60 s."""

import numpy as np
import pytest

from service.engine.visits.bundling import bundle_visits
from service.engine.visits.levelling import level_visits
from tests.engine.visits.instances import fleet


@pytest.mark.bench
def test_bundle_a_hundred_thousand_vehicles(benchmark):
    rng = np.random.default_rng(0)
    n = 100_000
    due, early = rng.uniform(0, 300, 5 * n), rng.uniform(0.1, 3, 5 * n)
    bundles = benchmark.pedantic(
        lambda: bundle_visits(due, early, 5 * np.arange(n + 1), np.full(n, 80.0)), rounds=3
    )
    assert bundles.due_day.size > n


@pytest.mark.bench
@pytest.mark.parametrize(("n", "n_depots"), [(500, 1), (20_000, 40)])
def test_level_eight_weeks(benchmark, n: int, n_depots: int):
    visits, bays = fleet(n, n_depots, 8)
    result = benchmark.pedantic(lambda: level_visits(visits, bays), rounds=1)
    assert result.cost.sum() < 1.02 * result.lower_bound_cost.sum()
