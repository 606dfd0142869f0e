"""Forecasting a fleet's own past, many times over: what came, and what the filter would have said."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.usage.filter import dynamics_of, memory_of
from service.engine.usage.hyperparameters import DEFAULT_HYPERPARAMETERS, Hyperparameters
from service.engine.usage.initial import MEMORY_OF_STATE, NUMBERS_OF_STATE, initial_state
from service.engine.usage.kernel import MOMENTS, assimilate, propagate
from service.engine.usage.origins import Origins, rolling_origins
from service.engine.usage.predict import increment_moments
from service.engine.usage.priors import RatePriors
from service.engine.usage.ragged import first_of_each_period, of_vehicles, select, time_major
from service.engine.usage.state import UsageState

HORIZONS_DAYS: Final = (30.0, 90.0, 180.0, 365.0)
# Common practice, no source: more of either makes little difference to what is fitted.
LEAST_READINGS: Final = 5
ORIGINS_PER_VEHICLE: Final = 3
MOST_VEHICLES: Final = 300
MOST_READINGS: Final = 40
"""Of a long history the end counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """Histories laid out for filtering them again and again, and p exercises in forecasting.

    Attributes
    ----------
    gap_days, gap_km : shape (k, n)
        Steps between readings, time-major; vehicles with most readings first.
    n_active : shape (k,)
        How many vehicles have a reading at each step.
    priors : RatePriors, shape (n,)
        Of the vehicles in this order.
    places : shape (o,)
        Where each of o origins stands in the steps: step number times n plus vehicle, ascending.
    known : UsageState, shape (o,)
        Times, odometers and counts at the origins; its other columns are replaced.
    origin, vehicle : shape (p,)
        Origin and vehicle of each exercise.
    horizon_days, days, distance_km : shape (p,)
        Horizon that an exercise stands for, and what came.
    """

    gap_days: Floats
    gap_km: Floats
    n_active: Integers
    priors: RatePriors
    places: Integers
    known: UsageState
    origin: Integers
    vehicle: Integers
    horizon_days: Floats
    days: Floats
    distance_km: Floats

    def moments(self, hyperparameters: Hyperparameters) -> tuple[Floats, Floats]:
        """Mean and variance that the filter would have given for each exercise, as `increment_moments`."""
        every = initial_state(self.priors, hyperparameters)
        n = len(every)
        rows = np.arange(n)
        memory, dynamics = memory_of(every, rows), dynamics_of(every, rows)
        moments = np.empty((len(MOMENTS), self.places.size))
        ends = np.searchsorted(self.places, np.arange(1, self.gap_days.shape[0] + 1) * n)
        begin = 0
        for k, end in enumerate(ends.tolist()):
            size = int(self.n_active[k])
            memory, dynamics = memory.prefix(size), dynamics.prefix(size)
            propagate(memory, dynamics, self.gap_days[k, :size])
            assimilate(memory, dynamics, self.gap_km[k, :size])
            here = self.places[begin:end] - k * n
            moments[:, begin:end] = memory.matrix[: len(MOMENTS)].take(here, axis=1)
            begin = end
        columns = {MEMORY_OF_STATE[name]: row for name, row in zip(MOMENTS, moments, strict=True)}
        owner = self.places % n
        numbers = {name: getattr(every, name)[owner] for name in NUMBERS_OF_STATE}
        at_origins = replace(self.known, **columns, **numbers)
        return increment_moments(at_origins.take(self.origin), self.days)


def rehearse(
    time_days: Floats, odometer_km: Floats, offsets: Integers, priors: RatePriors, period_days: float
) -> Rehearsal | None:
    """Set up exercises along the histories of a fleet, of evenly spread vehicles if there are many.

    Parameters
    ----------
    time_days, odometer_km, offsets, priors
        Accepted readings of n vehicles, as for `filter_readings`.
    period_days
        Of the readings in each period so long since a vehicle's first, one is looked at. [d]

    Returns
    -------
    Rehearsal or None
        None where no vehicle has a past to forecast from.

    Notes
    -----
    Each history is filtered once, whatever the number of its origins.
    """
    able = np.flatnonzero(np.diff(offsets) > LEAST_READINGS)
    able = _evenly(able, 2 * MOST_VEHICLES)
    at, offsets = of_vehicles(able, offsets)
    time_days, odometer_km, priors = time_days[at], odometer_km[at], priors.take(able)
    n = offsets.size - 1
    unknown = np.full(n, np.nan)
    used = first_of_each_period(time_days, offsets, unknown, unknown, np.full(n, period_days))
    until_end = np.repeat(select(used, offsets)[1:], np.diff(offsets)) - np.cumsum(used)
    used &= until_end < MOST_READINGS
    time, km, own = time_days[used], odometer_km[used], select(used, offsets)
    origins = rolling_origins(time, own, np.array(HORIZONS_DAYS), LEAST_READINGS, ORIGINS_PER_VEHICLE)
    able = _evenly(np.unique(origins.vehicle), MOST_VEHICLES)
    if able.size == 0:
        return None
    counts = np.diff(own)[able]
    able = able[np.argsort(-counts, kind="stable")]
    return _laid_out(time, km, own, able, origins, priors)


def _evenly(rows: Integers, most: int) -> Integers:
    """Keep at most so many, evenly spread."""
    if rows.size <= most:
        return rows
    return rows[np.unique(np.linspace(0, rows.size - 1, most).astype(np.int64))]


def _laid_out(
    time: Floats, km: Floats, offsets: Integers, able: Integers, origins: Origins, priors: RatePriors
) -> Rehearsal:
    """Lay out the histories of some vehicles and the exercises that concern them."""
    starts, ends = offsets[:-1][able] + 1, offsets[1:][able]
    gap_days, n_active = time_major(time, starts, ends)
    gap_km, _ = time_major(km, starts, ends)
    column = np.full(offsets.size - 1, -1, dtype=np.int64)
    column[able] = np.arange(able.size)
    keep = np.flatnonzero(column[origins.vehicle] >= 0)
    vehicle, origin, target = column[origins.vehicle[keep]], origins.origin[keep], origins.target[keep]
    step = origin - starts[vehicle]
    places, origin_of_exercise = np.unique(step * able.size + vehicle, return_inverse=True)
    owner = places % able.size
    at = starts[owner] + places // able.size
    first = starts[owner] - 1
    return Rehearsal(
        gap_days=gap_days,
        gap_km=gap_km,
        n_active=n_active,
        priors=priors.take(able),
        places=places,
        known=_known(time, km, first, at, priors.take(able[owner])),
        origin=origin_of_exercise.astype(np.int64),
        vehicle=vehicle,
        horizon_days=origins.horizon_days[keep],
        days=time[target] - time[origin],
        distance_km=km[target] - km[origin],
    )


def _known(time: Floats, km: Floats, first: Integers, at: Integers, priors: RatePriors) -> UsageState:
    """Columns of a state that readings alone decide."""
    n_readings = (at - first + 1).astype(np.float64)
    return replace(
        initial_state(priors, DEFAULT_HYPERPARAMETERS),
        n_readings=n_readings, n_used=n_readings,
        first_time_days=time[first], first_odometer_km=km[first],
        used_time_days=time[at], used_odometer_km=km[at],
        last_time_days=time[at], last_odometer_km=km[at],
    )  # fmt: skip
