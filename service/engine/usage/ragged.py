"""Histories of different lengths in one flat array: checking them and picking one reading a period."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.errors import InvalidInputError

Floats: TypeAlias = NDArray[np.float64]
Integers: TypeAlias = NDArray[np.int64]


def check_readings(time_days: Floats, odometer_km: Floats, offsets: Integers) -> None:
    """Refuse readings that are not finite or not in order of time within each vehicle.

    Raises
    ------
    InvalidInputError
        If the shapes disagree, a value is not finite or a vehicle's times decrease.
    """
    if offsets.ndim != 1 or offsets.size < 1 or offsets[0] != 0 or bool(np.any(np.diff(offsets) < 0)):
        raise InvalidInputError.at("/offsets", "must start at 0 and never decrease")
    if time_days.shape != odometer_km.shape or time_days.ndim != 1 or offsets[-1] != time_days.size:
        raise InvalidInputError.at("/offsets", "must end at the number of readings")
    if not bool(np.all(np.isfinite(time_days)) and np.all(np.isfinite(odometer_km))):
        raise InvalidInputError.at("/odometer_km", "times and readings must be finite numbers")
    if time_days.size > 1:
        backwards = np.flatnonzero(time_days[1:] < time_days[:-1]) + 1
        if not bool(np.all(offsets[np.searchsorted(offsets, backwards)] == backwards)):
            raise InvalidInputError.at("/time_days", "must not decrease within a vehicle")


def first_of_each_period(
    time_days: Floats,
    offsets: Integers,
    first_time_days: Floats,
    previous_time_days: Floats,
    period_days: Floats,
) -> NDArray[np.bool_]:
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
    close = np.flatnonzero(time_days[1:] - time_days[:-1] < np.max(period_days[some])) + 1
    owner = np.searchsorted(starts, close, side="right") - 1
    inside = close > starts[owner]
    close, owner = close[inside], owner[inside]
    length = period_days[some]
    period = np.floor((time_days[close] - origin[owner]) / length[owner])
    marked[close] = period != np.floor((time_days[close - 1] - origin[owner]) / length[owner])
    before = np.floor((previous_time_days[some] - origin) / length)
    marked[starts] = before != np.floor((time_days[starts] - origin) / length)
    return marked


def select(mask: NDArray[np.bool_], offsets: Integers) -> Integers:
    """Offsets of the readings that a mask keeps."""
    kept = np.zeros(mask.size + 1, dtype=np.int64)
    np.cumsum(mask, out=kept[1:])
    return kept[offsets]
