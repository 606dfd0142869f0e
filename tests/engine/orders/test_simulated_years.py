"""Years simulated with known truth: the service level is kept, and at less cost than by a reorder point."""

import numpy as np
import pytest

from service.engine.orders.terms import RunOutTarget
from tests.engine.orders.instances import one_pack
from tests.engine.orders.simulation import Ledger, follow_plan, make_depot, reorder_point, run_depot

LEVEL = 0.95
N_WEEKS = 104
# Weeks of average demand that the reorder point is tried at; its best is chosen with hindsight.
POINTS = np.arange(3.0, 5.6, 0.125)


@pytest.mark.slow
def test_service_level_is_reached_within_two_points_at_less_cost_than_a_reorder_point():
    """Five depots, two years each, small packs and no order cost, so that every week is at its limit.

    Forecasts know the vehicles' true distributions; the reorder point knows the true mean and is tuned with
    hindsight to the service that the plan reached.
    """
    supply = one_pack(5.0, 2_000, order_cost_minor=0, holding_cost_minor=2.0)
    planned: list[Ledger] = []
    plain: list[list[Ledger]] = []
    for seed in range(5):
        depot = make_depot(250, np.random.default_rng(300 + seed))
        weekly = float((depot.litres / depot.interval_weeks).sum())
        follow = follow_plan(depot, supply, RunOutTarget(service_level=LEVEL), 5)
        planned.append(run_depot(depot, follow, supply, N_WEEKS, np.random.default_rng(seed)))
        plain.append(
            [
                run_depot(
                    depot,
                    reorder_point(point * weekly, 5.0, 1, 2_000),
                    supply,
                    N_WEEKS,
                    np.random.default_rng(seed),
                )
                for point in POINTS
            ]
        )
    service = float(np.mean([ledger.service for ledger in planned]))
    assert abs(service - LEVEL) <= 0.02
    plain_service = np.mean([[ledger.service for ledger in row] for row in plain], axis=0)
    plain_cost = np.mean([[ledger.cost_minor for ledger in row] for row in plain], axis=0)
    at_equal_service = float(np.interp(service, plain_service, plain_cost))
    cost = float(np.mean([ledger.cost_minor for ledger in planned]))
    assert cost < 0.95 * at_equal_service
