"""Which limit is the first: the probability of each."""

from typing import Final

import numpy as np

from service.engine.due.course import Course
from service.engine.due.joint import FirstLimit
from service.engine.due.limits import FloatArray
from service.engine.due.normal import normal_probability

# Shares change slowly: this is fine enough, chosen by measured speed and error. [d^(1/2)]
_STEP: Final = 1.0

_LEAST_RISE: Final = 1e-30


def first_limit_shares(
    first: FirstLimit, course: Course, days: FloatArray, by_end: FloatArray
) -> list[FloatArray]:
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
    list of ndarray, shape (n,)
        One for each present limit; they add up to `by_end`.

    Notes
    -----
    Within a grid step the mass is split in proportion to (rise of a limit's own probability) times (probability
    that the others are not reached, given that this one just is).
    """
    n_limits = len(course.scores)
    scales = {pair: _scale_given_other(one.correlation) for pair, one in first.between.items()}
    shares = [np.zeros_like(by_end) for _ in range(n_limits)]
    split = np.zeros_like(by_end)
    before: int | None = None
    for day in _far_apart(days):
        weights = _rises_before_others(first, scales, course, before, day)
        total = weights[0] + weights[1]
        for weight in weights[2:]:
            total += weight
        until_now = np.minimum(course.by_day[day], by_end)
        mass_by_weight = (until_now - split) / total
        for share, weight in zip(shares, weights, strict=True):
            np.multiply(weight, mass_by_weight, out=weight)
            np.add(share, weight, out=share)
        split, before = until_now, day
    rest = (by_end - split) / n_limits
    return [share + rest for share in shares]


def _far_apart(days: FloatArray) -> list[int]:
    """Places of the days that are at least _STEP apart in the square root of time, and of the last."""
    steps = np.floor(np.sqrt(days) / _STEP)
    places: list[int] = np.flatnonzero(np.diff(steps, append=np.inf) > 0.0).tolist()
    return places


def _scale_given_other(correlation: FloatArray) -> FloatArray:
    """One by the standard deviation that a score has, given the other one of its pair."""
    scale: FloatArray = 1.0 / np.sqrt(1.0 - correlation * correlation)
    return scale


def _rises_before_others(
    first: FirstLimit, scales: dict[tuple[int, int], FloatArray], course: Course, before: int | None, day: int
) -> list[FloatArray]:
    """Rise of each limit's probability since the day before, times that the others are not reached by halfway."""
    rises = [one[day] - (0.0 if before is None else one[before]) for one in course.reached]
    middles = [
        score[day] if before is None else 0.5 * (score[day] + score[before]) for score in course.scores
    ]
    for (a, b), dependence in first.between.items():
        r, scale = dependence.correlation, scales[a, b]
        rises[a] *= normal_probability((r * middles[a] - middles[b]) * scale)
        rises[b] *= normal_probability((r * middles[b] - middles[a]) * scale)
    # Where nothing rises, the mass is split evenly.
    return [rise + _LEAST_RISE for rise in rises]
