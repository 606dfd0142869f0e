"""Fitting to fleets: priors and hyperparameters of classes."""

from dataclasses import replace

import numpy as np
import pytest

from service.engine.skill.backtest import backtest
from service.engine.usage.filter import filter_readings
from service.engine.usage.fit import fit_classes, fit_hyperparameters
from service.engine.usage.hyperparameters import DEFAULT_HYPERPARAMETERS, Hyperparameters
from service.engine.usage.origins import histories_up_to, rolling_origins
from service.engine.usage.predict import gamma_quantiles, increment_moments, odometer_quantiles
from service.engine.usage.priors import (
    CONFIGURED_LOG_RATE,
    LEAST_LOG_RATE_SD,
    configured_priors,
    fit_priors,
)
from service.engine.usage.rehearsal import HORIZONS_DAYS, rehearse
from tests.fleets import PROCESSES, simulate_fleet


def steady(rates, n_readings=8):
    """Vehicles at constant rates, read every 30 days."""
    time = np.tile(np.arange(n_readings) * 30.0, len(rates))
    km = np.concatenate([rate * np.arange(n_readings) * 30.0 for rate in rates])
    return time, km, np.arange(len(rates) + 1) * n_readings


def test_a_class_has_the_median_and_spread_of_its_vehicles():
    """Reference: median and 1.4826 times the median absolute deviation, by numpy; half as much again."""
    rates = np.exp(np.random.default_rng(1).normal(4.0, 0.5, 41))
    priors = fit_priors(*steady(rates), np.zeros(41, dtype=np.int64), 1)
    logs = np.log(rates)
    assert priors.log_rate[0] == pytest.approx(np.median(logs))
    assert priors.log_rate_sd[0] == pytest.approx(1.5 * 1.4826 * np.median(np.abs(logs - np.median(logs))))


def test_a_small_class_takes_the_fleets_prior_and_a_small_fleet_the_configured_one():
    rates = [50.0] * 6 + [200.0] * 2
    classes = np.array([0] * 6 + [1] * 2)
    priors = fit_priors(*steady(rates), classes, 3)
    assert priors.log_rate[0] == pytest.approx(np.log(50.0))
    assert priors.log_rate[1] == priors.log_rate[2] == pytest.approx(np.log(50.0))
    small = fit_priors(*steady([80.0] * 2), np.zeros(2, dtype=np.int64), 1)
    assert small.log_rate[0] == CONFIGURED_LOG_RATE
    short = fit_priors(*steady([80.0] * 9, n_readings=4), np.zeros(9, dtype=np.int64), 1)
    assert short.log_rate[0] == CONFIGURED_LOG_RATE


def test_a_class_of_equal_vehicles_keeps_some_spread_and_one_vehicle_is_a_fleet():
    priors = fit_priors(*steady([60.0] * 9), np.zeros(9, dtype=np.int64), 1)
    assert priors.log_rate_sd[0] == LEAST_LOG_RATE_SD
    one = steady([60.0])
    alone = fit_priors(*one, np.zeros(1, dtype=np.int64), 1).take(np.zeros(1, dtype=np.int64))
    mean, variance = increment_moments(filter_readings(*one, alone), np.array([100.0]))
    assert mean[0] == pytest.approx(6000.0, rel=0.05)
    assert np.isfinite(variance[0])
    stopped = fit_priors(*steady([0.0] * 9), np.zeros(9, dtype=np.int64), 1)
    assert np.isfinite(stopped.log_rate[0])


def test_a_fleet_without_a_past_keeps_what_it_had():
    priors = configured_priors(3)
    assert fit_hyperparameters(*steady([50.0] * 3), priors) == DEFAULT_HYPERPARAMETERS
    empty = np.zeros(0), np.zeros(0), np.zeros(1, dtype=np.int64)
    assert fit_hyperparameters(*empty, configured_priors(0)) == DEFAULT_HYPERPARAMETERS


def pinball(fleet, hyperparameters, days=90):
    """Mean relative pinball loss of the last reading that lies about so many days after another one."""
    n = fleet.offsets.size - 1
    cut = fleet.offsets[1:] - 1 - days // 30
    at = np.concatenate([np.arange(a, b + 1) for a, b in zip(fleet.offsets[:-1], cut, strict=True)])
    offsets = np.concatenate([[0], np.cumsum(cut + 1 - fleet.offsets[:-1])])
    state = filter_readings(
        fleet.time_days[at], fleet.odometer_km[at], offsets, configured_priors(n), hyperparameters
    )
    ahead, came = fleet.time_days[fleet.offsets[1:] - 1], fleet.odometer_km[fleet.offsets[1:] - 1]
    levels = np.array([0.1, 0.5, 0.9])
    quantiles = gamma_quantiles(*increment_moments(state, ahead - fleet.time_days[cut]), levels)
    error = (came - fleet.odometer_km[cut])[:, None] - quantiles
    loss = np.mean(np.maximum(levels * error, (levels - 1.0) * error), axis=1)
    return float(np.mean(loss / (fleet.odometer_km[cut] - fleet.odometer_km[fleet.offsets[:-1]] + 1000.0)))


def test_fitting_helps_where_a_fleet_is_unlike_the_default_and_is_the_same_every_time():
    """Fitted to one half of a fleet of even vehicles, scored on the other half."""
    rng = np.random.default_rng(2)
    train = simulate_fleet(rng, "steady_with_shifts", 60, 900, 30.0, 0.1)
    test = simulate_fleet(rng, "steady_with_shifts", 200, 900, 30.0, 0.1)
    fitted = fit_hyperparameters(train.time_days, train.odometer_km, train.offsets, configured_priors(60))
    again = fit_hyperparameters(train.time_days, train.odometer_km, train.offsets, configured_priors(60))
    assert fitted == again
    assert pinball(test, fitted) < 0.97 * pinball(test, DEFAULT_HYPERPARAMETERS)


def test_a_rehearsal_says_what_the_filter_would_have_said():
    """Each exercise against a filter over the readings up to its origin."""
    fleet = simulate_fleet(np.random.default_rng(12), "pool_vehicles", 30, 900, 28.0)
    priors = configured_priors(30)
    rehearsal = rehearse(fleet.time_days, fleet.odometer_km, fleet.offsets, priors, 1e-6)
    origins = rolling_origins(fleet.time_days, fleet.offsets, np.array(HORIZONS_DAYS), origins_per_vehicle=3)
    at, offsets = histories_up_to(origins, fleet.offsets)
    state = filter_readings(
        fleet.time_days[at], fleet.odometer_km[at], offsets, priors.take(origins.vehicle),
        replace(DEFAULT_HYPERPARAMETERS, period_days=1e-6),
    )  # fmt: skip
    days = fleet.time_days[origins.target] - fleet.time_days[origins.origin]
    expected = np.sort(np.stack(increment_moments(state, days)), axis=1)
    ours = np.sort(np.stack(rehearsal.moments(replace(DEFAULT_HYPERPARAMETERS, period_days=1e-6))), axis=1)
    np.testing.assert_allclose(ours, expected, rtol=1e-12)


def test_classes_that_differ_get_numbers_of_their_own():
    rng = np.random.default_rng(13)
    fleets = [
        simulate_fleet(rng, process, 60, 900, 30.0) for process in ("steady_with_shifts", "seasonal_work")
    ]
    time, km = (
        np.concatenate([getattr(one, name) for one in fleets]) for name in ("time_days", "odometer_km")
    )
    offsets = np.concatenate([fleets[0].offsets, fleets[0].offsets[-1] + fleets[1].offsets[1:]])
    even, seasonal, empty = fit_classes(time, km, offsets, configured_priors(120), np.repeat([0, 1], 60), 3)
    assert even.noise_sd * even.temporary_sd < 0.8 * seasonal.noise_sd * seasonal.temporary_sd
    assert empty == fit_hyperparameters(time, km, offsets, configured_priors(120))
    assert fit_classes(time, km, offsets, configured_priors(120), np.zeros(120, dtype=np.int64), 2) == (
        empty, empty,
    )  # fmt: skip


@pytest.mark.parametrize("process", ["weekly_work", "private_cars", "pool_vehicles", "slow_drift"])
def test_a_vehicle_read_once_is_doubted_as_much_as_its_class_spreads(process):
    """Priors from one fleet, single readings of another: a year ahead, 80 in 100 within 8 points."""
    rng, n = np.random.default_rng(7), 400
    known, new = (simulate_fleet(rng, process, n, 900, 30.0) for _ in range(2))
    classes = np.zeros(n, dtype=np.int64)
    priors = fit_priors(known.time_days, known.odometer_km, known.offsets, classes, 1).take(classes)
    at = new.offsets[:-1] + 3
    state = filter_readings(new.time_days[at], new.odometer_km[at], np.arange(n + 1), priors)
    later = new.time_days[at] + 365.0
    low, high = odometer_quantiles(state, later, np.array([0.1, 0.9])).T
    came = np.array([new.true_at(vehicle, time) for vehicle, time in enumerate(later)])
    assert np.mean((came >= low) & (came <= high)) == pytest.approx(0.80, abs=0.08)


def test_classes_that_are_alike_keep_the_widths_of_the_whole():
    """Buses vary less than the law says; each half of them, taken for a class, says so too."""
    fleet = simulate_fleet(np.random.default_rng(21), "city_buses", 120, 900, 30.0)
    readings = fleet.time_days, fleet.odometer_km, fleet.offsets, configured_priors(120)
    whole = fit_hyperparameters(*readings)
    assert whole.near_variance_factor < 0.8
    for half in fit_classes(*readings, np.arange(120) % 2, 2):
        assert half.near_variance_factor == pytest.approx(whole.near_variance_factor, rel=0.15)


@pytest.mark.slow
def test_intervals_are_calibrated_under_the_model_itself():
    """Simulation-based calibration: drawn from the model, central 50, 80 and 95 % intervals within 2 points."""
    rng = np.random.default_rng(4)
    h = Hyperparameters(
        reversion_per_day=1 / 18, temporary_sd=0.25, noise_sd=0.9, drift_per_day=5e-5, initial_sd=0.2,
        reading_sd_days=0.1, dispersion_weight=1e9, period_days=1e-6,
    )  # fmt: skip
    n, days = 6000, 480
    m = 1.0 + h.initial_sd * rng.standard_normal(n)
    u = h.temporary_sd * rng.standard_normal(n)
    x = np.zeros((days + 1, n))
    decay = np.exp(-h.reversion_per_day)
    for day in range(days):
        middle = u
        u = decay * u + h.temporary_sd * np.sqrt(1 - decay**2) * rng.standard_normal(n)
        x[day + 1] = x[day] + m + 0.5 * (middle + u) + h.noise_sd * rng.standard_normal(n)
        m = m + np.sqrt(h.drift_per_day) * rng.standard_normal(n)
    at = np.arange(0, 301, 30)
    km = 60.0 * (x[at] + h.reading_sd_days * rng.standard_normal((at.size, n))).T
    priors = configured_priors(n)
    priors = type(priors)(log_rate=np.full(n, np.log(60.0)), log_rate_sd=np.full(n, 1e-6))
    state = filter_readings(np.tile(at.astype(float), n), km.ravel(), np.arange(n + 1) * at.size, priors, h)
    for ahead in (30, 90, 180):
        mean, variance = increment_moments(state, np.full(n, float(ahead)))
        truth = 60.0 * x[300 + ahead] - km[:, -1]
        for share in (0.5, 0.8, 0.95):
            low, high = gamma_quantiles(mean, variance, np.array([0.5 - share / 2, 0.5 + share / 2])).T
            assert np.mean((truth >= low) & (truth <= high)) == pytest.approx(share, abs=0.02)


@pytest.mark.slow
@pytest.mark.parametrize("process", sorted(set(PROCESSES) - {"seasonal_work", "steady_with_shifts"}))
def test_intervals_hold_roughly_where_the_model_is_wrong(process):
    """Fitted to one fleet and scored on another of a process that is not the model's: 80 in 100 within 5 points.

    Left out are a season of each vehicle's own and rare lasting shifts, which no single law of this family meets at
    every horizon.
    """
    histories = []
    for seed, n in ((15, 300), (5, 400)):
        fleet = simulate_fleet(np.random.default_rng(seed), process, n, 1100, 30.0)
        histories.append((fleet.time_days, fleet.odometer_km, fleet.offsets, configured_priors(n)))
    train, test = histories
    cards = backtest(*test, fit_hyperparameters(*train), horizons_days=(30.0, 90.0, 180.0, 365.0))
    for card in cards:
        if card.method == "service":
            assert card.coverage_fraction == pytest.approx(0.80, abs=0.05), card.horizon_days


@pytest.mark.slow
@pytest.mark.parametrize(
    "process",
    [
        "weekly_work", "slow_drift", "city_buses", "pool_vehicles", "ageing_cars", "changing_jobs", "holiday_cars",
        "lasting_drift",
    ],
)  # fmt: skip
def test_the_projection_beats_every_plain_one(process):
    fleet = simulate_fleet(np.random.default_rng(6), process, 150, 1100, 20.0)
    cards = backtest(fleet.time_days, fleet.odometer_km, fleet.offsets, configured_priors(150))
    for horizon in (0.0, 90.0, 180.0, 365.0):
        loss = {card.method: card.pinball_km for card in cards if card.horizon_days == horizon}
        assert loss.pop("service") < min(loss.values())


@pytest.mark.slow
@pytest.mark.parametrize(
    ("process", "km_between"), [("weekly_work", 1800.0), ("private_cars", 1300.0), ("holiday_cars", 1300.0)]
)
def test_readings_when_refuelling_teach_enough_to_beat_every_plain_projection(process, km_between):
    """Fitted to one fleet and scored on another; busy weeks have more readings than quiet ones."""
    histories = []
    for seed in (15, 6):
        fleet = simulate_fleet(np.random.default_rng(seed), process, 200, 1100, km_between=km_between)
        histories.append((fleet.time_days, fleet.odometer_km, fleet.offsets, configured_priors(200)))
    train, test = histories
    cards = backtest(*test, fit_hyperparameters(*train), horizons_days=(30.0, 90.0, 180.0, 365.0))
    for horizon in (0.0, 30.0, 90.0, 180.0, 365.0):
        loss = {card.method: card.pinball_km for card in cards if card.horizon_days == horizon}
        assert loss.pop("service") < min(loss.values())
