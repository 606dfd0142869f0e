"""The shared week: found where readings lie days apart and a class keeps one, not elsewhere."""

import numpy as np
import pytest

from service.engine.usage.season import NO_SEASON, Season, fit_season, fit_seasons, seasons_of_vehicles
from service.engine.usage.week import EVEN_WEEK, days_by_week, days_of_calendar, fit_week

WORK_WEEK = np.array([1.3, 1.3, 1.25, 1.3, 1.2, 0.45, 0.2])


def fleet(rng, n, days, factors, mean_gap_days, shape=1.0):
    """Daily gamma distances of vehicles of different rates, read at any hour."""
    time, km, counts = [], [], []
    for _ in range(n):
        daily = rng.uniform(20, 120) * rng.gamma(shape, 1.0 / shape, days) * factors[np.arange(days) % 7]
        at = np.cumsum(rng.gamma(4.0, mean_gap_days / 4.0, int(1.5 * days / mean_gap_days)))
        at = at[at < days]
        time.append(at)
        km.append(np.interp(at, np.arange(days + 1), np.concatenate([[0.0], np.cumsum(daily)])))
        counts.append(at.size)
    return np.concatenate(time), np.concatenate(km), np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)


def test_a_common_week_is_found_with_its_factors():
    found = fit_week(*fleet(np.random.default_rng(1), 60, 200, WORK_WEEK, 1.5))
    assert np.mean(found) == pytest.approx(1.0)
    np.testing.assert_allclose(found, WORK_WEEK / np.mean(WORK_WEEK), atol=0.12)


def test_without_a_week_hardly_any_is_found():
    found = fit_week(*fleet(np.random.default_rng(2), 60, 200, np.ones(7), 1.5))
    assert np.max(np.abs(np.array(found) - 1.0)) < 0.05


def test_monthly_readings_and_few_vehicles_know_nothing_of_weekdays():
    rng = np.random.default_rng(3)
    assert fit_week(*fleet(rng, 60, 900, WORK_WEEK, 30.0)) == EVEN_WEEK
    assert fit_week(*fleet(rng, 10, 200, WORK_WEEK, 1.5)) == EVEN_WEEK
    assert fit_week(np.zeros(0), np.zeros(0), np.zeros(1, dtype=np.int64)) == EVEN_WEEK


def test_the_clock_runs_with_the_week_and_back():
    """Derived: after whole weeks both clocks agree; a day moves the clock by its factor."""
    factors = tuple((WORK_WEEK / np.mean(WORK_WEEK)).tolist())
    days = np.arange(-14.0, 30.0)
    clock = days_by_week(days, factors)
    np.testing.assert_allclose(np.diff(clock), np.array(factors)[np.arange(-14, 29) % 7], atol=1e-12)
    np.testing.assert_allclose(clock[::7], days[::7], atol=1e-12)
    any_time = np.random.default_rng(4).uniform(0.0, 20_000.0, 500)
    np.testing.assert_allclose(
        days_of_calendar(days_by_week(any_time, factors), factors), any_time, atol=1e-8
    )


def test_week_and_year_go_together_and_back():
    factors = tuple((WORK_WEEK / np.mean(WORK_WEEK)).tolist())
    season = Season(sine=(0.3, 0.0), cosine=(0.1, 0.05), weekday_factor=factors)
    time = np.random.default_rng(5).uniform(0.0, 20_000.0, 400)
    clock = season.operational_days(time)
    np.testing.assert_allclose(season.calendar_days(clock), time, atol=1e-6)
    mixed = seasons_of_vehicles((season, NO_SEASON), np.array([0, 1] * 200))
    assert not mixed.is_flat
    np.testing.assert_allclose(mixed.operational_days(time)[::2], clock[::2])
    np.testing.assert_allclose(mixed.operational_days(time)[1::2], time[1::2])
    rows = np.array([3, 8])
    np.testing.assert_allclose(mixed.take(rows).operational_days(time[rows]), [time[3], clock[8]])


def test_a_class_with_a_week_keeps_it_to_itself_where_the_other_has_its_own():
    rng = np.random.default_rng(6)
    parts = [fleet(rng, 40, 200, factors, 1.5) for factors in (WORK_WEEK, WORK_WEEK[::-1])]
    time, km = (np.concatenate([part[place] for part in parts]) for place in (0, 1))
    offsets = np.concatenate([parts[0][2], parts[0][2][-1] + parts[1][2][1:]])
    first, second, third = fit_seasons(time, km, offsets, np.repeat([0, 1], 40), 3)
    assert first.weekday_factor[0] > 1.0 > second.weekday_factor[0]
    assert third == fit_season(time, km, offsets)
