"""Vehicles whose use has changed: parked, back at work, given more work.

Readings every five days, worked by dense Gaussian algebra; the expected figures follow from the rates (derived).
"""

import numpy as np
import pytest

from service.engine.arrays import Floats
from service.engine.due.forecast import DueForecast, forecast_due
from service.engine.due.limits import Limit
from tests.engine.due.odometers import DenseOdometer
from tests.engine.due.questions import SIX_MONTHS, compartments, meter


def after(days: Floats, km: Floats, *, km_to_go: float, calendar_days: float = np.nan) -> DueForecast:
    """Forecast on the day of the last reading, for a class that drives 55 km a day."""
    odometer = DenseOdometer(
        reading_days=tuple(days), reading_km=tuple(km), km_per_day=float(np.exp(4.0)), level_walk=9e-5
    )
    limits = compartments(distance_km=km[-1] + km_to_go, calendar_days_ahead=calendar_days)
    return forecast_due(limits, meter(odometer.moments, km[-1]), week_end_days=SIX_MONTHS)


def test_one_reading_is_answered_from_the_class_and_widely() -> None:
    """P10, P50 and P90 of an independent filter with the same prior: 56, 130, 375 days (derived)."""
    forecast = after(np.array([0.0]), np.array([50_000.0]), km_to_go=6000.0)
    np.testing.assert_allclose(forecast.days_ahead[0], [56.0, 130.0, 375.0], atol=0.5)


def test_a_parked_vehicle_has_a_wide_late_date_and_the_calendar_wins() -> None:
    """120 days at 60 km a day, then 120 still: later than 6000 / 30 days, 30 being the rate of all 240 days."""
    days = np.arange(0.0, 241.0, 5.0)
    km = 60.0 * np.minimum(days, 120.0)
    forecast = after(days, km, km_to_go=6000.0)
    low, middle, high = forecast.days_ahead[0]
    assert 200.0 < middle < 300.0
    assert high / low > 2.5
    with_calendar = after(days, km, km_to_go=6000.0, calendar_days=60.0)
    np.testing.assert_array_equal(with_calendar.days_ahead[0], 60.0)
    assert with_calendar.biting_limit[0] == Limit.CALENDAR


def test_a_vehicle_back_at_work_lies_between_its_rate_now_and_its_long_run() -> None:
    """Back at 60 km a day for 40 days after 120 still ones: between 6000 / 60 and 6000 / 34 days."""
    days = np.arange(0.0, 281.0, 5.0)
    km = 60.0 * (np.minimum(days, 120.0) + np.maximum(days - 240.0, 0.0))
    forecast = after(days, km, km_to_go=6000.0)
    assert 100.0 < forecast.days_ahead[0, 1] < 176.0


def test_a_step_in_use_is_followed_monotonically() -> None:
    """40 to 120 km a day on day 160: at day 240 earlier than the plain average's 90 days, then towards 50."""
    medians = []
    for last_day in (240.0, 270.0, 300.0, 330.0, 360.0):
        days = np.arange(0.0, last_day + 1.0, 5.0)
        km = 40.0 * days + 80.0 * np.maximum(days - 160.0, 0.0)
        medians.append(after(days, km, km_to_go=6000.0).days_ahead[0, 1])
    assert medians[0] < 90.0
    assert (np.diff(medians) < 0.0).all()
    assert medians[-1] > 50.0


@pytest.mark.parametrize("overdue_km", [0.0, 250.0])
def test_an_overdue_vehicle_is_due_now_however_it_is_used(overdue_km: float) -> None:
    days = np.array([0.0, 30.0])
    forecast = after(days, np.array([1000.0, 3000.0]), km_to_go=-overdue_km)
    np.testing.assert_array_equal(forecast.days_ahead[0], 0.0)
