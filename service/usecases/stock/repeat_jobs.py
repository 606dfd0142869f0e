"""When a fluid that is changed in a coming week is due again before the weeks are over."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.engine.due.forecast import forecast_due
from service.engine.due.limits import CompartmentLimits, Condition, Meter
from service.units import DAYS_PER_MONTH, DAYS_PER_WEEK
from service.usecases.due.project_due import FleetProjection
from service.usecases.fluids.recommend_exchange import Recommendation

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

LEAST_VARIANCE: Final = 1e-9


def limits_again(
    projection: FleetProjection, recommended: Recommendation, rows: Integers
) -> CompartmentLimits:
    """Limits of a fluid that is exchanged as recommended now, on meters that count from now.

    An exchange that renews a share of the fluid credits that share of the interval.
    """
    columns = projection.compartments
    credit = recommended.interval_share[rows]

    def interval(name: str) -> Floats:
        return credit * np.array([columns[name][row] for row in rows], dtype=np.float64)

    return CompartmentLimits(
        vehicle_row=projection.vehicle_row[rows],
        distance_km=interval("interval_km"),
        hours=interval("interval_hours"),
        calendar_days_ahead=interval("interval_months") * DAYS_PER_MONTH,
        is_contaminated=np.zeros(rows.size, dtype=bool),
        condition=_renewed(projection.question.limits.condition, rows, credit),
    )


def due_again(limits: CompartmentLimits, meters: tuple[Meter, Meter | None], n_weeks: int) -> Floats:
    """Probability that a fluid exchanged in the middle of a week reaches its limits 1 … n week ends later.

    Shape (rows, n_weeks).
    """
    odometer, hours = meters
    by_week = forecast_due(
        limits,
        _from_now(odometer),
        None if hours is None else _from_now(hours),
        week_end_days=DAYS_PER_WEEK * (np.arange(1, n_weeks + 1, dtype=np.float64) + 0.5),
        probabilities=np.empty(0),
    ).week_probability
    return np.clip(np.cumsum(by_week, axis=1, dtype=np.float64), 0.0, 1.0)


def done_again(done_by_end: Floats, again: Floats) -> Floats:
    """Probability that the next exchange, too, is done by the end of each week.

    Parameters
    ----------
    done_by_end : ndarray, shape (..., weeks)
        That this exchange is done by the end of each week.
    again : ndarray, shape (..., weeks)
        That it is due again by the first, second … week's end after the one in which it was done; it never is in
        that week itself.

    Notes
    -----
    The time to the next exchange starts anew at this one: a renewal process, summed week by week.
    """
    done_in = np.diff(done_by_end, axis=-1, prepend=0.0)
    found = np.zeros_like(done_by_end)
    n_weeks = done_by_end.shape[-1]
    for lag in range(1, n_weeks):
        found[..., lag:] += done_in[..., : n_weeks - lag] * again[..., lag - 1, None]
    return np.clip(found, 0.0, 1.0)


def _renewed(condition: Condition | None, rows: Integers, credit: Floats) -> Condition | None:
    """Rates as they are, and the life that the old fluid left in the charge has used."""
    if condition is None:
        return None
    limit = condition.life_limit_fraction[rows]
    is_known = ~np.isnan(condition.life_used_fraction[rows])
    return Condition(
        life_used_fraction=np.where(is_known, (1.0 - credit) * limit, np.nan),
        life_used_sd_fraction=np.zeros(rows.size),
        life_limit_fraction=limit,
        life_per_km=condition.life_per_km[rows],
        life_per_day=condition.life_per_day[rows],
        life_per_hour=condition.life_per_hour[rows],
        rate_cv_fraction=condition.rate_cv_fraction[rows],
    )


def _from_now(meter: Meter) -> Meter:
    """Count a meter from now: what it has added since its last reading is past."""
    every = np.arange(meter.last_reading.size, dtype=np.int64)
    passed, passed_variance = meter.moments(every, meter.days_since_reading)

    def moments(rows: Integers, days: Floats) -> tuple[Floats, Floats]:
        mean, variance = meter.moments(rows, days + meter.days_since_reading[rows])
        grown = np.maximum(mean - passed[rows], LEAST_VARIANCE)
        return grown, np.maximum(variance - passed_variance[rows], LEAST_VARIANCE)

    return Meter(
        last_reading=np.where(np.isnan(meter.last_reading), np.nan, 0.0),
        days_since_reading=np.zeros_like(meter.last_reading),
        moments=moments,
    )
