"""What can make a compartment due: the questions put to the forecast."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from enum import IntEnum

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers
from service.errors import InvalidInputError

Moments = Callable[[Integers, Floats], tuple[Floats, Floats]]
"""`moments(rows, days_after_last)`: mean and variance of what a meter adds after its last reading.

`rows` has shape (n,) and names vehicles; `days_after_last` has shape (..., n) and is never negative. Both answers have
the shape of `days_after_last`, in the meter's unit and its square, and depend on nothing but their own row and day.
"""


class Limit(IntEnum):
    """What makes a compartment due; the value is the column in `DueForecast.limit_probability`."""

    NONE = 0  # nothing within the horizon
    DISTANCE = 1
    CALENDAR = 2
    HOURS = 3
    CONDITION = 4
    CONTAMINATION = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """A meter that never falls, one row a vehicle: an odometer in km or an hour meter in h.

    Attributes
    ----------
    last_reading : ndarray, shape (n_vehicles,), float64
        Last accepted reading, in km or h. NaN: the vehicle has none, and its limits on this meter are left out.
    days_since_reading : ndarray, shape (n_vehicles,), float64
        Age of that reading now, not negative. [d]
    moments : Moments
        Mean and variance of the true increment since that reading.
    """

    last_reading: Floats
    days_since_reading: Floats
    moments: Moments


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """How fast the fluid of each compartment ages; every field has shape (n_compartments,), float64.

    Life used is 0 for fresh fluid and 1 at the condemning limit. NaN in `life_used_fraction`: no condition limit.

    Attributes
    ----------
    life_used_fraction, life_used_sd_fraction : ndarray
        Mean and standard deviation of the life used at the vehicle's last odometer reading (now, where it has none).
    life_limit_fraction : ndarray
        Life used at which the fluid is due: 1 less the planning margin.
    life_per_km, life_per_day, life_per_hour : ndarray
        Mean share of life that one km, one day and one engine hour use up.
    rate_cv_fraction : ndarray
        Coefficient of variation of those rates, common to the three.
    """

    life_used_fraction: Floats
    life_used_sd_fraction: Floats
    life_limit_fraction: Floats
    life_per_km: Floats
    life_per_day: Floats
    life_per_hour: Floats
    rate_cv_fraction: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class CompartmentLimits:
    """The limits of each compartment, one row a compartment; NaN says that there is no such limit.

    Attributes
    ----------
    vehicle_row : ndarray, shape (n,), int64
        Row of the compartment's vehicle in the meters. Fastest where the compartments of a vehicle are neighbours.
    distance_km, hours : ndarray, shape (n,), float64
        Meter reading at which the compartment is due. [km], [h]
    calendar_days_ahead : ndarray, shape (n,), float64
        Days from now to the calendar limit, negative where it has passed. [d]
    is_contaminated : ndarray, shape (n,), bool
        Due now, whatever else.
    condition : Condition or None
        The ageing of the fluids.
    """

    vehicle_row: Integers
    distance_km: Floats
    hours: Floats
    calendar_days_ahead: Floats
    is_contaminated: Booleans
    condition: Condition | None = None


def check_limits(limits: CompartmentLimits, n_vehicles: int) -> None:
    """Refuse rows that do not fit together, infinite limits and negative ageing.

    Raises
    ------
    InvalidInputError
        Naming the array.
    """
    n = limits.vehicle_row.size
    if n and not (limits.vehicle_row.min() >= 0 and limits.vehicle_row.max() < n_vehicles):
        raise InvalidInputError.at("vehicle_row", f"every row must name one of the {n_vehicles} vehicles")
    for name in ("distance_km", "hours", "calendar_days_ahead"):
        values: Floats = getattr(limits, name)
        if values.shape != (n,) or np.isinf(values).any():
            raise InvalidInputError.at(name, f"needs {n} finite values, NaN where there is no such limit")
    if limits.is_contaminated.shape != (n,):
        raise InvalidInputError.at("is_contaminated", f"needs {n} values")
    if limits.condition is not None:
        _check_condition(limits.condition, n)


def _check_condition(condition: Condition, n: int) -> None:
    has_life = ~np.isnan(condition.life_used_fraction)
    for field in fields(condition):
        name, values = field.name, getattr(condition, field.name)
        if values.shape != (n,):
            raise InvalidInputError.at(name, f"needs {n} values")
        known = values[has_life]
        if not np.isfinite(known).all() or (known < 0.0).any():
            raise InvalidInputError.at(name, "must be finite and not negative where the life used is known")


def check_meter(meter: Meter, name: str) -> None:
    """Refuse a meter whose columns differ in length or whose reading lies in the future.

    Raises
    ------
    InvalidInputError
        Naming the meter.
    """
    if meter.last_reading.shape != meter.days_since_reading.shape:
        raise InvalidInputError.at(name, "last_reading and days_since_reading need the same length")
    ages = meter.days_since_reading[~np.isnan(meter.last_reading)]
    if not np.isfinite(ages).all() or (ages < 0.0).any():
        raise InvalidInputError.at(name, "the age of a reading must be finite and not negative")
