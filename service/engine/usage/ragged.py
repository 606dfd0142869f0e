"""Histories of different lengths in one flat array: checking them and picking one reading a day."""

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
        backwards = np.diff(time_days) < 0.0
        backwards[first_of_later_vehicles(offsets) - 1] = False
        if bool(np.any(backwards)):
            raise InvalidInputError.at("/time_days", "must not decrease within a vehicle")


def first_of_later_vehicles(offsets: Integers) -> Integers:
    """Positions where a vehicle other than the very first one that has readings begins."""
    inner: Integers = np.unique(offsets[1:-1])
    return np.asarray(inner[(inner > 0) & (inner < offsets[-1])])


def first_of_each_day(time_days: Floats, offsets: Integers, previous_time_days: Floats) -> NDArray[np.bool_]:
    """Mark the first reading of every vehicle and day.

    Parameters
    ----------
    time_days : shape (r,)
        Times of all readings, in order within each vehicle. [d]
    offsets : shape (n + 1,)
        Where each vehicle's readings begin.
    previous_time_days : shape (n,)
        Time of the reading before the first one here, NaN where there is none. [d]

    Returns
    -------
    ndarray, shape (r,), bool
        Later readings of a day add no knowledge of the rate that their reading error does not undo.
    """
    if time_days.size == 0:
        return np.zeros(0, dtype=np.bool_)
    day = np.floor(time_days)
    first = np.ones(time_days.size, dtype=np.bool_)
    first[1:] = day[1:] != day[:-1]
    first[first_of_later_vehicles(offsets)] = True
    some = np.flatnonzero(np.diff(offsets) > 0)
    starts = offsets[:-1][some]
    first[starts] = day[starts] != np.floor(previous_time_days[some])
    return first


def select(mask: NDArray[np.bool_], offsets: Integers) -> Integers:
    """Offsets of the readings that a mask keeps."""
    kept = np.zeros(mask.size + 1, dtype=np.int64)
    np.cumsum(mask, out=kept[1:])
    return kept[offsets]
