"""The shared yearly season: found where it is, not where it is not."""

import numpy as np
import pytest
from scipy.integrate import quad

from service.engine.usage.season import (
    NO_SEASON,
    YEAR_DAYS,
    Season,
    fit_season,
    fit_seasons,
    seasons_of_vehicles,
)


def fleet(rng, n, years, amplitude, phase=1.2):
    """Gamma distances over irregular gaps whose rate follows one sine a year."""
    time, km, counts = [], [], []
    for _ in range(n):
        at = np.cumsum(rng.gamma(6.0, 5.0, int(years * 16)))
        at = at[at < years * YEAR_DAYS] + rng.uniform(0.0, 30.0)
        w = 2.0 * np.pi / YEAR_DAYS
        clock = at - amplitude / w * np.cos(w * at - phase)
        time.append(at)
        km.append(
            np.cumsum(np.concatenate([[1000.0], rng.gamma(np.diff(clock) / 6.0, 6.0 * rng.uniform(20, 120))]))
        )
        counts.append(at.size)
    return np.concatenate(time), np.concatenate(km), np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)


def test_a_common_season_is_found_with_its_size_and_phase():
    season = fit_season(*fleet(np.random.default_rng(1), 120, 3.0, 0.25))
    assert np.hypot(season.sine[0], season.cosine[0]) == pytest.approx(0.25, abs=0.04)
    assert np.arctan2(-season.cosine[0], season.sine[0]) == pytest.approx(1.2, abs=0.2)
    assert np.hypot(season.sine[1], season.cosine[1]) < 0.04


@pytest.mark.parametrize("phase", [0.0, 0.8, 2.4])
def test_a_season_that_nearly_stops_in_winter_is_found_whatever_its_phase(phase):
    season = fit_season(*fleet(np.random.default_rng(4), 120, 3.0, 0.85, phase))
    assert np.hypot(season.sine[0], season.cosine[0]) == pytest.approx(0.85, abs=0.05)
    assert np.arctan2(-season.cosine[0], season.sine[0]) == pytest.approx(phase, abs=0.1)


def test_no_season_makes_the_clock_stand_still():
    """A tenth of the mean rate is left, and the clock can be read backwards."""
    season = fit_season(*fleet(np.random.default_rng(5), 120, 3.0, 1.0))
    time = np.arange(0.0, 366.0)
    assert 0.1 - 1e-9 <= np.min(season.rate(time)) < 0.2
    np.testing.assert_allclose(season.calendar_days(season.operational_days(time)), time, atol=1e-8)


def test_without_a_season_hardly_any_is_found():
    for seed in range(5):
        season = fit_season(*fleet(np.random.default_rng(seed), 60, 3.0, 0.0))
        assert np.hypot(season.sine[0], season.cosine[0]) < 0.03


def test_too_little_data_support_no_season():
    assert fit_season(*fleet(np.random.default_rng(2), 120, 1.4, 0.25)) == NO_SEASON
    assert fit_season(*fleet(np.random.default_rng(2), 10, 3.0, 0.25)) == NO_SEASON
    assert fit_season(np.zeros(0), np.zeros(0), np.zeros(3, dtype=np.int64)) == NO_SEASON


def test_the_operational_clock_is_the_integral_of_the_rate_and_can_be_read_backwards():
    """Reference: quadrature."""
    season = Season(sine=(0.2, -0.05), cosine=(0.1, 0.08))
    for end in (10.0, 200.0, 900.0):
        expected = quad(lambda t: float(season.rate(np.array(t))), 0.0, end, limit=200)[0]
        clock = season.operational_days(np.array([0.0, end]))
        assert clock[1] - clock[0] == pytest.approx(expected, abs=1e-7)
    time = np.linspace(-500.0, 2000.0, 997)
    np.testing.assert_allclose(season.calendar_days(season.operational_days(time)), time, atol=1e-8)
    np.testing.assert_array_equal(NO_SEASON.operational_days(time), time)


def test_classes_with_enough_vehicles_have_their_own_season_and_the_others_the_fleets():
    rng = np.random.default_rng(3)
    parts = [fleet(rng, 60, 3.0, 0.3, phase) for phase in (0.5, 0.5 + np.pi)] + [fleet(rng, 3, 3.0, 0.0)]
    time, km = (np.concatenate([part[place] for part in parts]) for place in (0, 1))
    counts = np.concatenate([np.diff(part[2]) for part in parts])
    classes = np.repeat([0, 1, 2], [60, 60, 3])
    first, second, third = fit_seasons(time, km, np.concatenate([[0], np.cumsum(counts)]), classes, 3)
    at = np.linspace(0.0, 365.0, 53)
    assert np.corrcoef(first.rate(at), second.rate(at))[0, 1] < -0.9
    assert third == fit_season(time, km, np.concatenate([[0], np.cumsum(counts)]))


def test_every_vehicle_keeps_time_by_its_own_season():
    seasons = (Season(sine=(0.2, 0.0), cosine=(0.1, 0.0)), NO_SEASON)
    own = seasons_of_vehicles(seasons, np.array([1, 0, 0]))
    time = np.array([10.0, 100.0, 300.0])
    clock = own.operational_days(time)
    assert clock[0] == 10.0
    np.testing.assert_array_equal(clock[1:], seasons[0].operational_days(time[1:]))
    np.testing.assert_allclose(own.calendar_days(clock), time, atol=1e-9)
    np.testing.assert_array_equal(own.take(np.array([0, 2])).rate(time[[0, 2]]), own.rate(time)[[0, 2]])
    assert seasons_of_vehicles((NO_SEASON, NO_SEASON), np.array([0, 1])) is NO_SEASON
