"""Which limit is the first: the probability of each."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.due.joint import FirstLimit
from service.engine.due.limits import FloatArray
from service.engine.due.normal import normal_probability

# Shares change slowly: this is fine enough, chosen by measured speed and error. [d^(1/2)]
_STEP: Final = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Limits over grid days, never falling: score and probability of each, and of the first; all shape (k, n)."""

    scores: list[FloatArray]
    reached: list[FloatArray]
    by_day: FloatArray

    def thinned(self, days: FloatArray) -> "Course":
        """Keep the grid days that are at least _STEP apart in the square root of time, and the last."""
        steps = np.floor(np.sqrt(days) / _STEP)
        rows = np.flatnonzero(np.diff(steps, append=np.inf) > 0.0)
        return Course(
            scores=[score[rows] for score in self.scores],
            reached=[one[rows] for one in self.reached],
            by_day=self.by_day[rows],
        )


def first_limit_shares(first: FirstLimit, course: Course, by_end: FloatArray) -> list[FloatArray]:
    """Split the probability that a limit is reached by an end day among two or three present limits.

    Parameters
    ----------
    first : FirstLimit
        The present limits.
    course : Course
        Their course over the grid.
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
    capped = np.minimum(course.by_day, by_end)
    mass = np.diff(capped, axis=0, prepend=0.0)
    n_limits = len(course.scores)
    middles = [_midpoints(score) for score in course.scores]
    weights = [_rise_before_others(first, course, middles, place) for place in range(n_limits)]
    total = weights[0] + weights[1]
    for weight in weights[2:]:
        total += weight
    is_split = total > 0.0
    scale = mass / np.where(is_split, total, float(n_limits))
    rest = (by_end - capped[-1]) / n_limits
    return [rest + _sum_in_order(np.where(is_split, weight, 1.0) * scale) for weight in weights]


def _sum_in_order(rows: FloatArray) -> FloatArray:
    """Sum along the first axis, one row after the other: NumPy's own order of addition depends on the shape."""
    total: FloatArray = rows[0].copy()
    for row in rows[1:]:
        total += row
    return total


def _rise_before_others(
    first: FirstLimit, course: Course, middles: list[FloatArray], place: int
) -> FloatArray:
    weight: FloatArray = np.diff(course.reached[place], axis=0, prepend=0.0)
    for other in range(len(middles)):
        if other != place:
            r = first.between[min(place, other), max(place, other)].correlation
            apart = r * middles[place]
            apart -= middles[other]
            apart *= 1.0 / np.sqrt(1.0 - r * r)
            weight *= normal_probability(apart)
    return weight


def _midpoints(scores: FloatArray) -> FloatArray:
    """Give the scores between grid days; the first grid day stands for itself."""
    middles = scores.copy()
    middles[1:] += scores[:-1]
    middles[1:] *= 0.5
    return middles
