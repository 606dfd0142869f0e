"""The week a fleet shares: on some days it goes further than on others."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.usage.robust import shrunk_fit

WEEK_DAYS: Final = 7
EVEN_WEEK: Final = (1.0,) * WEEK_DAYS
# Common practice, no source: what a week needs before it is believed.
LONGEST_GAP_DAYS: Final = 4.0
LEAST_STEPS: Final = 30
LEAST_VEHICLES: Final = 20
LEAST_FACTOR: Final = 0.1
# Single days are so skew that a narrower limit would cut the busy ones.
HUBER_SDS: Final = 4.0


def days_by_week(time_days: Floats, weekday_factor: Sequence[float | Floats]) -> Floats:
    """Clock on which all days of the week are alike, `weekday_factor` with mean one; times broadcast. [d]."""
    since = np.mod(time_days, WEEK_DAYS)
    clock = time_days - since
    for day, factor in enumerate(weekday_factor):
        clock = clock + factor * np.clip(since - day, 0.0, 1.0)
    return np.asarray(clock)


def days_of_calendar(clock_days: Floats, weekday_factor: Sequence[float | Floats]) -> Floats:
    """Time at which the clock of `days_by_week` shows a value. [d]."""
    since = np.mod(clock_days, WEEK_DAYS)
    time = clock_days - since
    passed: float | Floats = 0.0
    for factor in weekday_factor:
        time = time + np.clip((since - passed) / factor, 0.0, 1.0)
        passed = passed + factor
    return np.asarray(time)


def fit_week(time_days: Floats, odometer_km: Floats, offsets: Integers) -> tuple[float, ...]:
    """Fit how much further than on average the vehicles go on each day of the week.

    Parameters
    ----------
    time_days, odometer_km, offsets
        Accepted readings of n vehicles, as for `filter_readings`.

    Returns
    -------
    tuple of float
        Seven factors with mean one, the first for days whose number is a multiple of seven; all one with fewer
        than `LEAST_VEHICLES` vehicles that have `LEAST_STEPS` steps of at most `LONGEST_GAP_DAYS` days.

    Notes
    -----
    Such distances, relative to the vehicle's average over them, are regressed on the days of the week that
    they cover, see `shrunk_fit`. O(r).
    """
    counts = np.diff(offsets)
    vehicle = np.repeat(np.arange(counts.size), counts)
    gap = np.diff(time_days)
    near = np.flatnonzero((vehicle[1:] == vehicle[:-1]) & (gap > 0.0) & (gap <= LONGEST_GAP_DAYS))
    owner, days, km = vehicle[near], gap[near], odometer_km[near + 1] - odometer_km[near]
    total_days = np.bincount(owner, weights=days, minlength=counts.size)
    total_km = np.bincount(owner, weights=km, minlength=counts.size)
    usable = (np.bincount(owner, minlength=counts.size) >= LEAST_STEPS) & (total_km > 0.0)
    if np.count_nonzero(usable) < LEAST_VEHICLES:
        return EVEN_WEEK
    kept = usable[owner]
    near, owner, days, km = near[kept], owner[kept], days[kept], km[kept]
    response = km * (total_days / np.where(usable, total_km, 1.0))[owner] - days
    covered = _days_covered(time_days[near + 1]) - _days_covered(time_days[near])
    deviation = shrunk_fit(covered, response, 1.0 / days, HUBER_SDS)
    factors = np.maximum(1.0 + deviation - np.mean(deviation), LEAST_FACTOR)
    return tuple((factors / np.mean(factors)).tolist())


def _days_covered(time_days: Floats) -> Floats:
    """How many days of each day of the week have passed since the epoch began, shape (r, 7)."""
    since = np.mod(time_days, WEEK_DAYS)[:, None]
    weeks = ((time_days - since[:, 0]) / WEEK_DAYS)[:, None]
    return np.asarray(weeks + np.clip(since - np.arange(WEEK_DAYS), 0.0, 1.0))
