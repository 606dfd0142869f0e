"""Short ways to ask the due forecast about a few compartments."""

from collections.abc import Sequence

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.due.limits import CompartmentLimits, Condition, Meter, Moments

NO_WEEKS = np.empty(0)
SIX_MONTHS = 3.0 + 7.0 * np.arange(26)


def frozen(values: object) -> Floats:
    """A read-only float array, as the engine may be handed one."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def meter(moments: Moments, last_reading: object = 0.0, days_since_reading: object = 0.0) -> Meter:
    """One meter a vehicle."""
    last = np.atleast_1d(frozen(last_reading))
    return Meter(
        last_reading=last,
        days_since_reading=frozen(
            np.broadcast_to(np.asarray(days_since_reading, dtype=np.float64), last.shape)
        ),
        moments=moments,
    )


def compartments(
    *,
    vehicle_row: Sequence[int] | Integers | None = None,
    distance_km: object = np.nan,
    hours: object = np.nan,
    calendar_days_ahead: object = np.nan,
    is_contaminated: object = False,
    condition: Condition | None = None,
) -> CompartmentLimits:
    """Limits from scalars or sequences; all compartments on vehicle 0 unless said."""
    life = np.nan if condition is None else condition.life_used_fraction
    rows = 0 if vehicle_row is None else vehicle_row
    shape = np.broadcast_shapes(
        *(np.shape(np.atleast_1d(value)) for value in (rows, distance_km, hours, calendar_days_ahead, life)),
        np.shape(np.atleast_1d(is_contaminated)),
    )
    return CompartmentLimits(
        vehicle_row=np.broadcast_to(np.asarray(rows, dtype=np.int64), shape),
        distance_km=np.broadcast_to(frozen(distance_km), shape),
        hours=np.broadcast_to(frozen(hours), shape),
        calendar_days_ahead=np.broadcast_to(frozen(calendar_days_ahead), shape),
        is_contaminated=np.broadcast_to(np.asarray(is_contaminated, dtype=np.bool_), shape),
        condition=condition,
    )


def ageing(
    *,
    life_used: object,
    life_used_sd: object = 0.0,
    life_limit: object = 1.0,
    per_km: object = 0.0,
    per_day: object = 0.0,
    per_hour: object = 0.0,
    cv: object = 0.0,
) -> Condition:
    """Ageing of a few fluids, from scalars or sequences."""
    values = [
        np.atleast_1d(frozen(v)) for v in (life_used, life_used_sd, life_limit, per_km, per_day, per_hour, cv)
    ]
    used, used_sd, limit, km, day, hour, rate_cv = np.broadcast_arrays(*values)
    return Condition(
        life_used_fraction=used,
        life_used_sd_fraction=used_sd,
        life_limit_fraction=limit,
        life_per_km=km,
        life_per_day=day,
        life_per_hour=hour,
        rate_cv_fraction=rate_cv,
    )


def linear_moments(rate: object, rate_sd: object = 0.0, variance_per_day: object = 0.0) -> Moments:
    """A steady but unknown rate plus daily noise: mean r t, variance sd² t² + v t; one value a vehicle."""
    mean_rate = np.atleast_1d(frozen(rate))
    sd = np.broadcast_to(frozen(rate_sd), mean_rate.shape)
    noise = np.broadcast_to(frozen(variance_per_day), mean_rate.shape)

    def moments(rows: Integers, days: Floats) -> tuple[Floats, Floats]:
        return mean_rate[rows] * days, sd[rows] ** 2 * days * days + noise[rows] * days

    return moments
