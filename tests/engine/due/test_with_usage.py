"""The due forecast on the usage model itself: both must tell the same story of one odometer."""

from itertools import pairwise

import numpy as np
import pytest

from service.engine.arrays import Floats, Integers
from service.engine.due.forecast import forecast_due
from service.engine.due.limits import Meter
from service.engine.usage.filter import filter_readings
from service.engine.usage.predict import increment_moments, odometer_quantiles
from service.engine.usage.priors import configured_priors
from service.engine.usage.state import UsageState
from tests.engine.due.questions import SIX_MONTHS, compartments

N_VEHICLES = 200
AGE_DAYS = 12.0


@pytest.fixture(scope="module")
def state() -> UsageState:
    """Monthly readings of vehicles with rates from 10 to 400 km a day; the first has one reading only."""
    rng = np.random.default_rng(3)
    counts = np.concatenate([[1], rng.integers(2, 20, N_VEHICLES - 1)])
    offsets = np.concatenate([[0], np.cumsum(counts)])
    time_days = np.concatenate([np.cumsum(rng.uniform(15.0, 45.0, count)) for count in counts])
    rate = np.repeat(np.exp(rng.uniform(np.log(10.0), np.log(400.0), N_VEHICLES)), counts)
    odometer_km = np.round(20_000.0 + rate * time_days * rng.uniform(0.97, 1.03, time_days.size))
    for start, end in pairwise(offsets):
        odometer_km[start:end] = np.maximum.accumulate(odometer_km[start:end])
    return filter_readings(time_days, odometer_km, offsets.astype(np.int64), configured_priors(N_VEHICLES))


def odometers(state: UsageState) -> Meter:
    def moments(rows: Integers, days_after_last: Floats) -> tuple[Floats, Floats]:
        mean_km, variance_km2 = increment_moments(state.take(rows), days_after_last.T)
        return mean_km.T, variance_km2.T

    return Meter(
        last_reading=state.last_odometer_km,
        days_since_reading=np.full(N_VEHICLES, AGE_DAYS),
        moments=moments,
    )


def test_at_the_due_date_the_odometer_stands_at_the_limit(state: UsageState) -> None:
    """Due with probability p on day t: the 1 - p quantile of the odometer on day t is the limit, within .02 day."""
    limit_km = state.last_odometer_km + np.linspace(500.0, 20_000.0, N_VEHICLES)
    limits = compartments(vehicle_row=np.arange(N_VEHICLES), distance_km=limit_km)
    days = forecast_due(limits, odometers(state), week_end_days=SIX_MONTHS).days_ahead
    assert np.isfinite(days).mean() > 0.8
    for place, probability in enumerate((0.1, 0.5, 0.9)):
        at_days = state.last_time_days + AGE_DAYS + days[:, place]
        usual = np.isfinite(days[:, place]) & (days[:, place] > 0.0)
        around = [
            odometer_quantiles(
                state, np.where(usual, at_days + shift, state.last_time_days), np.array([1.0 - probability])
            )
            for shift in (-0.02, 0.02)
        ]
        assert (around[0][usual, 0] < limit_km[usual]).all()
        assert (around[1][usual, 0] > limit_km[usual]).all()


def test_a_vehicle_without_readings_is_has_no_distance_date(state: UsageState) -> None:
    """A usage state always has a rate; whether there is a reading to count from is the meter's to say."""
    meter = odometers(state)
    known = meter.last_reading.copy()
    known[5] = np.nan
    blind = Meter(last_reading=known, days_since_reading=meter.days_since_reading, moments=meter.moments)
    limits = compartments(vehicle_row=[4, 5], distance_km=state.last_odometer_km[4:6] + 5000.0)
    days = forecast_due(limits, blind, week_end_days=SIX_MONTHS).days_ahead
    assert np.isfinite(days[0]).any()
    assert np.isnan(days[1]).all()
