"""The seeded random process of use: kilometres and engine hours a day, for all vehicles at once."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LIFE_DAYS: Final = 3653
"""How far back vehicles can have been in service: ten years."""
HISTORY_DAYS: Final = 548
"""The eighteen months that have readings."""
FUTURE_DAYS: Final = 366
"""How far the truth runs ahead of now, for scoring projections."""

WEEK_TO_WEEK_CORRELATION: Final = 0.85
STAY_PARKED_PROBABILITY: Final = 0.55
MOST_HOURS_A_DAY: Final = 18.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """How a class of vehicle is used; the symbols are those of the package's docstring."""

    km_per_day: float
    base_log_sd: float
    season_amplitude: float
    season_peak_day: float
    weekday_weights: tuple[float, ...]
    weekly_log_sd: float
    park_probability: float
    daily_variation: float
    km_per_hour: float | None
    reading_gap_days: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueUsage:
    """What really happened and will happen; row i belongs to vehicle i, column j to midnight UTC of day j."""

    first_on: date
    distance_km: Floats
    """Since the first day in service, whatever the instrument shows. Shape (n_vehicles, n_days + 1)."""
    engine_hours: Floats
    """NaN in the rows of vehicles without an hour meter."""
    base_km_per_day: Floats

    def day_number(self, at: datetime) -> float:
        """Days since the first midnight, with fraction."""
        start = datetime.combine(self.first_on, datetime.min.time(), UTC)
        return (at - start) / timedelta(days=1)

    def at_day(self, day: float) -> datetime:
        """Turn a day number into an instant, to the minute."""
        start = datetime.combine(self.first_on, datetime.min.time(), UTC)
        return start + timedelta(minutes=round(day * 1440.0))

    def distance_km_at(self, row: int, day: float | Floats) -> Floats:
        """Distance since new at day numbers, linear within a day."""
        return interpolate_days(self.distance_km[row], day)

    def engine_hours_at(self, row: int, day: float | Floats) -> Floats:
        """Engine hours since new at day numbers; NaN without an hour meter."""
        return interpolate_days(self.engine_hours[row], day)


@dataclass(frozen=True, slots=True, kw_only=True)
class Exceptions:
    """Vehicles whose history is not left to chance; boolean rows over the fleet."""

    keeps_usual_pace: NDArray[np.bool_]
    """At the median of the class, and not parked from eight weeks ago to four weeks ahead.

    So what is planned to be due is due, and by the limit that was planned.
    """
    parked_lately: NDArray[np.bool_]
    """Standing still for the last hundred days."""
    changes_route: NDArray[np.bool_]


def interpolate_days(edges: Floats, day: float | Floats) -> Floats:
    """Value of a cumulative daily series at day numbers."""
    return np.asarray(np.interp(day, np.arange(edges.size, dtype=np.float64), edges), dtype=np.float64)


def simulate_usage(
    habits: tuple[Habit, ...],
    in_service_on: tuple[date, ...],
    exceptions: Exceptions,
    now: datetime,
    seed: int,
) -> TrueUsage:
    """Draw the whole life of every vehicle, from ten years ago to a year ahead."""
    rng = np.random.default_rng([seed, 1])
    first_on = now.date() - timedelta(days=LIFE_DAYS)
    n_days = LIFE_DAYS + FUTURE_DAYS
    ordinals = first_on.toordinal() + np.arange(n_days)
    log_sd = np.array([habit.base_log_sd for habit in habits])
    deviation = np.where(exceptions.keeps_usual_pace, 0.0, log_sd * rng.standard_normal(len(habits)))
    base = np.exp(np.log([habit.km_per_day for habit in habits]) + deviation)
    km = base[:, None] * _season(habits, first_on, n_days) * _weekdays(habits, ordinals)
    km *= _weeks(habits, exceptions, ordinals, rng)
    km *= _route_factors(exceptions.changes_route, n_days, rng)
    variation = np.array([habit.daily_variation for habit in habits])[:, None]
    km *= rng.gamma(1.0 / variation**2, variation**2, km.shape)
    started = np.array([day.toordinal() for day in in_service_on])
    km[ordinals[None, :] < started[:, None]] = 0.0
    speed: Floats = np.array([habit.km_per_hour or np.nan for habit in habits])[:, None]
    return TrueUsage(
        first_on=first_on,
        distance_km=_cumulate(km),
        engine_hours=_cumulate(np.minimum(km / speed, MOST_HOURS_A_DAY)) + 0.0 * speed,
        base_km_per_day=base,
    )


def _season(habits: tuple[Habit, ...], first_on: date, n_days: int) -> Floats:
    day_of_year = first_on.timetuple().tm_yday + np.arange(n_days, dtype=np.float64)
    peak = np.array([habit.season_peak_day for habit in habits])[:, None]
    amplitude = np.array([habit.season_amplitude for habit in habits])[:, None]
    return np.asarray(1.0 + amplitude * np.cos(2.0 * np.pi * (day_of_year - peak) / 365.25), dtype=np.float64)


def _weekdays(habits: tuple[Habit, ...], ordinals: NDArray[np.int64]) -> Floats:
    weights = np.array([habit.weekday_weights for habit in habits])
    return np.asarray(weights[:, (ordinals - 1) % 7], dtype=np.float64)


def _weeks(
    habits: tuple[Habit, ...], exceptions: Exceptions, ordinals: NDArray[np.int64], rng: np.random.Generator
) -> Floats:
    """Busy and quiet weeks times parked weeks, spread over the days."""
    week = (ordinals - 1) // 7
    week -= week[0]
    n_weeks = int(week[-1]) + 1
    log_sd = np.array([habit.weekly_log_sd for habit in habits])
    begin = np.array([habit.park_probability for habit in habits])
    shocks = rng.standard_normal((n_weeks, len(habits))) * np.sqrt(1.0 - WEEK_TO_WEEK_CORRELATION**2)
    chances = rng.random((n_weeks, len(habits)))
    deviation = rng.standard_normal(len(habits))
    is_parked = np.zeros(len(habits), dtype=np.bool_)
    factors = np.empty((n_weeks, len(habits)))
    for k in range(n_weeks):
        deviation = WEEK_TO_WEEK_CORRELATION * deviation + shocks[k]
        is_parked = chances[k] < np.where(is_parked, STAY_PARKED_PROBABILITY, begin)
        this_week = (LIFE_DAYS - 56) // 7 <= k <= (LIFE_DAYS + 28) // 7 + 1
        stands = is_parked & ~(exceptions.keeps_usual_pace & this_week)
        factors[k] = np.where(stands, 0.0, np.exp(log_sd * deviation - log_sd**2 / 2.0))
    daily = factors[week].T.copy()
    daily[exceptions.parked_lately, LIFE_DAYS - 100 : LIFE_DAYS + 14] = 0.0
    return daily


def _route_factors(changes_route: NDArray[np.bool_], n_days: int, rng: np.random.Generator) -> Floats:
    """Factor 1, and another from a day on that lies inside the history with readings."""
    n_vehicles = changes_route.size
    changed_on = LIFE_DAYS - HISTORY_DAYS + rng.uniform(120.0, HISTORY_DAYS - 90.0, n_vehicles)
    size = 0.35 + np.abs(rng.normal(0.0, 0.25, n_vehicles))
    factor = np.exp(np.where(rng.random(n_vehicles) < 0.5, -size, size))
    is_after = np.arange(n_days)[None, :] >= changed_on[:, None]
    return np.where(is_after & changes_route[:, None], factor[:, None], 1.0)


def _cumulate(daily: Floats) -> Floats:
    return np.concatenate([np.zeros((daily.shape[0], 1)), np.cumsum(daily, axis=1)], axis=1)
