"""Projections of given tasks from entries as keyed."""

import numpy as np
import pytest

from service.engine.skill.tasks import Pasts, project_tasks
from service.errors import InvalidInputError
from tests.fleets import key_in, simulate_fleet


def pasts_of(keyed, cuts):
    """One origin per vehicle and cut."""
    time, km, counts, vehicle, at = [], [], [], [], []
    for v in range(keyed.offsets.size - 1):
        own = slice(keyed.offsets[v], keyed.offsets[v + 1])
        for cut in cuts:
            known = keyed.time_days[own] <= cut
            time.append(keyed.time_days[own][known])
            km.append(keyed.keyed_km[own][known])
            counts.append(int(known.sum()))
            vehicle.append(v)
            at.append(cut)
    return Pasts(
        time_days=np.concatenate(time), keyed_km=np.concatenate(km),
        offsets=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        vehicle=np.array(vehicle), origin_days=np.array(at),
    )  # fmt: skip


def test_mistyped_entries_cost_little():
    """Seven in a hundred entries are absurd; a task's loss is compared with that on the right entries."""
    rng = np.random.default_rng(5)
    fleet = simulate_fleet(rng, "private_cars", 40, 800, 14.0)
    cuts, ahead = np.array([300.0, 450.0, 600.0]), 90.0
    losses = []
    for keyed in (key_in(rng, fleet, 0.0, 0.0), key_in(rng, fleet, 0.07)):
        pasts = pasts_of(keyed, cuts)
        quantiles = project_tasks(pasts, np.arange(120), pasts.origin_days + ahead)
        truth = np.array([
            fleet.true_at(v, t + ahead) for v, t in zip(pasts.vehicle, pasts.origin_days, strict=True)
        ])  # fmt: skip
        error = truth[:, None] - quantiles
        levels = np.array([0.1, 0.5, 0.9])
        losses.append(np.mean(np.maximum(levels * error, (levels - 1.0) * error)))
        assert np.all(np.diff(quantiles, axis=1) >= 0.0)
        assert 0.65 < np.mean((truth >= quantiles[:, 0]) & (truth <= quantiles[:, 2])) < 0.93
    assert losses[1] <= 1.15 * losses[0]


def test_a_task_sees_its_own_past_and_nothing_later():
    """Later origins of every vehicle are replaced by nonsense; tasks at the early origins answer the same."""
    rng = np.random.default_rng(6)
    keyed = key_in(rng, simulate_fleet(rng, "weekly_work", 12, 800, 20.0))
    early, both = pasts_of(keyed, [200.0, 400.0]), pasts_of(keyed, [200.0, 400.0, 700.0])
    spoilt = both.keyed_km.copy()
    for row in np.flatnonzero(both.origin_days == 700.0):
        spoilt[both.offsets[row] : both.offsets[row + 1]] = 123_456.0
    both = Pasts(
        time_days=both.time_days, keyed_km=spoilt, offsets=both.offsets, vehicle=both.vehicle,
        origin_days=both.origin_days,
    )  # fmt: skip
    ahead = np.tile([260.0, 500.0], 12)
    answers = project_tasks(early, np.arange(24), ahead)
    again = project_tasks(both, np.flatnonzero(both.origin_days < 700.0), ahead)
    np.testing.assert_array_equal(answers, again)


def test_origins_with_hardly_anything_known_are_answered_with_numbers():
    pasts = Pasts(
        time_days=np.array([0.0, 5.0, 5.0, 9.0, 1.0]), keyed_km=np.array([100.0, 7.0, 7.0, 7.0, np.nan]),
        offsets=np.array([0, 1, 4, 5, 5]), vehicle=np.arange(4), origin_days=np.array([10.0, 10.0, 10.0, 10.0]),
    )  # fmt: skip
    quantiles = project_tasks(pasts, np.arange(4), np.full(4, 40.0))
    assert np.all(np.isfinite(quantiles))
    assert np.all(np.diff(quantiles, axis=1) > 0.0)


def test_a_new_instrument_is_projected_as_it_shows():
    """After a replacement the answer is on the new instrument's scale."""
    time = np.arange(20) * 30.0
    km = 80_000.0 + 1200.0 * np.arange(20)
    km[10:] -= km[10] - 15.0
    pasts = Pasts(
        time_days=time,
        keyed_km=km,
        offsets=np.array([0, 20]),
        vehicle=np.array([0]),
        origin_days=np.array([580.0]),
    )
    quantiles = project_tasks(pasts, np.array([0]), np.array([600.0]))[0]
    assert quantiles[0] < 15.0 + 12_000.0 < quantiles[2] < 15_000.0


def test_an_entry_later_than_its_origin_is_refused():
    pasts = Pasts(
        time_days=np.array([0.0, 20.0]), keyed_km=np.array([1.0, 2.0]), offsets=np.array([0, 2]),
        vehicle=np.array([0]), origin_days=np.array([10.0]),
    )  # fmt: skip
    with pytest.raises(InvalidInputError):
        project_tasks(pasts, np.array([0]), np.array([40.0]))
