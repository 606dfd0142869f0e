"""The plain projections that ours has to beat, each with an interval from its own past errors."""

from enum import StrEnum
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.usage.origins import Origins

HALF_LIFE_DAYS: Final = 90.0
MOST_PAIRS: Final = 25
LEAST_ERRORS: Final = 6
# Common practice, no source: with too few errors of its own, one standard deviation is 35 % of the distance.
SPREAD_WITHOUT_ERRORS: Final = 0.35
LEVELS: Final = (0.1, 0.5, 0.9)
# 90 % point of the normal law.
_Z90: Final = 1.2815515655446004


class Baseline(StrEnum):
    """Ways to project an odometer that need no model."""

    AVERAGE_SINCE_FIRST = "average_since_first"
    LAST_TWO = "last_two"
    WEIGHTED_REGRESSION = "weighted_regression"


def rates_at_every_reading(
    baseline: Baseline, time_days: Floats, odometer_km: Floats, offsets: Integers
) -> Floats:
    """Rate that a baseline would state after each reading, from the readings up to it.

    Returns
    -------
    ndarray, shape (r,), float64
        Zero at each vehicle's first reading. [km/d]
    """
    counts = np.diff(offsets)
    vehicle = np.repeat(np.arange(counts.size), counts)
    rank = np.arange(time_days.size) - offsets[:-1][vehicle]
    if baseline is Baseline.WEIGHTED_REGRESSION:
        return _regression_rates(time_days, odometer_km, offsets)
    start = offsets[:-1][vehicle] if baseline is Baseline.AVERAGE_SINCE_FIRST else np.arange(rank.size) - 1
    start = np.where(rank > 0, start, np.arange(rank.size))
    days = time_days - time_days[start]
    return np.divide(odometer_km - odometer_km[start], days, out=np.zeros(days.size), where=days > 0.0)


def _regression_rates(time_days: Floats, odometer_km: Floats, offsets: Integers) -> Floats:
    """Slopes of regressions with weights that halve every 90 days back, by recursive sums."""
    counts = np.diff(offsets)
    order = np.argsort(-counts, kind="stable")
    rates = np.zeros(time_days.size)
    sums = np.zeros(
        (5, counts.size)
    )  # weight, time, km, time squared, time times km; relative to the last reading
    for k in range(int(counts.max(initial=0))):
        at = offsets[:-1][order[: int(np.count_nonzero(counts > k))]] + k
        w, t, x, tt, tx = (row[: at.size] for row in sums)
        if k > 0:
            gap, distance = time_days[at] - time_days[at - 1], odometer_km[at] - odometer_km[at - 1]
            faded = 0.5 ** (gap / HALF_LIFE_DAYS)
            tx += -gap * x - distance * t + gap * distance * w
            tt += -2.0 * gap * t + gap * gap * w
            t -= gap * w
            x -= distance * w
            sums[:, : at.size] *= faded
        w += 1.0
        spread = tt - t * t / w
        slope = np.divide(tx - t * x / w, spread, out=np.zeros(at.size), where=spread > 1e-9)
        rates[at] = np.maximum(slope, 0.0)
    return rates


def baseline_quantiles(
    baseline: Baseline, time_days: Floats, odometer_km: Floats, offsets: Integers, origins: Origins
) -> Floats:
    """Distance that a baseline projects from each origin to its target.

    Parameters
    ----------
    baseline
        Which one.
    time_days, odometer_km, offsets
        Readings of n vehicles, in order within each.
    origins
        Exercises.

    Returns
    -------
    ndarray, shape (p, 3), float64
        P10, P50 and P90 after the origin's reading. [km]

    Notes
    -----
    The interval comes from the rate's own errors on the past known at the origin, over times like the horizon
    but at most half the history; with fewer than six of them it is a fixed share of the distance.
    """
    rates = rates_at_every_reading(baseline, time_days, odometer_km, offsets)
    days = time_days[origins.target] - time_days[origins.origin]
    first = offsets[:-1][origins.vehicle]
    known = origins.origin - first + 1
    middle = rates[origins.origin] * days
    errors, owner = _past_errors(rates, time_days, odometer_km, first, known, days)
    low, high, n_errors = _error_quantiles(errors, owner, days.size)
    fixed = _Z90 * SPREAD_WITHOUT_ERRORS * middle
    enough = n_errors >= LEAST_ERRORS
    below = np.where(enough, np.minimum(low, 0.0) * days, -fixed)
    above = np.where(enough, np.maximum(high, 0.0) * days, fixed)
    return np.maximum(np.stack([middle + below, middle, middle + above], axis=1), 0.0)


def _past_errors(
    rates: Floats, time_days: Floats, odometer_km: Floats, first: Integers, known: Integers, days: Floats
) -> tuple[Floats, Integers]:
    """Errors of the rate at up to 25 earlier readings of each exercise, and the exercise each belongs to."""
    share = np.linspace(0.0, 1.0, MOST_PAIRS)[None, :]
    last = known[:, None] - 2
    rank = np.floor(2.0 + share * np.maximum(last - 2, 0) + 1e-9).astype(np.int64)
    fresh = np.ones(rank.shape, dtype=np.bool_)
    fresh[:, 1:] = rank[:, 1:] != rank[:, :-1]
    usable = fresh & (rank <= last) & (known[:, None] >= 5)
    owner, column = np.nonzero(usable)
    start = first[owner] + rank[owner, column]
    end = first[owner] + known[owner] - 1
    want = np.minimum(days[owner], 0.5 * (time_days[end] - time_days[first[owner]]))
    target = _nearest(time_days, start, end, time_days[start] + want)
    gap = time_days[target] - time_days[start]
    fits = (target > start) & (gap >= 0.4 * want) & (gap <= 2.5 * want)
    owner, start, target, gap = owner[fits], start[fits], target[fits], gap[fits]
    return (odometer_km[target] - odometer_km[start]) / gap - rates[start], owner


def _nearest(time_days: Floats, first: Integers, last: Integers, wanted: Floats) -> Integers:
    """Position nearest to a wanted time between two positions, by bisection."""
    low, high = first.copy(), last.copy()
    for _ in range(int(np.ceil(np.log2(max(int(np.max(last - first, initial=1)), 1)))) + 1):
        middle = (low + high) // 2
        before = time_days[middle] < wanted
        low, high = np.where(before, np.minimum(middle + 1, high), low), np.where(before, high, middle)
    earlier = np.maximum(high - 1, first)
    closer = np.abs(time_days[earlier] - wanted) <= np.abs(time_days[high] - wanted)
    return np.where(closer, earlier, high)


def _error_quantiles(errors: Floats, owner: Integers, n: int) -> tuple[Floats, Floats, Integers]:
    """10 % and 90 % points of each exercise's errors (linear interpolation) and their number."""
    count = np.bincount(owner, minlength=n)
    ranked = errors[np.lexsort((errors, owner))]
    start = np.concatenate([[0], np.cumsum(count)[:-1]])
    points = []
    for level in (LEVELS[0], LEVELS[2]):
        place = level * np.maximum(count - 1, 0)
        whole = np.floor(place).astype(np.int64)
        at = np.minimum(start + whole, max(errors.size - 1, 0))
        after = np.minimum(at + (whole + 1 < count), max(errors.size - 1, 0))
        value = ranked[at] + (place - whole) * (ranked[after] - ranked[at]) if errors.size else np.zeros(n)
        points.append(value)
    return points[0], points[1], count
