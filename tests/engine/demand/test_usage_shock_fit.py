"""The shared swing of a fleet's use, found again in simulated fleets whose truth is known."""

import numpy as np
import pytest

from service.engine.demand.usage_shock import DEFAULT_LOG_SD
from service.engine.demand.usage_shock_fit import PERIOD_DAYS, fit_usage_shock
from service.errors import InvalidInputError


def readings(shared_log_sd: float, n_vehicles: int, n_periods: int, seed: int):
    """Weekly readings: own rates, own ups and downs of 30 % a week, and a factor a period that all share."""
    rng = np.random.default_rng(seed)
    weeks = 4 * n_periods
    shared = np.repeat(np.exp(shared_log_sd * rng.standard_normal(n_periods)), 4)
    own = rng.lognormal(4.0, 0.6, n_vehicles)[:, None] * rng.gamma(11.0, 1 / 11.0, (n_vehicles, weeks))
    km = np.cumsum(7.0 * own * shared, axis=1)
    time = np.tile(7.0 * np.arange(weeks + 1), n_vehicles)
    odometer = np.concatenate([np.zeros((n_vehicles, 1)), km], axis=1).ravel()
    return time, odometer, (weeks + 1) * np.arange(n_vehicles + 1)


def test_a_large_fleet_of_many_years_shows_its_own_swing():
    """120 periods: the standard error of a log standard deviation is 1 / sqrt(2 * 119) of it, 6.5 %."""
    found = [fit_usage_shock(*readings(0.15, 200, 120, seed)) for seed in range(4)]
    expected = np.sqrt((12 * DEFAULT_LOG_SD**2 + 119 * 0.15**2) / (12 + 119))
    assert np.mean(found) == pytest.approx(expected, rel=0.1)


def test_without_a_shared_swing_the_answer_falls_below_the_default_but_never_to_zero():
    found = fit_usage_shock(*readings(0.0, 200, 40, 1))
    assert np.sqrt(12 * DEFAULT_LOG_SD**2 / (12 + 39)) <= found < 0.7 * DEFAULT_LOG_SD


def test_ups_and_downs_of_single_vehicles_are_not_taken_for_a_shared_swing():
    """Twelve vehicles swing by 30 % a week each; their mean swings by some 4 % a period, which is not shared."""
    found = np.mean([fit_usage_shock(*readings(0.0, 12, 60, seed)) for seed in range(6)])
    assert found < 0.7 * DEFAULT_LOG_SD


@pytest.mark.parametrize(("n_vehicles", "n_periods"), [(5, 40), (50, 4), (0, 0)])
def test_too_few_vehicles_or_months_leave_the_default(n_vehicles: int, n_periods: int):
    assert fit_usage_shock(*readings(0.3, n_vehicles, n_periods, 2)) == DEFAULT_LOG_SD


def test_long_gaps_between_readings_teach_nothing():
    time, odometer, offsets = readings(0.3, 50, 40, 3)
    assert fit_usage_shock(time * 6.0, odometer, offsets) == DEFAULT_LOG_SD
    assert PERIOD_DAYS < 6.0 * 7.0


def test_arrays_that_do_not_fit_are_refused():
    time, odometer, offsets = readings(0.1, 3, 2, 4)
    with pytest.raises(InvalidInputError):
        fit_usage_shock(time[:-1], odometer[:-1], offsets)
