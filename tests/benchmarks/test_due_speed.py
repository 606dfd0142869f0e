"""How long due forecasts take: 100,000 vehicles with five compartments each, three dates and 26 weeks.

The raw baseline is what no method can do without: the normal distribution function of every compartment and week
end, once. The figure to watch is the ratio to it; it hardly depends on the machine.
"""

import time

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from scipy import special

from service.engine.arrays import Floats, Integers
from service.engine.due.forecast import DueForecast, forecast_due
from service.engine.due.limits import CompartmentLimits, Condition, Meter

pytestmark = pytest.mark.bench

WEEKS = 2.3 + 7.0 * np.arange(26)
THETA, SD_TEMPORARY, SD_WHITE, LEVEL_WALK = 1.0 / 26.0, 0.45, 0.8, 9e-5
RNG = np.random.default_rng(1)


def odometers(n_vehicles: int) -> Meter:
    """Invented vehicles whose rate reverts to a personal level: the moments cost one exponential each."""
    scale = np.exp(RNG.normal(4.0, 0.6, n_vehicles))
    level = np.maximum(RNG.normal(1.0, 0.15, n_vehicles), 0.1)
    temporary = RNG.normal(0.0, 0.3, n_vehicles)

    def moments(rows: Integers, t: Floats) -> tuple[Floats, Floats]:
        phi = np.exp(-THETA * t)
        psi = (1.0 - phi) / THETA
        noise = 2.0 * SD_TEMPORARY**2 / THETA * (t - 2.0 * psi + (1.0 - phi * phi) / (2.0 * THETA))
        noise += SD_WHITE**2 * t + LEVEL_WALK * t * t * t / 3.0 + 0.06 * t * t + 0.18 * psi * psi + 0.01
        return (psi * temporary[rows] + t * level[rows]) * scale[rows], noise * scale[rows] ** 2

    return Meter(
        last_reading=RNG.uniform(1e4, 3e5, n_vehicles),
        days_since_reading=RNG.uniform(0.0, 30.0, n_vehicles),
        moments=moments,
    )


def limits_of(odometer: Meter, *, has_condition: bool) -> CompartmentLimits:
    """Five invented compartments a vehicle, anywhere in their intervals; most have a calendar limit."""
    n_vehicles = odometer.last_reading.size
    n = 5 * n_vehicles
    row = np.repeat(np.arange(n_vehicles), 5)
    interval = np.tile([15e3, 40e3, 60e3, 80e3, 100e3], n_vehicles)
    used = RNG.uniform(0.0, 0.9, n)
    return CompartmentLimits(
        vehicle_row=row,
        distance_km=odometer.last_reading[row] + interval * RNG.uniform(0.0, 1.0, n) - 200.0,
        hours=np.full(n, np.nan),
        calendar_days_ahead=np.where(RNG.random(n) < 0.8, RNG.uniform(-5.0, 900.0, n), np.nan),
        is_contaminated=np.zeros(n, dtype=np.bool_),
        condition=Condition(
            life_used_fraction=used,
            life_used_sd_fraction=0.1 * used,
            life_limit_fraction=np.full(n, 0.8),
            life_per_km=1.0 / interval / 1.2,
            life_per_day=np.full(n, 1.0 / 3650.0),
            life_per_hour=np.zeros(n),
            rate_cv_fraction=np.full(n, 0.3),
        )
        if has_condition
        else None,
    )


def raw_seconds(n: int) -> float:
    """The normal distribution function of n compartments times 26 weeks, in blocks; the best of three."""
    scores = RNG.normal(size=(26, 4096))
    best = np.inf
    for _ in range(3):
        start = time.perf_counter()
        for _ in range(0, n, 4096):
            special.ndtr(scores)
        best = min(best, time.perf_counter() - start)
    return best


@pytest.mark.parametrize("has_condition", [False, True])
@pytest.mark.parametrize("n_vehicles", [20_000, 100_000])
def test_fleet(benchmark: BenchmarkFixture, n_vehicles: int, has_condition: bool) -> None:
    odometer = odometers(n_vehicles)
    limits = limits_of(odometer, has_condition=has_condition)
    forecast: DueForecast = benchmark.pedantic(
        forecast_due, args=(limits, odometer), kwargs={"week_end_days": WEEKS}, rounds=3
    )
    raw = raw_seconds(limits.vehicle_row.size)
    benchmark.extra_info["times_the_raw_baseline"] = round(benchmark.stats.stats.min / raw, 2)
    benchmark.extra_info["compartments_per_second"] = round(
        limits.vehicle_row.size / benchmark.stats.stats.min
    )
    assert np.isfinite(forecast.overdue_probability).all()
