"""What a vehicle's class says about its rate before its own readings do."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.usage.robust import SD_PER_MEDIAN_DEVIATION
from service.errors import InvalidInputError

# Common practice, no source: about 16,000 km a year for a vehicle of which nothing is known, within a factor
# of 2.5 either way in two cases of three.
CONFIGURED_LOG_RATE: Final = float(np.log(45.0))
CONFIGURED_LOG_RATE_SD: Final = 0.9
# Common practice, no source: what a class needs before it speaks for itself.
LEAST_VEHICLES: Final = 5
LEAST_READINGS: Final = 5
LEAST_LOG_RATE_SD: Final = 0.3
LOWEST_KM_PER_DAY: Final = 0.1
# Common practice, no source: rates of a class that mixes kinds of vehicles have longer tails than the normal law;
# drawn to the middle by the bare spread, its busiest vehicles were projected a tenth too slow on simulated fleets.
TAIL_FACTOR: Final = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class RatePriors:
    """Median and spread of the log rate, per vehicle or per class, each shape (n,)."""

    log_rate: Floats
    log_rate_sd: Floats

    def take(self, rows: Integers) -> "RatePriors":
        """Priors of some vehicles; with class numbers as rows, each vehicle's prior from its class's."""
        return RatePriors(log_rate=self.log_rate[rows], log_rate_sd=self.log_rate_sd[rows])


def configured_priors(n_vehicles: int) -> RatePriors:
    """Priors for vehicles of which nothing at all is known."""
    return RatePriors(
        log_rate=np.full(n_vehicles, CONFIGURED_LOG_RATE),
        log_rate_sd=np.full(n_vehicles, CONFIGURED_LOG_RATE_SD),
    )


def fit_priors(
    time_days: Floats, odometer_km: Floats, offsets: Integers, class_index: Integers, n_classes: int
) -> RatePriors:
    """Fit the prior of every class from the average rates of its vehicles.

    Parameters
    ----------
    time_days, odometer_km, offsets
        Accepted readings of n vehicles, as for `filter_readings`.
    class_index : ndarray, shape (n,), int64
        Class of every vehicle, 0 … n_classes - 1.
    n_classes
        Number of classes.

    Returns
    -------
    RatePriors
        Shape (n_classes,); ``priors.take(class_index)`` gives those of the vehicles.

    Raises
    ------
    InvalidInputError
        If there is not one class a vehicle.

    Notes
    -----
    Median and scaled median absolute deviation, times `TAIL_FACTOR`, of the log average rates of vehicles with at least
    `LEAST_READINGS` readings; a class with fewer than `LEAST_VEHICLES` of them takes the fleet's, a fleet with
    fewer the configured values. O(n log n).
    """
    if class_index.shape != (offsets.size - 1,):
        raise InvalidInputError.at("/class_index", "must have one entry a vehicle")
    enough = np.flatnonzero(np.diff(offsets) >= LEAST_READINGS)
    first, last = offsets[:-1][enough], offsets[1:][enough] - 1
    span = time_days[last] - time_days[first]
    distance = odometer_km[last] - odometer_km[first]
    moving = span > 0.0
    log_rate = np.log(np.maximum(distance[moving] / span[moving], LOWEST_KM_PER_DAY))
    classes = class_index[enough][moving]
    whole = _median_and_sd(log_rate) or (CONFIGURED_LOG_RATE, CONFIGURED_LOG_RATE_SD)
    fitted = [_median_and_sd(log_rate[classes == one]) or whole for one in range(n_classes)]
    table = np.array(fitted, dtype=np.float64).reshape(n_classes, 2)
    return RatePriors(log_rate=table[:, 0].copy(), log_rate_sd=table[:, 1].copy())


def _median_and_sd(log_rate: Floats) -> tuple[float, float] | None:
    if log_rate.size < LEAST_VEHICLES:
        return None
    centre = float(np.median(log_rate))
    spread = TAIL_FACTOR * SD_PER_MEDIAN_DEVIATION * float(np.median(np.abs(log_rate - centre)))
    return centre, max(spread, LEAST_LOG_RATE_SD)
