"""The rolling-origin backtest and the plain projections."""

import numpy as np
import pytest

from service.engine.skill.backtest import backtest
from service.engine.skill.baselines import Baseline, baseline_quantiles, rates_at_every_reading
from service.engine.skill.calibration import mean_over_vehicles
from service.engine.usage.origins import histories_up_to, rolling_origins
from service.engine.usage.priors import configured_priors
from tests.fleets import simulate_fleet


def fleet(seed=1, n=25, process="ageing_cars"):
    return simulate_fleet(np.random.default_rng(seed), process, n, 1100, 30.0)


def test_baseline_rates_are_those_of_their_definitions():
    """Reference: numpy's weighted polynomial fit and plain quotients, reading by reading."""
    f = fleet(n=4)
    rates = {b: rates_at_every_reading(b, f.time_days, f.odometer_km, f.offsets) for b in Baseline}
    for first, end in zip(f.offsets[:-1], f.offsets[1:], strict=True):
        for last in (first + 2, first + 7, end - 1):
            t, x = f.time_days[first : last + 1], f.odometer_km[first : last + 1]
            slope = np.polyfit(t - t[-1], x - x[-1], 1, w=np.sqrt(0.5 ** ((t[-1] - t) / 90.0)))[0]
            assert rates[Baseline.WEIGHTED_REGRESSION][last] == pytest.approx(max(slope, 0.0), rel=1e-6)
            assert rates[Baseline.AVERAGE_SINCE_FIRST][last] == pytest.approx((x[-1] - x[0]) / (t[-1] - t[0]))
            assert rates[Baseline.LAST_TWO][last] == pytest.approx((x[-1] - x[-2]) / (t[-1] - t[-2]))


def test_baseline_intervals_come_from_the_vehicles_own_past_errors():
    """Reference: the same rule written as a loop for one exercise."""
    f = fleet(seed=2, n=3)
    origins = rolling_origins(f.time_days, f.offsets, np.array([90.0]))
    quantiles = baseline_quantiles(Baseline.LAST_TWO, f.time_days, f.odometer_km, f.offsets, origins)
    n_checked = 0
    for row in range(len(origins)):
        first, last = f.offsets[origins.vehicle[row]], origins.origin[row]
        t, x = f.time_days[first : last + 1], f.odometer_km[first : last + 1]
        days, n = f.time_days[origins.target[row]] - t[-1], t.size
        rate = (x[-1] - x[-2]) / (t[-1] - t[-2])
        want, errors = min(days, 0.5 * (t[-1] - t[0])), []
        for i in np.unique(np.linspace(2, n - 2, 25).astype(int)):
            j = int(np.argmin(np.abs(t - t[i] - want)))
            if j > i and 0.4 * want <= t[j] - t[i] <= 2.5 * want:
                errors.append((x[j] - x[i]) / (t[j] - t[i]) - (x[i] - x[i - 1]) / (t[i] - t[i - 1]))
        if len(errors) >= 6:
            low, high = np.quantile(errors, [0.1, 0.9]) * days
            expected = np.maximum(rate * days + np.array([min(low, 0.0), 0.0, max(high, 0.0)]), 0.0)
        else:
            expected = rate * days * (1.0 + 1.2815515655 * 0.35 * np.array([-1.0, 0.0, 1.0]))
        np.testing.assert_allclose(quantiles[row], expected, rtol=1e-7)
        n_checked += len(errors) >= 6
    assert 10 < n_checked < len(origins)


def test_origins_know_only_what_was_read_before_them():
    f = fleet()
    origins = rolling_origins(f.time_days, f.offsets, np.array([30.0, 365.0]))
    at, offsets = histories_up_to(origins, f.offsets)
    latest = np.maximum.reduceat(f.time_days[at], offsets[:-1])
    np.testing.assert_array_equal(latest, f.time_days[origins.origin])
    ahead = f.time_days[origins.target] - f.time_days[origins.origin]
    assert np.all(ahead >= 0.9 * origins.horizon_days)
    assert np.all(ahead <= 1.25 * origins.horizon_days)
    assert np.all(np.diff(offsets) >= 5)
    for horizon in (30.0, 365.0):
        assert np.max(np.bincount(origins.vehicle[origins.horizon_days == horizon])) <= 12


def test_what_comes_later_does_not_change_a_forecast():
    """Readings after an origin are moved by 10,000 km; what was projected at the origin stays."""
    f = fleet(n=2)
    origins = rolling_origins(f.time_days, f.offsets, np.array([90.0]))
    row = 4
    changed = f.odometer_km.copy()
    changed[origins.origin[row] + 1 : f.offsets[origins.vehicle[row] + 1]] += 10_000.0
    for which in Baseline:
        before = baseline_quantiles(which, f.time_days, f.odometer_km, f.offsets, origins)[row]
        after = baseline_quantiles(which, f.time_days, changed, f.offsets, origins)[row]
        np.testing.assert_array_equal(before, after)


def test_a_scorecard_counts_and_orders_what_it_says():
    f = fleet()
    cards = backtest(f.time_days, f.odometer_km, f.offsets, configured_priors(25))
    assert {card.method for card in cards} == {"service", *(b.value for b in Baseline)}
    for card in cards:
        if card.n_exercises:
            total = card.coverage_fraction + card.below_fraction + card.above_fraction
            assert total == pytest.approx(1.0)
            assert card.pinball_km > 0.0
        else:
            assert np.isnan(card.pinball_km)
    whole = next(card for card in cards if card.method == "service" and card.horizon_days == 0.0)
    assert sum(whole.pit_fraction) == pytest.approx(1.0)
    # Half the CRPS is the mean pinball over all levels; over three wide ones it is of the same size.
    assert 0.3 * whole.crps_km < whole.pinball_km < 0.7 * whole.crps_km


def test_a_fleet_without_a_past_has_empty_scorecards():
    cards = backtest(np.zeros(0), np.zeros(0), np.zeros(3, dtype=np.int64), configured_priors(2))
    assert all(card.n_exercises == 0 for card in cards)


def test_vehicles_weigh_the_same_however_often_they_are_read():
    assert mean_over_vehicles(np.array([1.0, 1.0, 1.0, 5.0]), np.array([3, 3, 3, 9])) == 3.0
    assert np.isnan(mean_over_vehicles(np.zeros(0), np.zeros(0, dtype=np.int64)))
