"""Histories of different lengths in one flat array: checking them and picking one reading a period."""

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers
from service.errors import InvalidInputError


def check_readings(time_days: Floats, odometer_km: Floats, offsets: Integers) -> None:
    """Refuse readings that are not finite or not in order of time within each vehicle.

    Raises
    ------
    InvalidInputError
        If the shapes disagree, a value is not finite or a vehicle's times decrease.
    """
    check_offsets(time_days, odometer_km, offsets)
    if not bool(np.all(np.isfinite(time_days)) and np.all(np.isfinite(odometer_km))):
        raise InvalidInputError.at("/odometer_km", "times and readings must be finite numbers")
    if bool(np.any(within_vehicles(time_days[1:] < time_days[:-1], offsets))):
        raise InvalidInputError.at("/time_days", "must not decrease within a vehicle")


def check_offsets(time_days: Floats, odometer_km: Floats, offsets: Integers) -> None:
    """Refuse histories whose shapes disagree, whatever they hold.

    Raises
    ------
    InvalidInputError
        If the offsets do not cut the readings into vehicles.
    """
    if offsets.ndim != 1 or offsets.size < 1 or offsets[0] != 0 or bool(np.any(np.diff(offsets) < 0)):
        raise InvalidInputError.at("/offsets", "must start at 0 and never decrease")
    if time_days.shape != odometer_km.shape or time_days.ndim != 1 or offsets[-1] != time_days.size:
        raise InvalidInputError.at("/offsets", "must end at the number of readings")


def within_vehicles(steps: Booleans, offsets: Integers) -> Booleans:
    """Unmark, in place, the steps that lead from one vehicle's last reading to the next one's first.

    `steps` has shape (r - 1,), one from each of r readings to the next; without readings it is empty as well.
    """
    between = offsets[1:-1]
    steps[between[(between > 0) & (between <= steps.size)] - 1] = False
    return steps


def first_of_each_period(
    time_days: Floats,
    offsets: Integers,
    first_time_days: Floats,
    previous_time_days: Floats,
    period_days: Floats,
) -> Booleans:
    """Mark the first reading of every vehicle in each period since its first reading.

    Parameters
    ----------
    time_days : shape (r,)
        Times of all readings, in order within each vehicle. [d]
    offsets : shape (n + 1,)
        Where each vehicle's readings begin.
    first_time_days, previous_time_days : shape (n,)
        Time of each vehicle's very first reading, and of the last one marked before these; NaN where there is
        none yet. [d]
    period_days : shape (n,)
        Length of the periods. [d]

    Returns
    -------
    ndarray, shape (r,), bool

    Notes
    -----
    Distances over a few days vary by trips and weekdays, of which the filter knows nothing; histories that are
    read every day or week are projected better from fewer readings, with the last one taken in at the end.
    """
    some = np.flatnonzero(np.diff(offsets) > 0)
    marked = np.ones(time_days.size, dtype=np.bool_)
    if some.size == 0:
        return marked
    starts = offsets[:-1][some]
    origin = np.where(np.isnan(first_time_days[some]), time_days[starts], first_time_days[some])
    # A gap of a whole period always leads to another one: only shorter gaps need a closer look.
    is_close = time_days[1:] - time_days[:-1] < np.max(period_days[some])
    close = np.flatnonzero(within_vehicles(is_close, offsets)) + 1
    owner = np.searchsorted(starts, close, side="right") - 1
    length = period_days[some]
    period = np.floor((time_days[close] - origin[owner]) / length[owner])
    marked[close] = period != np.floor((time_days[close - 1] - origin[owner]) / length[owner])
    before = np.floor((previous_time_days[some] - origin) / length)
    marked[starts] = before != np.floor((time_days[starts] - origin) / length)
    return marked


def select(mask: Booleans, offsets: Integers) -> Integers:
    """Offsets of the readings that a mask keeps."""
    left_out = np.flatnonzero(~mask)
    return offsets - np.searchsorted(left_out, offsets)


def of_vehicles(rows: Integers, offsets: Integers) -> tuple[Integers, Integers]:
    """Positions of the readings of some vehicles, one vehicle after the other, and where each one's begin."""
    counts = np.diff(offsets)[rows]
    begins = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    positions = np.arange(begins[-1]) + np.repeat(offsets[:-1][rows] - begins[:-1], counts)
    return positions, begins


def time_major(values: Floats, starts: Integers, ends: Integers) -> tuple[Floats, Integers]:
    """Lay out the steps of ragged values, the k-th one of every vehicle in row k.

    Parameters
    ----------
    values : ndarray, shape (r,), float64
        Values of all vehicles.
    starts, ends : ndarray, shape (b,), int64
        Where each vehicle's values begin and end, after one that comes before them; those with most values first.

    Returns
    -------
    steps : ndarray, shape (k, b), float64
        Differences from one value to the next; arbitrary beyond a vehicle's values.
    n_active : ndarray, shape (k,), int64
        How many vehicles have a k-th value.
    """
    counts = ends - starts
    n_steps = int(counts[0])
    at = starts + np.arange(n_steps)[:, None]
    rows = values.take(at, mode="clip")
    steps = np.empty_like(rows)
    np.subtract(rows[0], values[starts - 1], out=steps[0])
    np.subtract(rows[1:], rows[:-1], out=steps[1:])
    return steps, count_active(counts)


def count_active(counts: Integers) -> Integers:
    """How many vehicles have a k-th value, shape (k,), given how many each has, most first."""
    steps = np.arange(int(counts[0]))
    return counts.size - np.searchsorted(counts[::-1], steps, side="right").astype(np.int64)
