"""Limits of a fluid each time that it is foreseen to be changed, on the meters as they stand now."""

from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.due.limits import CompartmentLimits, Condition, Limit, Meter
from service.engine.due.passage import passage_terms
from service.usecases.due.project_due import DueQuestion, FleetProjection
from service.usecases.forecast.foreseen_visits import ForeseenJobs
from service.usecases.forecast.listing_days import ListingDays

LEAST_LIFE: Final = 1e-6


def limits_each_time(
    projection: FleetProjection, days: ListingDays, times: ForeseenJobs
) -> CompartmentLimits:
    """Put the limit that bites where the vehicle will stand on the day of the list, if it is used as expected.

    A list asks for the job once the vehicle stands there: sooner where it runs more, and who is sooner the first time
    is so the second time, too. `times.job` counts the compartments of the projection.
    """
    question, rows = projection.question, times.job
    vehicle = projection.vehicle_row[rows]
    limit = np.where(times.is_first, days.first_limit[rows], days.next_limit[rows])
    km, hours = (
        np.zeros(rows.size) if meter is None else _usual(meter, vehicle, times.due_days)
        for meter in (question.odometer, question.hours)
    )
    hours_read = np.zeros(rows.size) if question.hours is None else question.hours.last_reading[vehicle]
    return CompartmentLimits(
        vehicle_row=vehicle,
        distance_km=np.where(limit == Limit.DISTANCE, question.odometer.last_reading[vehicle] + km, np.nan),
        hours=np.where(limit == Limit.HOURS, hours_read + hours, np.nan),
        calendar_days_ahead=np.where(limit == Limit.CALENDAR, times.due_days, np.nan),
        is_contaminated=times.due_days <= 0.0,
        condition=_worn_then(question, times, np.where(limit == Limit.CONDITION, 0.0, np.nan), (km, hours)),
    )


def _worn_then(
    question: DueQuestion, times: ForeseenJobs, life_used: Floats, use: tuple[Floats, Floats]
) -> Condition | None:
    """Rates as they are, without doubt, and a limit that such use reaches; counted from the last reading."""
    known = question.limits.condition
    if known is None:
        return None
    rows, certain = times.job, np.zeros(times.job.size)
    rates = known.life_per_day[rows], known.life_per_km[rows], known.life_per_hour[rows]
    age = question.odometer.days_since_reading[question.limits.vehicle_row[rows]]
    gain = sum(rate * amount for rate, amount in zip(rates, (age + times.due_days, *use), strict=True))
    return Condition(
        life_used_fraction=life_used,
        life_used_sd_fraction=certain,
        life_limit_fraction=np.maximum(gain, LEAST_LIFE),
        life_per_day=rates[0],
        life_per_km=rates[1],
        life_per_hour=rates[2],
        rate_cv_fraction=certain,
    )


def _usual(meter: Meter, vehicle: Integers, days: Floats) -> Floats:
    """Median of what a meter adds from its last reading until so many days from now; 0 where it was never read."""
    since = meter.days_since_reading[vehicle] + np.maximum(days, 0.0)
    offset, slope = passage_terms(*meter.moments(vehicle, since))
    is_read = ~np.isnan(meter.last_reading[vehicle])
    return np.where(is_read, np.maximum(offset / slope, 0.0) ** 3, 0.0)
