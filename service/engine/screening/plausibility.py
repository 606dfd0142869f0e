"""How much better a step between two readings is explained by driving than by a mistake.

Every step of a vehicle gets a log odds: the density of the distance under the vehicle's own pace against that of an
entry that has nothing to do with it. All constants are common practice, no source, picked on simulated entries.
"""

from typing import Final

import numpy as np

from service.engine.arrays import Booleans, Floats

ROUNDING_KM: Final = 3.0
"""A reading may fall this far below the one before: two people round differently."""
HIGHEST_ODOMETER_KM: Final = 4.0e6

PRIOR_DAYS: Final = 20.0
"""Days of driving that the class's rate is worth against the vehicle's own."""
SHORTEST_STEP_DAYS: Final = 7.0
_SLACK_KM: Final = 150.0
_SPREAD: Final = 0.6
_EARLY_SPREAD: Final = 0.4
_SLOW_SLOPE: Final = 0.6
_GOOD: Final = 0.95 * 0.38
_ANYWHERE: Final = 0.005
_NEARBY: Final = 0.0007
_SMALL_NUMBER_KM: Final = 3000.0

BELIEF_MARGIN: Final = 2.0
"""Log odds by which a new explanation must beat the present one."""
STANDSTILL_ODDS: Final = 3.0
"""Most that a number which is keyed again speaks for itself: people repeat mistakes too."""
_CLEAN_RATIO: Final = 2.5
_SLOWEST_RATIO: Final = 0.012


def highest_distance_km(days: Floats) -> Floats:
    """Distance that no vehicle exceeds: two drivers may do 1,500 km a day for ten days, 1,200 km ever after."""
    return np.asarray(500.0 + 1500.0 * np.minimum(days, 10.0) + 1200.0 * np.maximum(days - 10.0, 0.0))


def step_pace_km_per_day(distance_km: Floats, days: Floats) -> Floats:
    """Pace of one step; a step within days says little about the next."""
    return np.asarray(distance_km / np.maximum(days, SHORTEST_STEP_DAYS))


def pace_km_per_day(prior_rate: Floats, distance_km: Floats, days: Floats, latest: Floats) -> Floats:
    """Pace that would not surprise: the vehicle's own so far, with some days at the class's rate.

    A vehicle that has stood idle may be put to ordinary use, so half the class's rate is the least; and one that
    has just gone fast may go on so, so the pace of the latest step is the least too.
    """
    own = (prior_rate * PRIOR_DAYS + distance_km) / (PRIOR_DAYS + days)
    return np.asarray(np.maximum(np.maximum(own, 0.5 * prior_rate), latest))


def step_log_odds(
    distance_km: Floats, days: Floats, keyed_km: Floats, pace: Floats, known_days: Floats
) -> Floats:
    """Log odds that a reading belongs to the one before it rather than being a mistake.

    Parameters
    ----------
    distance_km, days : ndarray, any one shape, float64
        Distance and time between the two readings. [km], [d]
    keyed_km : ndarray, float64
        The number as entered: mistakes spread over its order of magnitude. [km]
    pace : ndarray, float64
        The vehicle's pace before the step. [km/d]
    known_days : ndarray, float64
        Days over which that pace was observed. [d]

    Returns
    -------
    ndarray, float64
        Minus infinity where the step cannot be driven.

    Notes
    -----
    With r = (distance + 150) / (pace days + 150): faster than usual is normal in log r, slower than usual falls
    off gently, because parking is common. Mistakes are spread evenly over
    the logarithm of the number or of its distance from what was expected, or repeat the last number.
    """
    expected = pace * days + _SLACK_KM
    distance = np.maximum(distance_km, 0.0) + _SLACK_KM
    spread = _spread(known_days)
    off = np.abs(distance - expected) + 0.5 * expected
    mistake = _ANYWHERE / np.maximum(keyed_km, _SMALL_NUMBER_KM) + _NEARBY / off
    log_odds = np.log(_GOOD / (spread * distance * mistake))
    possible = (distance_km >= -ROUNDING_KM) & (distance_km <= highest_distance_km(days))
    log_odds = np.where(possible, log_odds - _penalty(distance / expected, spread), -np.inf)
    still = np.nonzero(distance_km == 0.0)
    log_odds[still] = np.minimum(log_odds[still], STANDSTILL_ODDS)
    return log_odds


def step_penalty(distance_km: Floats, days: Floats, pace: Floats, known_days: Floats) -> Floats:
    """Log odds that a step loses because its distance is not the expected one; arguments as before."""
    ratio = (np.maximum(distance_km, 0.0) + _SLACK_KM) / (pace * days + _SLACK_KM)
    return _penalty(ratio, _spread(known_days))


def _penalty(ratio: Floats, spread: Floats) -> Floats:
    """Log odds that a ratio of distance to expected distance costs."""
    log_ratio = np.log(ratio)
    fast = 0.5 * (log_ratio / spread) ** 2
    return np.where(log_ratio > 0.0, fast, -_SLOW_SLOPE * log_ratio)


def _spread(known_days: Floats) -> Floats:
    """Scale of the log ratio to a pace that was observed for so long."""
    return np.asarray(_SPREAD + _EARLY_SPREAD * PRIOR_DAYS / (PRIOR_DAYS + known_days))


def is_plainly_clean(distance_km: Floats, days: Floats, keyed_km: Floats, pace: Floats) -> Booleans:
    """Cheap sufficient test, without logarithms, for a step to be clean by log odds of 2.8 or more."""
    expected = pace * days + _SLACK_KM
    distance = distance_km + _SLACK_KM
    fits = (
        (distance_km >= 0.0) & (distance <= _CLEAN_RATIO * expected) & (distance >= _SLOWEST_RATIO * expected)
    )
    return np.asarray(fits & (keyed_km >= distance) & (distance <= 500.0 + 700.0 * days))
