"""When a compartment is due again after a service, at given rates."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats, Integers, Numbers
from service.engine.due.limits import Limit
from service.engine.exchange.checks import require_within
from service.engine.policy.inputs import DueRates


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReturnDate:
    """Due again; arrays of one shape.

    Parameters
    ----------
    days, km : ndarray
        From the service on, not negative; infinite where nothing ever makes it due. [d], [km]
    limit : ndarray of int64
        The `Limit` that bites.
    """

    days: Floats
    km: Floats
    limit: Integers


def life_used_per_day(rates: DueRates) -> Floats:
    """Life used per day by distance, time and hours together.

    Parameters
    ----------
    rates : DueRates

    Returns
    -------
    ndarray of float64
        [1/d]

    Raises
    ------
    InvalidInputError
        If a rate is negative or not a number.
    """
    distance = require_within("km_per_day", rates.km_per_day, 0.0)
    by_km = require_within("life_used_per_km", rates.life_used_per_km, 0.0)
    return np.asarray(distance * by_km + require_within("life_used_per_day", rates.life_used_per_day, 0.0))


def due_again(
    life_used: Numbers, rates: DueRates, *, km_on_clock: Numbers, days_on_clock: Numbers
) -> ReturnDate:
    """Earliest of the condition limit and the schedule.

    Parameters
    ----------
    life_used : float or ndarray
        After the service. [-]
    rates : DueRates
        Its own clock is not read.
    km_on_clock, days_on_clock : float or ndarray
        The schedule's clock after the service. [km], [d]

    Returns
    -------
    ReturnDate

    Raises
    ------
    InvalidInputError
        If a rate or limit is out of range.

    Notes
    -----
    A point estimate at constant rates, for comparing services; distributions belong to the due list.
    """
    limit = require_within("highest_life_used", rates.highest_life_used, 0.0, 1.5)
    interval_km = require_within("interval_km", rates.interval_km, 1e-6, np.inf)
    interval_days = require_within("interval_days", rates.interval_days, 1e-6, np.inf)
    candidates = np.broadcast_arrays(
        _time_to_cover(limit - life_used, life_used_per_day(rates)),
        _time_to_cover(interval_km - km_on_clock, np.asarray(rates.km_per_day)),
        np.maximum(interval_days - days_on_clock, 0.0),
    )
    by_limit = np.stack(candidates)
    days = by_limit.min(axis=0)
    km = np.multiply(
        days, rates.km_per_day, out=np.zeros(days.shape), where=np.asarray(rates.km_per_day) > 0.0
    )
    order = np.array([Limit.CONDITION, Limit.DISTANCE, Limit.CALENDAR], dtype=np.int64)
    return ReturnDate(days=days, km=km, limit=order[by_limit.argmin(axis=0)])


def _time_to_cover(amount: Floats, per_day: Floats) -> Floats:
    room, speed = np.broadcast_arrays(np.maximum(amount, 0.0), per_day)
    days: Floats = np.where(room > 0.0, np.inf, 0.0)
    np.divide(room, speed, out=days, where=speed > 0.0)
    return days
