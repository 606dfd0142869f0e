"""Which limit is the first: the probability of each."""

from typing import Final

import numpy as np

from service.engine.due.course import Course
from service.engine.due.joint import FirstLimit
from service.engine.due.limits import FloatArray
from service.engine.due.normal import normal_probability
from service.engine.due.precision import Floats

# Shares change slowly: this is fine enough, chosen by measured speed and error. [d^(1/2)]
_STEP: Final = 1.0

_LEAST_RISE: Final = 1e-30


def first_limit_shares(first: FirstLimit, course: Course, days: FloatArray, by_end: FloatArray) -> FloatArray:
    """Split the probability that a limit is reached by an end day among two or three present limits.

    Parameters
    ----------
    first : FirstLimit
        The present limits.
    course : Course
        Their course over the grid.
    days : ndarray, shape (k,)
        Days of the grid. Steps shorter than `_STEP` in the square root of time are taken together.
    by_end : ndarray, shape (n,)
        Probability that any has been reached at each column's end day.

    Returns
    -------
    ndarray, shape (n_limits, n)
        One row for each present limit; they add up to `by_end`.

    Notes
    -----
    Within a grid step the mass is split in proportion to (rise of a limit's own probability) times (probability
    that the others are not reached, given that this one just is).
    """
    given = {pair: _given_other(one.correlation) for pair, one in first.between.items()}
    shares: FloatArray = np.zeros_like(course.scores[0])
    split = np.zeros_like(by_end)
    before: int | None = None
    for day in _far_apart(days):
        weights = _rises_before_others(given, course, before, day)
        until_now = np.minimum(course.by_day[day], by_end)
        split -= until_now
        split /= -np.add.reduce(weights, axis=0)
        weights *= split
        shares += weights
        split, before = until_now, day
    shares += (by_end - split) / len(shares)
    return shares


def _far_apart(days: FloatArray) -> list[int]:
    """Places of the days that are at least _STEP apart in the square root of time, and of the last."""
    steps = np.floor(np.sqrt(days) / _STEP)
    places: list[int] = np.flatnonzero(np.diff(steps, append=np.inf) > 0.0).tolist()
    return places


def _given_other(correlation: Floats) -> tuple[FloatArray, FloatArray]:
    """Correlation of two scores, and one by the standard deviation that either has, given the other."""
    r: FloatArray = correlation.astype(np.float64)
    return r, 1.0 / np.sqrt(1.0 - r * r)


def _rises_before_others(
    given: dict[tuple[int, int], tuple[FloatArray, FloatArray]], course: Course, before: int | None, day: int
) -> FloatArray:
    """Rise of each limit's probability since the day before, times that the others are not reached by halfway."""
    if before is None:
        rises: FloatArray = course.reached[day].copy()
        middles = course.scores[day]
    else:
        rises = course.reached[day] - course.reached[before]
        middles = course.scores[day] + course.scores[before]
        middles *= 0.5
    for (a, b), (r, scale) in given.items():
        scores = np.stack([r * middles[a], r * middles[b]])
        scores[0] -= middles[b]
        scores[1] -= middles[a]
        scores *= scale
        not_reached = normal_probability(scores)
        rises[a] *= not_reached[0]
        rises[b] *= not_reached[1]
    # Where nothing rises, the mass is split evenly.
    rises += _LEAST_RISE
    return rises
