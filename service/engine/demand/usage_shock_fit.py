"""How much a whole fleet's use swings from month to month, estimated from its own readings."""

from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.demand.usage_shock import DEFAULT_LOG_SD
from service.errors import InvalidInputError

# Four weeks: shorter ones are blurred by readings a week or two apart. Own choice.
PERIOD_DAYS: Final = 28.0
# A stretch between readings that is longer says nothing about one period. Own choice.
_LONGEST_GAP_DAYS: Final = 35.0
# What a vehicle has to have been read of a period, and a period of the fleet, to count. Own choice.
_LEAST_COVERED_SHARE: Final = 0.75
_LEAST_VEHICLES: Final = 10
_LEAST_PERIODS: Final = 6
# The default counts as so many periods, about a year. Own choice.
_DEFAULT_PERIODS: Final = 12.0


def fit_usage_shock(time_days: Floats, odometer_km: Floats, offsets: Integers) -> float:
    """Standard deviation of the logarithm of the factor that all vehicles share from one period to the next.

    Parameters
    ----------
    time_days, odometer_km : ndarray, shape (total,), float64
        Readings, one vehicle after the other, in the order of time; the season taken out of the time.
    offsets : ndarray, shape (n + 1,), int64
        Where each vehicle's readings begin.

    Returns
    -------
    float
        Log standard deviation, shrunk towards `DEFAULT_LOG_SD`; exactly that while the fleet cannot teach it.

    Raises
    ------
    InvalidInputError
        If the arrays do not fit together.

    Notes
    -----
    Distances are spread evenly between readings and gathered by period. The fleet's factor of a period is what
    its vehicles ran, by what they would have run at their own mean rates. Its variance over the periods, less
    what the vehicles' own ups and downs explain (variance of a ratio of sums), is the shared variance: a
    variance component by the method of moments. It is averaged with the default's as if that rested on twelve
    periods. O(periods * readings).

    References
    ----------
    .. [1] Searle, Casella & McCulloch, "Variance Components", 1992, ch. 3 (analysis of variance estimates).
    .. [2] Cochran, "Sampling Techniques", 3rd ed., 1977, 6.3 (variance of a ratio estimate).
    """
    if offsets[-1] != time_days.size or time_days.shape != odometer_km.shape:
        raise InvalidInputError.at("/offsets", "offsets end where the readings end")
    km, days = _by_period(time_days, odometer_km, offsets)
    is_covered = days >= _LEAST_COVERED_SHARE * PERIOD_DAYS
    km, days = np.where(is_covered, km, 0.0), np.where(is_covered, days, 0.0)
    own_days = days.sum(axis=1)
    own_km_per_day = np.divide(km.sum(axis=1), own_days, out=np.zeros(own_days.size), where=own_days > 0.0)
    expected_km = own_km_per_day[:, None] * days
    n_vehicles = (expected_km > 0.0).sum(axis=0)
    counts = n_vehicles >= _LEAST_VEHICLES
    if np.count_nonzero(counts) < _LEAST_PERIODS:
        return DEFAULT_LOG_SD
    km, expected_km, n_vehicles = km[:, counts], expected_km[:, counts], n_vehicles[counts]
    factor = km.sum(axis=0) / expected_km.sum(axis=0)
    rest_km = km - factor * expected_km
    own_variance = (rest_km**2).sum(axis=0) / expected_km.sum(axis=0) ** 2 * n_vehicles / (n_vehicles - 1.0)
    observed = np.log(np.maximum(factor, 1e-6)).var(ddof=1)
    shared = max(float(observed - (own_variance / factor**2).mean()), 0.0)
    n_free = factor.size - 1.0
    mixed = (_DEFAULT_PERIODS * DEFAULT_LOG_SD**2 + n_free * shared) / (_DEFAULT_PERIODS + n_free)
    return float(np.sqrt(mixed))


def _by_period(time_days: Floats, odometer_km: Floats, offsets: Integers) -> tuple[Floats, Floats]:
    """Distance and days that are known of each vehicle and period, shape (vehicles, periods)."""
    n = offsets.size - 1
    vehicle = np.repeat(np.arange(n), np.diff(offsets))
    gap_days = np.diff(time_days)
    is_known = (np.diff(vehicle) == 0) & (gap_days > 0.0) & (gap_days <= _LONGEST_GAP_DAYS)
    start, end = time_days[:-1][is_known], time_days[1:][is_known]
    km_per_day = np.diff(odometer_km)[is_known] / gap_days[is_known]
    vehicle = vehicle[:-1][is_known]
    first = float(start.min(initial=np.inf)) if start.size else 0.0
    n_periods = int((float(end.max()) - first) / PERIOD_DAYS) if start.size else 0
    km, days = np.zeros((n, n_periods)), np.zeros((n, n_periods))
    for period in range(n_periods):
        opens = first + period * PERIOD_DAYS
        overlap = np.clip(np.minimum(end, opens + PERIOD_DAYS) - np.maximum(start, opens), 0.0, None)
        days[:, period] = np.bincount(vehicle, overlap, n)
        km[:, period] = np.bincount(vehicle, overlap * km_per_day, n)
    return km, days
