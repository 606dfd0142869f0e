"""A fast generator of large invented fleets as arrays, for load tests and benchmarks.

The process is that of the demo's fleet (`seed_demo`), taken from reading to reading instead of from day to day, so
that the cost is one draw a reading: over a gap of Δ days between two readings of vehicle i

    km = rate · v² · Gamma((Δ − parked) / v²),   rate = b_i · r_i · S(mid-gap) · e^{x − s²/2}

    x       Ornstein-Uhlenbeck, sampled exactly at the middles of the gaps: correlation 0.85^{Δ/7}
    parked  with probability 1 − e^{−Δ/194} the smaller of Δ and an exponential spell of mean 14 days
    r_i     1, and for one vehicle in four e^{N(0, 0.5²)} from a random day on
    gaps    gamma (shape 3), scaled so that the readings spread over two years
    number  rounded down to 1, 10 or 100 km, as the vehicle's drivers do
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from seed_demo.blueprints import BLUEPRINTS
from seed_demo.process import WEEK_TO_WEEK_CORRELATION, Floats
from seed_demo.readings import GAP_SHAPE
from service.errors import InvalidInputError

SPAN_DAYS: Final = 730.0
LATER_DAYS: Final = 90.0
MOST_KM_PER_DAY: Final = 1500.0
N_COMPARTMENTS: Final = 3
LONGEST_UNSERVICED_DAYS: Final = 1400.0
CHUNK_VEHICLES: Final = 20_000
CLASSES: Final = tuple(BLUEPRINTS)
SHARE_OF_CLASS: Final = (0.30, 0.30, 0.20, 0.10, 0.06, 0.04)
ROUNDED_TO_KM: Final = (1.0, 10.0, 100.0)
SHARE_OF_ROUNDING: Final = (0.80, 0.15, 0.05)
KM_OF_PURE_HOUR_LIMITS: Final = 5_000.0
"""What stands in for the distance of an interval that has none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LargeFleet:
    """Arrays over vehicles, and over readings as (values, offsets); times are days since `epoch`."""

    epoch: datetime
    now_days: float
    class_names: tuple[str, ...]
    class_index: NDArray[np.int8]
    offsets: NDArray[np.int64]
    """Shape (n_vehicles + 1,): the readings of vehicle i are [offsets[i], offsets[i + 1])."""
    time_days: Floats
    odometer_km: Floats
    true_odometer_now_km: Floats
    true_odometer_later_km: Floats
    """Ninety days after now."""
    kind_names: tuple[str, ...]
    kind_index: NDArray[np.int8]
    """Shape (n_vehicles, 3), as are the five below."""
    total_litres: Floats
    drainable_litres: Floats
    interval_km: Floats
    last_service_days: Floats
    last_service_odometer_km: Floats


@dataclass(frozen=True, slots=True)
class _Part:
    class_index: NDArray[np.int8]
    time_days: Floats
    odometer_km: Floats
    now_km: Floats
    later_km: Floats
    used_share: Floats
    base_km_per_day: Floats


def build_fleet_of(n_vehicles: int, n_readings: int, now: datetime, seed: int = 7) -> LargeFleet:
    """Draw a fleet with the same number of readings for every vehicle; the same one for the same arguments."""
    if n_vehicles < 1 or n_readings < 1 or now.tzinfo is None:
        raise InvalidInputError("A fleet needs vehicles, readings and a moment with its offset from UTC.")
    epoch = now.astimezone(UTC) - timedelta(days=SPAN_DAYS)
    parts = list(_draw_parts(n_vehicles, n_readings, float(epoch.timetuple().tm_yday), seed))
    class_index = np.concatenate([part.class_index for part in parts])
    now_km: Floats = np.concatenate([part.now_km for part in parts])
    base: Floats = np.concatenate([part.base_km_per_day for part in parts])
    kind_names = tuple(
        sorted({item.kind.value for plan in BLUEPRINTS.values() for item in plan.compartments})
    )
    kinds, total, drainable, interval = _compartments_of(class_index, kind_names)
    since_service = np.concatenate([part.used_share for part in parts]) * interval
    since_service = np.minimum(
        since_service, np.minimum(0.9 * now_km, LONGEST_UNSERVICED_DAYS * base)[:, None]
    )
    return LargeFleet(
        epoch=epoch,
        now_days=SPAN_DAYS,
        class_names=tuple(vehicle_class.value for vehicle_class in CLASSES),
        class_index=class_index,
        offsets=np.arange(n_vehicles + 1, dtype=np.int64) * n_readings,
        time_days=np.concatenate([part.time_days for part in parts]),
        odometer_km=np.concatenate([part.odometer_km for part in parts]),
        true_odometer_now_km=now_km,
        true_odometer_later_km=np.concatenate([part.later_km for part in parts]),
        kind_names=kind_names,
        kind_index=kinds,
        total_litres=total,
        drainable_litres=drainable,
        interval_km=interval,
        last_service_days=SPAN_DAYS - since_service / base[:, None],
        last_service_odometer_km=np.floor(now_km[:, None] - since_service),
    )


def _draw_parts(n_vehicles: int, n_readings: int, first_day_of_year: float, seed: int) -> Iterator[_Part]:
    for number, first in enumerate(range(0, n_vehicles, CHUNK_VEHICLES)):
        rng = np.random.default_rng([seed, 9, number])
        yield _draw_part(min(CHUNK_VEHICLES, n_vehicles - first), n_readings, first_day_of_year, rng)


def _draw_part(n: int, n_readings: int, first_day_of_year: float, rng: np.random.Generator) -> _Part:
    habits = [BLUEPRINTS[vehicle_class].habit for vehicle_class in CLASSES]
    class_index = rng.choice(len(CLASSES), size=n, p=SHARE_OF_CLASS).astype(np.int8)
    log_median = np.log([habit.km_per_day for habit in habits])[class_index]
    log_sd = np.array([habit.base_log_sd for habit in habits])[class_index]
    base = np.asarray(np.exp(log_median + log_sd * rng.standard_normal(n)), dtype=np.float64)

    times = _draw_times(n, n_readings, rng)
    gaps = np.diff(times, axis=1)
    middles = times[:, :-1] + gaps / 2.0
    amplitude = np.array([habit.season_amplitude for habit in habits])[class_index, None]
    peak = np.array([habit.season_peak_day for habit in habits])[class_index, None]
    rate = base[:, None] * (
        1.0 + amplitude * np.cos(2.0 * np.pi * (middles + first_day_of_year - peak) / 365.25)
    )
    rate *= _route_factors(middles, rng)
    rate *= _busy_factors(middles, np.array([habit.weekly_log_sd for habit in habits])[class_index], rng)
    variance = np.array([habit.daily_variation for habit in habits])[class_index, None] ** 2
    is_parked = rng.random(gaps.shape) < 1.0 - np.exp(-gaps / 194.0)
    active = gaps - np.where(is_parked, np.minimum(rng.exponential(14.0, gaps.shape), gaps), 0.0)
    km = np.minimum(rate * variance * rng.standard_gamma(active / variance), MOST_KM_PER_DAY * gaps)

    true_km = (base * rng.uniform(365.0, 2200.0, n))[:, None] + np.cumsum(km, axis=1)
    step = rng.choice(ROUNDED_TO_KM, size=n, p=SHARE_OF_ROUNDING)[:, None]
    return _Part(
        class_index=class_index,
        time_days=times[:, 1 : n_readings + 1].ravel(),
        odometer_km=(np.floor(true_km[:, :n_readings] / step) * step).ravel(),
        now_km=true_km[:, n_readings],
        later_km=true_km[:, n_readings + 1],
        used_share=rng.uniform(0.02, 0.98, (n, N_COMPARTMENTS)),
        base_km_per_day=base,
    )


def _draw_times(n: int, n_readings: int, rng: np.random.Generator) -> Floats:
    """Start, readings, now and later, in days since the start; shape (n, n_readings + 3)."""
    gaps = rng.standard_gamma(GAP_SHAPE, (n, n_readings + 1))
    ends = np.cumsum(gaps, axis=1)
    times = np.empty((n, n_readings + 3))
    times[:, 0] = 0.0
    times[:, 1:-1] = ends * (SPAN_DAYS / ends[:, -1:])
    times[:, -1] = SPAN_DAYS + LATER_DAYS
    return times


def _route_factors(middles: Floats, rng: np.random.Generator) -> Floats:
    n = middles.shape[0]
    chances, steps = rng.random((n,)), 0.5 * rng.standard_normal((n,))
    factor = np.exp(np.where(chances < 0.25, steps, 0.0))
    changed = rng.uniform(0.1 * SPAN_DAYS, SPAN_DAYS, (n,))
    return np.where(middles >= changed[:, None], factor[:, None], 1.0)


def _busy_factors(middles: Floats, log_sd: Floats, rng: np.random.Generator) -> Floats:
    shocks = rng.standard_normal(middles.shape)
    kept = WEEK_TO_WEEK_CORRELATION ** (np.diff(middles, axis=1) / 7.0)
    deviation = shocks.copy()
    for k in range(1, middles.shape[1]):
        keep = kept[:, k - 1]
        deviation[:, k] = keep * deviation[:, k - 1] + np.sqrt(1.0 - keep**2) * shocks[:, k]
    return np.asarray(np.exp(log_sd[:, None] * deviation - log_sd[:, None] ** 2 / 2.0), dtype=np.float64)


def _compartments_of(
    class_index: NDArray[np.int8], kind_names: tuple[str, ...]
) -> tuple[NDArray[np.int8], Floats, Floats, Floats]:
    """Spread the first three compartments of each class (the first again where there are two) over the fleet."""
    described = (BLUEPRINTS[vehicle_class].compartments for vehicle_class in CLASSES)
    plans = [(*items, items[0])[:N_COMPARTMENTS] for items in described]
    kinds = np.array([[kind_names.index(item.kind.value) for item in plan] for plan in plans], dtype=np.int8)
    total = np.array([[item.total_litres for item in plan] for plan in plans])
    drainable = np.array([[item.drainable_litres for item in plan] for plan in plans])
    interval = np.array([[item.interval_km or KM_OF_PURE_HOUR_LIMITS for item in plan] for plan in plans])
    return kinds[class_index], total[class_index], drainable[class_index], interval[class_index]


def vehicle_name(index: int) -> str:
    """Name a vehicle of a large fleet by its place in the arrays."""
    return f"INVENTED-{index:07d}"
