"""Dates where the days of a week differ: the exact gamma law of `scipy.stats.gamma` as reference."""

import numpy as np
from scipy import optimize, stats

from service.engine.arrays import Floats, Integers
from service.engine.due.forecast import forecast_due
from tests.engine.due.questions import SIX_MONTHS, compartments, meter

KM_PER_DAY, KM2_PER_DAY = 40.0, 1000.0
WORKDAY, WEEKEND = 1.3, 0.25


def working_days(days: Floats) -> Floats:
    """A clock that runs fast from Monday to Friday and slowly at the weekend; one with the calendar over a week."""
    since = np.mod(days, 7.0)
    return days - since + WORKDAY * np.minimum(since, 5.0) + WEEKEND * np.maximum(since - 5.0, 0.0)


def moments(rows: Integers, days: Floats) -> tuple[Floats, Floats]:
    clock = working_days(days) + 0.0 * rows
    return KM_PER_DAY * clock, KM2_PER_DAY * clock


def test_dates_see_the_days_between_the_ends_of_weeks() -> None:
    """Dates of 100 limits, near and far, within .12 day (cube root, derived).

    Interpolation from one end of a week to the next would be up to .9 day off.
    """
    levels_km = np.linspace(1000.0, 30_000.0, 100)
    forecast = forecast_due(compartments(distance_km=levels_km), meter(moments), week_end_days=SIX_MONTHS)

    def surplus(days: float, level_km: float, probability: float) -> float:
        shape = KM_PER_DAY**2 / KM2_PER_DAY * working_days(np.array(days))
        return float(stats.gamma.sf(level_km, shape, scale=KM2_PER_DAY / KM_PER_DAY)) - probability

    for place, probability in enumerate((0.1, 0.5, 0.9)):
        exact = [optimize.brentq(surplus, 1.0, 1000.0, args=(level, probability)) for level in levels_km]
        np.testing.assert_allclose(forecast.days_ahead[:, place], exact, atol=0.12)
