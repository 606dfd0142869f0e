"""First expired, first out: the balance closes and the oldest goes first."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.orders.expiry import replay_lots


def test_the_lot_that_expires_first_is_used_first():
    replay = replay_lots(
        np.array([10.0, 10.0]), np.array([0, 0]), np.array([5, 1]), np.array([4.0, 4.0, 4.0])
    )
    assert replay.used.tolist() == [4.0, 4.0, 4.0]
    assert replay.expired.tolist() == [0.0, 2.0, 0.0]
    assert replay.lot_expired.tolist() == [0.0, 2.0]
    assert replay.left_over == 6.0


def test_demand_waits_for_the_next_arrival():
    replay = replay_lots(
        np.array([5.0, 20.0]), np.array([0, 2]), np.array([99, 99]), np.array([4.0, 4.0, 4.0])
    )
    assert replay.used.tolist() == [4.0, 1.0, 7.0]
    assert replay.unmet.tolist() == [0.0, 3.0, 0.0]


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**31), st.integers(0, 8), st.integers(1, 12))
def test_arrived_equals_used_plus_expired_plus_left_over(seed: int, n_lots: int, n_weeks: int):
    rng = np.random.default_rng(seed)
    quantity = rng.uniform(0, 50, n_lots)
    arrival = rng.integers(0, n_weeks + 2, n_lots)
    expiry = arrival + rng.integers(0, 8, n_lots)
    demand = rng.uniform(0, 25, n_weeks)
    replay = replay_lots(quantity, arrival, expiry, demand)
    arrived = quantity[arrival < n_weeks].sum()
    assert replay.used.sum() + replay.expired.sum() + replay.left_over == pytest.approx(arrived)
    assert replay.used.sum() + replay.unmet[-1] == pytest.approx(demand.sum())
    assert replay.lot_expired.sum() == pytest.approx(replay.expired.sum())
