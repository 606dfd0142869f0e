"""On which day a list will ask for a fluid if its vehicle is used as expected: this time, and after an exchange.

A list goes by what is known on its day. Readings will have told by then how far a vehicle went; how worn its fluid
really is they will not. So that doubt moves the day, and does not spread the work over the weeks.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.due.forecast import forecast_due
from service.engine.due.limits import CompartmentLimits, Condition, Meter
from service.units import DAYS_PER_MONTH
from service.usecases.due.project_due import FleetProjection
from service.usecases.fluids.recommend_exchange import Recommendation

LEAST_VARIANCE: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class ListingDays:
    """Of n compartments, each field of shape (n,)."""

    first_days: Floats
    """Days from now to the day on which a list asks for what is in the vehicle; infinite beyond the horizon."""

    first_limit: Integers
    """Code of the limit that most likely makes it due."""

    interval_days: Floats
    """Days from an exchange to the day on which a list asks for the next; infinite beyond the horizon."""

    next_limit: Integers


def listing_days(
    projection: FleetProjection, recommended: Recommendation, *, probability: float, days_ahead: float
) -> ListingDays:
    """Ask when each fluid is due with the probability that lists go by, now and again after an exchange.

    A list has to guess what vehicles run in the last `days_ahead` days.
    """
    question, asked = projection.question, np.array([probability])
    first, then = (
        forecast_due(
            limits,
            _known_then(question.odometer, days_ahead, is_from_now),
            None if question.hours is None else _known_then(question.hours, days_ahead, is_from_now),
            week_end_days=np.empty(0),
            probabilities=asked,
        )
        for limits, is_from_now in (
            (question.limits, False),
            (_limits_after(projection, recommended), True),
        )
    )
    return ListingDays(
        first_days=first.days_ahead[:, 0],
        first_limit=first.biting_limit.astype(np.int64),
        interval_days=then.days_ahead[:, 0],
        next_limit=then.biting_limit.astype(np.int64),
    )


def _limits_after(projection: FleetProjection, recommended: Recommendation) -> CompartmentLimits:
    """Limits of fluids that are exchanged as recommended now, on meters that count from now.

    An exchange that renews a share of the fluid credits that share of the interval.
    """
    columns, credit = projection.compartments, recommended.interval_share

    def interval(name: str) -> Floats:
        return credit * np.array(columns[name], dtype=np.float64)

    return CompartmentLimits(
        vehicle_row=projection.vehicle_row,
        distance_km=interval("interval_km"),
        hours=interval("interval_hours"),
        calendar_days_ahead=interval("interval_months") * DAYS_PER_MONTH,
        is_contaminated=np.zeros(credit.size, dtype=np.bool_),
        condition=_renewed(projection.question.limits.condition, credit),
    )


def _renewed(condition: Condition | None, credit: Floats) -> Condition | None:
    """Rates as they are, and the life that the old fluid left in the charge has used."""
    if condition is None:
        return None
    limit, is_unknown = condition.life_limit_fraction, np.isnan(condition.life_used_fraction)
    return Condition(
        life_used_fraction=np.where(is_unknown, np.nan, (1.0 - credit) * limit),
        life_used_sd_fraction=np.zeros(credit.size),
        life_limit_fraction=limit,
        life_per_km=condition.life_per_km,
        life_per_day=condition.life_per_day,
        life_per_hour=condition.life_per_hour,
        rate_cv_fraction=condition.rate_cv_fraction,
    )


def _known_then(meter: Meter, days_ahead: float, is_from_now: bool) -> Meter:
    """A meter that runs as expected, and is known on the day of a list as well as one that was read as lately as now.

    It counts from its last reading, or from now on.
    """
    age = meter.days_since_reading
    every = np.arange(age.size, dtype=np.int64)
    passed = meter.moments(every, age)[0] if is_from_now else np.zeros(age.size)
    before = age if is_from_now else np.zeros(age.size)

    def moments(rows: Integers, days: Floats) -> tuple[Floats, Floats]:
        since = days + before[rows]
        mean, _ = meter.moments(rows, since)
        _, variance = meter.moments(rows, np.minimum(since, age[rows] + days_ahead))
        return np.maximum(mean - passed[rows], LEAST_VARIANCE), np.maximum(variance, LEAST_VARIANCE)

    return Meter(
        last_reading=np.where(np.isnan(meter.last_reading), np.nan, 0.0)
        if is_from_now
        else meter.last_reading,
        days_since_reading=age - before,
        moments=moments,
    )
