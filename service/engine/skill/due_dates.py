"""Whether dates held: when distances ahead were truly reached, against the dates given for them before."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.due.forecast import forecast_due
from service.engine.due.limits import CompartmentLimits, Meter
from service.engine.skill.backtest import ALL_HORIZONS
from service.engine.skill.calibration import mean_over_vehicles
from service.engine.usage.origins import Origins, rolling_origins

LEAST_KM_PER_DAY: Final = 0.1
# Common practice, no source: between readings further apart than half the horizon, the day on which a distance was
# reached would be more of a guess than the date that is to be judged by it.
MOST_GAP_FRACTION: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class DateScorecard:
    """How dates given for one horizon held (0 for all together); means over vehicles, NaN without any date.

    Attributes
    ----------
    n_dates : int
        Dates with readings up to P90 or beyond, so that it is known whether they held.
    n_open : int
        Dates whose P90 lies after the vehicle's last reading: nothing can be said yet, and nothing is.
    n_late_still : int
        Of `n_dates`: not reached by the last reading; late by at least what is known, and counted with that.
    held_fraction, early_fraction, late_fraction : float
        Reached from P10 to P90, before P10, after P90.
    absolute_error_days, plain_absolute_error_days : float
        From the date reached to P50, and to the date by the vehicle's average distance a day up to then.
    """

    horizon_days: float
    n_vehicles: int
    n_dates: int
    n_open: int
    n_late_still: int
    held_fraction: float
    early_fraction: float
    late_fraction: float
    absolute_error_days: float
    plain_absolute_error_days: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DateExercises:
    """Distances ahead, each shape (p,): at the origin's reading it is asked when the odometer will show `limit_km`.

    `reached_days` is when it did, in days after the origin, inf where no reading shows it; `watched_days` how long
    after the origin the vehicle was read. [d]
    """

    origins: Origins
    limit_km: Floats
    reached_days: Floats
    watched_days: Floats


def date_exercises(
    time_days: Floats, odometer_km: Floats, offsets: Integers, horizons_days: tuple[float, ...]
) -> DateExercises:
    """Choose origins along every history, and for each a limit about a horizon ahead.

    Parameters
    ----------
    time_days, odometer_km, offsets
        Accepted readings of n vehicles, as for `filter_readings`.
    horizons_days
        Horizons to score. [d]

    Returns
    -------
    DateExercises

    Notes
    -----
    The limit is what the vehicle would cover within the horizon at its average up to the origin: known then, and
    nobody's forecast is favoured. When it was reached is interpolated between the readings on both sides. O(r log r).
    """
    origins = rolling_origins(time_days, offsets, np.array(horizons_days))
    first = offsets[:-1][origins.vehicle]
    known_days = time_days[origins.origin] - time_days[first]
    gap_days = known_days / (origins.origin - first)
    origins = _take(origins, np.flatnonzero(gap_days <= MOST_GAP_FRACTION * origins.horizon_days))
    first = offsets[:-1][origins.vehicle]
    start_km = odometer_km[origins.origin]
    pace = (start_km - odometer_km[first]) / (time_days[origins.origin] - time_days[first])
    limit_km = start_km + np.maximum(pace, LEAST_KM_PER_DAY) * origins.horizon_days
    last = offsets[1:][origins.vehicle] - 1
    return DateExercises(
        origins=origins,
        limit_km=limit_km,
        reached_days=_reached_at(time_days, odometer_km, offsets, origins, limit_km)
        - time_days[origins.origin],
        watched_days=time_days[last] - time_days[origins.origin],
    )


def score_dates(exercises: DateExercises, odometer: Meter) -> list[DateScorecard]:
    """Score the dates of the due forecast.

    Parameters
    ----------
    exercises
        From `date_exercises`.
    odometer
        One row an exercise: the meter as it was known at the origin, read there and then.

    Returns
    -------
    list of DateScorecard
        All horizons together, then each one.

    Notes
    -----
    Whether a date is judged must not depend on how it turned out: a limit reached early would count and one not yet
    reached would not. So a date counts if the vehicle was read up to P90 or longer, whatever happened until then.
    """
    n = len(exercises.origins)
    nothing = np.full(n, np.nan)
    limits = CompartmentLimits(
        vehicle_row=np.arange(n),
        distance_km=exercises.limit_km,
        hours=nothing,
        calendar_days_ahead=nothing,
        is_contaminated=np.zeros(n, dtype=np.bool_),
    )
    said_days = forecast_due(limits, odometer, week_end_days=np.zeros(0)).days_ahead
    horizons = np.unique(exercises.origins.horizon_days)
    return [_card(exercises, said_days, horizon) for horizon in (ALL_HORIZONS, *horizons.tolist())]


def _card(exercises: DateExercises, said_days: Floats, horizon: float) -> DateScorecard:
    asked = (exercises.origins.horizon_days == horizon) | (horizon == ALL_HORIZONS)
    is_judged = asked & (exercises.watched_days >= said_days[:, 2])
    rows = np.flatnonzero(is_judged)
    vehicle, said = exercises.origins.vehicle[rows], said_days[rows]
    reached, watched = exercises.reached_days[rows], exercises.watched_days[rows]
    early, late = reached < said[:, 0], reached > said[:, 2]
    at_least = np.minimum(reached, watched)
    plain_days = exercises.origins.horizon_days[rows]
    return DateScorecard(
        horizon_days=horizon,
        n_vehicles=int(np.unique(vehicle).size),
        n_dates=int(rows.size),
        n_open=int(np.count_nonzero(asked)) - int(rows.size),
        n_late_still=int(np.count_nonzero(np.isinf(reached))),
        held_fraction=mean_over_vehicles((~early & ~late).astype(np.float64), vehicle),
        early_fraction=mean_over_vehicles(early.astype(np.float64), vehicle),
        late_fraction=mean_over_vehicles(late.astype(np.float64), vehicle),
        absolute_error_days=mean_over_vehicles(np.abs(at_least - said[:, 1]), vehicle),
        plain_absolute_error_days=mean_over_vehicles(np.abs(at_least - plain_days), vehicle),
    )


def _reached_at(
    time_days: Floats, odometer_km: Floats, offsets: Integers, origins: Origins, limit_km: Floats
) -> Floats:
    """Time at which each vehicle's odometer showed a limit, by straight lines between readings; inf if never."""
    if time_days.size == 0:
        return np.zeros(0)
    owner = np.repeat(np.arange(offsets.size - 1), np.diff(offsets))
    low = float(np.min(odometer_km))
    width = float(max(np.max(odometer_km), np.max(limit_km, initial=low)) - low) + 1.0
    # One rising key for all vehicles, so that one search finds every limit.
    key = np.maximum.accumulate(owner * width + (odometer_km - low))
    after = np.searchsorted(key, origins.vehicle * width + (limit_km - low), side="left")
    is_reached = after < offsets[1:][origins.vehicle]
    after = np.where(is_reached, after, offsets[1:][origins.vehicle] - 1)
    before = np.maximum(after - 1, origins.origin)
    step_km = odometer_km[after] - odometer_km[before]
    part = np.divide(limit_km - odometer_km[before], step_km, out=np.ones(after.size), where=step_km > 0.0)
    at = time_days[before] + np.clip(part, 0.0, 1.0) * (time_days[after] - time_days[before])
    return np.where(is_reached, at, np.inf)


def _take(origins: Origins, rows: Integers) -> Origins:
    return Origins(**{name: getattr(origins, name)[rows] for name in Origins.__slots__})
