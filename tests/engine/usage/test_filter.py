"""The filter over fleets: incremental, independent of order, honest with few readings."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.usage.filter import filter_readings, update
from service.engine.usage.hyperparameters import DEFAULT_HYPERPARAMETERS, Hyperparameters
from service.engine.usage.initial import initial_state, rests_on
from service.engine.usage.predict import (
    gaussian_moments,
    increment_moments,
    odometer_quantiles,
    outlook_of,
    rate_quantiles,
)
from service.engine.usage.priors import RatePriors, configured_priors
from service.engine.usage.scale import scale_km_per_day
from service.engine.usage.state import STATE_WIDTH, UsageState
from service.errors import InvalidInputError
from tests.fleets import simulate_fleet

LEVELS = np.array([0.1, 0.5, 0.9])


def one(times, odometers, log_rate=4.0, sd=0.6):
    """Filter one vehicle of a class whose median rate is e^4 = 54.6 km/d."""
    priors = RatePriors(log_rate=np.array([log_rate]), log_rate_sd=np.array([sd]))
    times, odometers = np.asarray(times, dtype=float), np.asarray(odometers, dtype=float)
    return filter_readings(times, odometers, np.array([0, times.size]), priors)


def rate(state):
    return rate_quantiles(state, state.last_time_days, LEVELS)[0]


def work(spans, gap=20.0):
    """Readings every `gap` days of a vehicle that keeps each rate for a span: [(km/d, days), ...]."""
    times, odometers = [0.0], [50_000.0]
    for km_per_day, days in spans:
        for _ in range(int(days / gap)):
            times.append(times[-1] + gap)
            odometers.append(odometers[-1] + km_per_day * gap)
    return times, odometers


def ragged_fleet(seed, n=60):
    rng = np.random.default_rng(seed)
    fleet = simulate_fleet(rng, "weekly_work", n, 900, 25.0)
    keep = rng.integers(0, 25, n)
    parts = [
        np.arange(a, min(a + k, b))
        for a, b, k in zip(fleet.offsets[:-1], fleet.offsets[1:], keep, strict=True)
    ]
    offsets = np.concatenate([[0], np.cumsum([part.size for part in parts])])
    at = np.concatenate(parts)
    return fleet.time_days[at], fleet.odometer_km[at], offsets


def test_a_stored_state_comes_back_as_it_was():
    time, odometer, offsets = ragged_fleet(1)
    state = filter_readings(time, odometer, offsets, configured_priors(60))
    again = UsageState.from_array(state.to_array())
    assert state.to_array().shape == (60, STATE_WIDTH)
    np.testing.assert_array_equal(again.to_array(), state.to_array())
    with pytest.raises(InvalidInputError):
        UsageState.from_array(np.zeros((3, 5)))


def test_states_are_known_by_the_numbers_they_rest_on():
    time, odometer, offsets = ragged_fleet(9)
    priors = configured_priors(60)
    state = filter_readings(time, odometer, offsets, priors)
    assert rests_on(state, priors, DEFAULT_HYPERPARAMETERS).all()
    moved = RatePriors(log_rate=priors.log_rate + (np.arange(60) == 7), log_rate_sd=priors.log_rate_sd)
    assert np.flatnonzero(~rests_on(state, moved, DEFAULT_HYPERPARAMETERS)).tolist() == [7]
    assert not rests_on(state, priors, replace(DEFAULT_HYPERPARAMETERS, far_variance_factor=1.1)).any()


def test_wider_factors_widen_the_distance_ahead_and_leave_its_mean():
    """Derived: a variance factor that changes evenly from 1.5 at once to 3 from a year ahead on."""
    time, odometer, offsets = ragged_fleet(10)
    unscaled = replace(DEFAULT_HYPERPARAMETERS, far_variance_factor=1.0)
    plain = filter_readings(time, odometer, offsets, configured_priors(60), unscaled)
    wide = replace(plain, near_variance_factor=np.full(60, 1.5), far_variance_factor=np.full(60, 3.0))
    for days, factor in ((0.0, 1.5), (73.0, 1.8), (365.0, 3.0), (900.0, 3.0)):
        at = np.full(60, days)
        mean, variance = gaussian_moments(plain, at)
        np.testing.assert_array_equal(gaussian_moments(wide, at)[0], mean)
        np.testing.assert_allclose(gaussian_moments(wide, at)[1], factor * variance, rtol=1e-12)


def test_a_calm_vehicle_may_change_its_work_as_much_as_a_restless_one():
    """Derived: far ahead the variance is the drift's, q s m t^3 / 3 times the year's factor, scale s, level m / s."""
    calm = one(*work([(50.0, 600)]))
    restless = one(*work([(20.0, 40), (80.0, 40)] * 8))
    h, days = DEFAULT_HYPERPARAMETERS, 1e7
    assert gaussian_moments(restless, np.array([30.0]))[1] > 5.0 * gaussian_moments(calm, np.array([30.0]))[1]
    for state in (calm, restless):
        squared_scale = scale_km_per_day(state) * outlook_of(state).m
        drift = h.far_variance_factor * h.drift_per_day * squared_scale * days**3 / 3.0
        np.testing.assert_allclose(gaussian_moments(state, np.array([days]))[1], drift, rtol=1e-3)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), cuts=st.integers(1, 5))
def test_reading_by_reading_gives_the_same_numbers_as_all_at_once(seed, cuts):
    time, odometer, offsets = ragged_fleet(seed, 25)
    whole = filter_readings(time, odometer, offsets, configured_priors(25))
    state = initial_state(configured_priors(25), DEFAULT_HYPERPARAMETERS)
    counts = np.diff(offsets)
    edges = np.sort(np.random.default_rng(seed).integers(0, counts.max() + 2, (cuts, 25)), axis=0)
    edges = np.minimum(np.vstack([np.zeros((1, 25), dtype=int), edges, np.full((1, 25), 99)]), counts)
    for begin, end in pairwise(edges):
        at = np.concatenate(
            [np.arange(o + b, o + e) for o, b, e in zip(offsets[:-1], begin, end, strict=True)]
        )
        at = at.astype(np.int64)
        state = update(state, time[at], odometer[at], np.concatenate([[0], np.cumsum(end - begin)]))
    np.testing.assert_array_equal(state.to_array(), whole.to_array())


def test_neither_the_block_size_nor_the_order_of_vehicles_changes_a_bit():
    time, odometer, offsets = ragged_fleet(3)
    priors = configured_priors(60)
    whole = filter_readings(time, odometer, offsets, priors).to_array()
    for block in (1, 7, 32):
        again = update(initial_state(priors, DEFAULT_HYPERPARAMETERS), time, odometer, offsets, block)
        np.testing.assert_array_equal(again.to_array(), whole)
    order = np.random.default_rng(0).permutation(60)
    at = np.concatenate([np.arange(offsets[v], offsets[v + 1]) for v in order])
    mixed = filter_readings(
        time[at], odometer[at], np.concatenate([[0], np.cumsum(np.diff(offsets)[order])]), priors
    )
    np.testing.assert_array_equal(mixed.to_array(), whole[order])
    days = np.full(60, 90.0)
    np.testing.assert_array_equal(
        increment_moments(mixed, days)[1], increment_moments(UsageState.from_array(whole), days)[1][order]
    )


@pytest.mark.parametrize("part_readings", [1, 40, 150, 10**6])
def test_the_parts_of_a_fleet_change_no_bit(part_readings):
    """From a part a vehicle, which threads share, to one part for all; from nothing and from stored states."""
    time, odometer, offsets = ragged_fleet(11)
    start = initial_state(configured_priors(60), DEFAULT_HYPERPARAMETERS)
    whole = update(start, time, odometer, offsets, part_readings=time.size).to_array()
    cut = update(start, time, odometer, offsets, part_readings=part_readings).to_array()
    np.testing.assert_array_equal(cut, whole)
    vehicle = np.repeat(np.arange(60), np.diff(offsets))
    early = np.arange(time.size) < (offsets[:-1] + np.diff(offsets) // 2)[vehicle]
    state = start
    for some in (early, ~early):
        begins = np.searchsorted(np.flatnonzero(some), offsets)
        state = update(state, time[some], odometer[some], begins, part_readings=part_readings)
    np.testing.assert_array_equal(state.to_array(), whole)


def test_inputs_may_be_read_only():
    time, odometer, offsets = ragged_fleet(4)
    for array in (time, odometer, offsets):
        array.setflags(write=False)
    state = filter_readings(time, odometer, offsets, configured_priors(60))
    update(state, np.zeros(0), np.zeros(0), np.zeros(61, dtype=np.int64))


def test_no_reading_and_one_reading_are_answered_by_the_class():
    """Derived: a log-normal class with median e^4; an unfiltered year is 365 e^4 km, give or take a factor."""
    for state in (one([], []), one([10.0], [50_000.0])):
        assert scale_km_per_day(state)[0] == pytest.approx(np.exp(4.0))
        assert rate(state)[1] == pytest.approx(np.exp(4.0), rel=0.25)
        quantiles = (
            odometer_quantiles(state, state.last_time_days + 365.0, LEVELS)[0] - state.last_odometer_km
        )
        assert np.all(np.isfinite(quantiles))
        assert quantiles[0] < 0.6 * 365 * np.exp(4.0) < 1.4 * 365 * np.exp(4.0) < quantiles[2]


def test_the_spread_of_the_class_is_doubt_until_the_vehicle_has_readings_of_its_own():
    """Derived: one reading leaves (s t sd / 1.5)^2 of the class's log spread sd; a year of readings leaves nothing."""
    days, near = np.array([100.0]), DEFAULT_HYPERPARAMETERS.near_variance_factor
    year = 1.0 + (DEFAULT_HYPERPARAMETERS.far_variance_factor - near) * 100.0 / 365.0
    sure, unsure = (gaussian_moments(one([0.0], [50_000.0], sd=sd), days)[1] for sd in (1e-9, 0.6))
    np.testing.assert_allclose(unsure - sure, year * (np.exp(4.0) * 100.0 * 0.6 / 1.5) ** 2, rtol=1e-9)
    readings = work([(np.exp(4.0), 360)])
    sure, unsure = (gaussian_moments(one(*readings, sd=sd), days)[1] for sd in (1e-9, 0.6))
    np.testing.assert_allclose(unsure, sure, rtol=0.02)


def test_the_scale_weighs_the_average_against_the_class():
    """Derived: exp((p lr + mu/omega^2) / (p + 1/omega^2)), p = 10/3.3^2, 900 km in 10 days: 61.8168706832 km/d."""
    h = Hyperparameters(
        reversion_per_day=1.0, temporary_sd=0.0, noise_sd=3.3, drift_per_day=0.0, initial_sd=0.6,
        reading_sd_days=0.1, dispersion_weight=1.0, period_days=1.0,
    )  # fmt: skip
    priors = RatePriors(log_rate=np.array([4.0]), log_rate_sd=np.array([0.6]))
    state = filter_readings(np.array([0.0, 10.0]), np.array([0.0, 900.0]), np.array([0, 2]), priors, h)
    assert scale_km_per_day(state)[0] == pytest.approx(61.8168706832, abs=1e-9)


def test_two_readings_within_hours_hardly_move_the_rate():
    assert rate(one([0.0, 2 / 24], [50_000.0, 50_012.0]))[1] == pytest.approx(
        rate(one([0.0], [50_000.0]))[1], rel=0.15
    )


def test_two_readings_at_one_instant_and_many_equal_ones_divide_by_nothing():
    for state in (
        one([0.0, 0.0], [50_000.0, 50_003.0]),
        one([0.0] * 5, [50_000.0] * 5),
        one(np.arange(12) * 30.0, [777.0] * 12),
    ):
        values = np.concatenate(
            [rate(state), odometer_quantiles(state, state.last_time_days + 90.0, LEVELS)[0]]
        )
        assert np.all(np.isfinite(values))
        assert np.all(values >= 0.0)


def test_a_vehicle_that_never_moved_is_slow_and_its_odometer_near():
    state = one(np.arange(12) * 30.0, [777.0] * 12)
    assert rate(state)[1] < 3.0
    assert odometer_quantiles(state, state.last_time_days + 90.0, LEVELS)[0, 1] < 777.0 + 300.0


def test_parking_lowers_the_rate_now_more_than_the_long_run():
    """After 120 days at 60 km/d and 120 days parked the vehicle may stay or come back: slow and very wide.

    The next day's own distance varies so much that its mean, kept positive, says little: the rate and a month do.
    """
    state = one(*work([(60.0, 120), (0.0, 120)]))
    soon = gaussian_moments(state, np.array([1.0]))[0][0]
    day, month, year = (
        increment_moments(state, np.array([days]))[0][0] / days for days in (1.0, 30.0, 365.0)
    )
    assert rate(state)[1] < soon < 25.0
    assert day < 30.0
    assert month < 25.0
    assert month < year
    assert 8.0 < year < 45.0
    low, _, high = odometer_quantiles(state, state.last_time_days + 180.0, LEVELS)[0] - state.last_odometer_km
    assert high > 4.0 * low


def test_a_vehicle_that_returns_to_work_is_believed_within_a_few_readings():
    parked = one(*work([(60.0, 120), (0.0, 120)]))
    back = one(*work([(60.0, 120), (0.0, 120), (60.0, 40)]))
    assert rate(parked)[1] < rate(back)[1] < 70.0
    assert rate(back)[1] > 30.0


def test_a_step_in_the_work_is_followed_monotonically_and_within_a_few_readings():
    """40 km/d, then 120: each reading brings the projected quarter nearer; the plain average says 57 after 80 days."""
    quarters = []
    for days in (20, 40, 60, 80, 120):
        state = one(*work([(40.0, 300), (120.0, days)]))
        quarters.append(increment_moments(state, np.array([90.0]))[0][0] / 90.0)
    assert np.all(np.diff(quarters) > 0.0)
    assert quarters[3] > 75.0
    assert quarters[-1] < 130.0


def test_quantiles_are_ordered_and_never_below_the_last_reading():
    time, odometer, offsets = ragged_fleet(5)
    state = filter_readings(time, odometer, offsets, configured_priors(60))
    levels = np.array([0.01, 0.1, 0.5, 0.9, 0.99])
    for days in (0.0, 0.1, 3.0, 30.0, 1000.0):
        quantiles = odometer_quantiles(state, state.last_time_days + days, levels)
        assert np.all(np.diff(quantiles, axis=1) >= 0.0)
        assert np.all(quantiles >= state.last_odometer_km[:, None])
        assert np.all(np.diff(rate_quantiles(state, state.last_time_days + days, levels), axis=1) >= 0.0)


def test_moments_of_many_days_are_those_of_single_days():
    time, odometer, offsets = ragged_fleet(6)
    state = filter_readings(time, odometer, offsets, configured_priors(60))
    days = np.random.default_rng(1).uniform(0.0, 500.0, (60, 4))
    mean, variance = increment_moments(state, days)
    for column in range(4):
        single = increment_moments(state, days[:, column])
        np.testing.assert_array_equal(mean[:, column], single[0])
        np.testing.assert_array_equal(variance[:, column], single[1])


def test_kilometres_in_other_units_change_nothing_but_the_unit():
    time, odometer, offsets = ragged_fleet(7)
    priors = configured_priors(60)
    moved = RatePriors(log_rate=priors.log_rate + np.log(3.0), log_rate_sd=priors.log_rate_sd)
    days = np.full(60, 120.0)
    mean, variance = increment_moments(filter_readings(time, odometer, offsets, priors), days)
    again = increment_moments(filter_readings(time, 3.0 * odometer, offsets, moved), days)
    np.testing.assert_allclose(again[0], 3.0 * mean, rtol=1e-9)
    np.testing.assert_allclose(again[1], 9.0 * variance, rtol=1e-8)


def test_a_finer_instrument_never_leaves_more_doubt_about_the_odometer():
    time, odometer, offsets = ragged_fleet(8)
    fields = {name: getattr(DEFAULT_HYPERPARAMETERS, name) for name in DEFAULT_HYPERPARAMETERS.__slots__}
    doubt = [
        filter_readings(
            time,
            odometer,
            offsets,
            configured_priors(60),
            Hyperparameters(**{**fields, "reading_sd_days": sd}),
        ).variance_odometer
        for sd in (0.02, 0.1, 0.5)
    ]
    assert np.all(doubt[0] <= doubt[1])
    assert np.all(doubt[1] <= doubt[2])


def test_a_hundred_thousand_readings_of_one_vehicle_are_like_one_a_day():
    """Five-minute telematics for a year against the last reading of each day."""
    rng = np.random.default_rng(2)
    time = np.arange(100_000) * 5.0 / 1440.0
    odometer = 10_000.0 + np.cumsum(rng.gamma(0.05, 4.0, time.size))
    daily = np.append(np.flatnonzero(np.diff(np.floor(time))), time.size - 1)
    all_of_them = one(time, odometer)
    few = one(np.insert(time[daily], 0, 0.0), np.insert(odometer[daily], 0, odometer[0]))
    later = all_of_them.last_time_days + 30.0
    ours, thinned = (odometer_quantiles(state, later, LEVELS)[0] for state in (all_of_them, few))
    assert all_of_them.last_odometer_km[0] == few.last_odometer_km[0]
    np.testing.assert_allclose(ours - odometer[-1], thinned - odometer[-1], rtol=0.06)


@pytest.mark.parametrize(
    ("time", "odometer", "offsets"),
    [
        ([0.0, 1.0], [5.0, np.nan], [0, 2]),
        ([0.0, np.inf], [5.0, 6.0], [0, 2]),
        ([1.0, 0.0], [5.0, 6.0], [0, 2]),
        ([0.0, 1.0], [5.0, 6.0], [0, 3]),
        ([0.0, 1.0], [5.0, 6.0], [1, 2]),
    ],
)
def test_what_cannot_be_filtered_is_refused(time, odometer, offsets):
    with pytest.raises(InvalidInputError):
        filter_readings(np.array(time), np.array(odometer), np.array(offsets), configured_priors(1))


def test_a_late_reading_is_refused_by_the_state():
    state = one([0.0, 30.0], [0.0, 900.0])
    with pytest.raises(InvalidInputError):
        update(state, np.array([10.0]), np.array([300.0]), np.array([0, 1]))


def test_hyperparameters_must_be_usable_numbers():
    fields = {name: getattr(DEFAULT_HYPERPARAMETERS, name) for name in DEFAULT_HYPERPARAMETERS.__slots__}
    for name, value in (("reversion_per_day", 0.0), ("noise_sd", -1.0), ("drift_per_day", np.nan)):
        with pytest.raises(InvalidInputError):
            Hyperparameters(**{**fields, name: value})
