"""When each compartment is due, over a whole fleet: quantiles, weeks, and the limit that bites."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.engine.arrays import Codes, Floats, Integers
from service.engine.due.answer import Answer, answer_with, certain_limits
from service.engine.due.bivariate import CORRELATION_BOUND
from service.engine.due.limits import CompartmentLimits, Limit, Meter, check_limits, check_meter
from service.engine.due.patterns import Meters, block_of, limit_patterns
from service.engine.due.reached import Days, Question, first_reached
from service.engine.parts import for_every_part
from service.errors import InvalidInputError

# Three years: beyond them a usage forecast says nothing that a planner could use. Common practice, no source.
HORIZON_DAYS: Final = 1095.0

DEFAULT_PROBABILITIES: Final = (0.1, 0.5, 0.9)

# Most compartments worked on at a time: a grid day of them stays in the processor's cache, and NumPy's own overhead,
# above all passing the interpreter from thread to thread, is small against its work. Measured.
_BLOCK_ROWS: Final = 32_000


@dataclass(frozen=True, slots=True, kw_only=True)
class DueForecast:
    """The distribution of the first limit reached, one row a compartment.

    Attributes
    ----------
    days_ahead : ndarray, shape (n, q), float64
        Days from now at which each asked probability of being due is reached: 0 due now or overdue, inf not within
        the horizon, NaN no limit that could be computed. [d]
    overdue_probability : ndarray, shape (n,), float64
        Probability of being due already.
    week_probability : ndarray, shape (n, w), float32
        Probability of falling due in each week; the first week includes what is overdue. What is missing to 1 falls
        due later.
    limit_probability : ndarray, shape (n, len(Limit)), float64
        Probability that each limit is the first within the horizon, in column `Limit`; rows add up to 1.
    biting_limit : ndarray, shape (n,), int8
        The most likely first limit, as a `Limit`; NONE only if none can be reached within the horizon.
    """

    days_ahead: Floats
    overdue_probability: Floats
    week_probability: NDArray[np.float32]
    limit_probability: Floats
    biting_limit: Codes


def forecast_due(
    limits: CompartmentLimits,
    odometer: Meter,
    hour_meter: Meter | None = None,
    *,
    week_end_days: Floats,
    probabilities: Floats | None = None,
    horizon_days: float = HORIZON_DAYS,
    km_hours_correlation: float = 0.8,
    block_rows: int = _BLOCK_ROWS,
) -> DueForecast:
    """Forecast when each compartment reaches the first of its limits, by moment-matched gamma increments.

    Parameters
    ----------
    limits : CompartmentLimits
        n compartments and their limits.
    odometer, hour_meter : Meter
        One row a vehicle. Without hour meters, limits and ageing by engine hours are left out.
    week_end_days : ndarray, shape (w,), float64
        End of each week in days from now, rising, positive, within the horizon; may be empty. A calendar limit at
        the very end of a week belongs to the next. [d]
    probabilities : ndarray, shape (q,), float64, optional
        Asked probabilities of being due; P10, P50 and P90 by default.
    horizon_days : float
        How far ahead to look. [d]
    km_hours_correlation : float
        Correlation of the two meters' increments.
    block_rows : int
        Most compartments worked on at a time; memory beyond input and output is proportional to it, results are not.

    Returns
    -------
    DueForecast
        One row a compartment.

    Raises
    ------
    InvalidInputError
        If the inputs do not fit together, or are outside their range.
    NonFiniteResultError
        If the usage model gives moments that are not finite for a vehicle with a reading.

    Notes
    -----
    A meter that never falls has passed a limit by t exactly when it stands past it at t, so no path is simulated:
    the same input gives the same answer, whatever the order of rows or the size of a block. All compartments of a
    vehicle are driven by the same meters. The calendar is certain, and no limit delays another: a forecast with one
    more limit is never later. Condition uses the same meters as distance and hours. NaN means "no such limit" in
    `limits` and "no reading" in a meter. O(n).
    """
    check_limits(limits, odometer.last_reading.size)
    meters = Meters(odometer=odometer, hour_meter=hour_meter, km_hours_correlation=km_hours_correlation)
    _check_meters(meters, odometer.last_reading.size)
    n = limits.vehicle_row.size
    asked = np.asarray(DEFAULT_PROBABILITIES) if probabilities is None else probabilities
    _check_probabilities(asked)
    _check_weeks(week_end_days, horizon_days)
    days = Days.of(week_end_days, horizon_days)
    forecast = _empty_forecast(n, asked.size, week_end_days.size)

    def answer_block(part: tuple[Integers, int]) -> None:
        rows, pattern = part
        certain = certain_limits(limits, rows, horizon_days)
        end_days = np.minimum(certain.calendar_days, horizon_days)
        order = np.argsort(-days.n_needed_by(end_days).astype(np.int16), kind="stable")
        block = block_of(limits, meters, rows, order, pattern)
        rows, certain = rows[order], certain.take(order)
        question = Question(probabilities=asked, days=days, end_days=end_days[order])
        _write(forecast, rows, answer_with(certain, block, first_reached(block, question), week_end_days))

    for_every_part(answer_block, _blocks(limit_patterns(limits, meters), block_rows))
    return forecast


def _blocks(patterns: Codes, block_rows: int) -> Iterator[tuple[Integers, int]]:
    """Cut the compartments into blocks of one pattern each, all alike in size, so that threads end together."""
    for pattern in np.unique(patterns).tolist():
        rows = np.flatnonzero(patterns == pattern)
        for some in np.array_split(rows, -(-rows.size // block_rows)):
            yield some, pattern


def _write(forecast: DueForecast, rows: Integers, answer: Answer) -> None:
    forecast.days_ahead[rows] = answer.days_ahead.T
    forecast.overdue_probability[rows] = answer.by_now
    forecast.limit_probability[rows] = answer.shares
    forecast.biting_limit[rows] = answer.biting_limit
    by_week = answer.by_week_end.astype(np.float32)
    by_week[1:] = answer.by_week_end[1:] - answer.by_week_end[:-1]
    forecast.week_probability[rows] = by_week.T


def _empty_forecast(n: int, n_probabilities: int, n_weeks: int) -> DueForecast:
    return DueForecast(
        days_ahead=np.empty((n, n_probabilities)),
        overdue_probability=np.empty(n),
        week_probability=np.empty((n, n_weeks), dtype=np.float32),
        limit_probability=np.empty((n, len(Limit))),
        biting_limit=np.empty(n, dtype=np.int8),
    )


def _check_probabilities(asked: Floats) -> None:
    if asked.ndim != 1 or not ((asked > 0.0) & (asked < 1.0)).all():
        raise InvalidInputError.at("probabilities", "must be a row of numbers between 0 and 1, both excluded")


def _check_weeks(week_end_days: Floats, horizon_days: float) -> None:
    if not (np.isfinite(horizon_days) and horizon_days > 0.0):
        raise InvalidInputError.at("horizon_days", "must be positive and finite")
    is_rising = bool((np.diff(week_end_days, prepend=0.0) > 0.0).all())
    if week_end_days.ndim != 1 or not is_rising or (week_end_days > horizon_days).any():
        raise InvalidInputError.at("week_end_days", "must rise from now, and end within the horizon")


def _check_meters(meters: Meters, n_vehicles: int) -> None:
    check_meter(meters.odometer, "odometer")
    if meters.hour_meter is not None:
        check_meter(meters.hour_meter, "hour_meter")
        if meters.hour_meter.last_reading.size != n_vehicles:
            raise InvalidInputError.at("hour_meter", "needs one row a vehicle, as the odometer has")
    if not abs(meters.km_hours_correlation) <= CORRELATION_BOUND:
        raise InvalidInputError.at("km_hours_correlation", f"must lie within ±{CORRELATION_BOUND}")
