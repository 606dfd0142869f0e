"""Which limit is the first: the probability of each."""

from collections.abc import Sequence
from typing import Final, TypeAlias

import numpy as np

from service.engine.arrays import Floats
from service.engine.due.course import Course
from service.engine.due.joint import FirstLimit
from service.engine.due.normal import normal_probability
from service.engine.due.precision import AnyFloats

# Shares change slowly: this is fine enough, chosen by measured speed and error. [d^(1/2)]
_STEP: Final = 1.0

_LEAST_RISE: Final = 1e-30

Given: TypeAlias = dict[tuple[int, int], tuple[AnyFloats, AnyFloats]]


def first_limit_shares(
    first: FirstLimit, course: Course, days: Floats, n_asked: Sequence[int], by_end: AnyFloats
) -> Floats:
    """Split the probability that a limit is reached by an end day among two or three present limits.

    Parameters
    ----------
    first : FirstLimit
        The present limits.
    course : Course
        Their course over the grid.
    days : ndarray, shape (k,)
        Days of the grid. Steps shorter than `_STEP` in the square root of time are taken together.
    n_asked : sequence of int, k
        How many of the first columns are of interest on each of them.
    by_end : ndarray, shape (n,)
        Probability that any has been reached at each column's end day.

    Returns
    -------
    ndarray, shape (n_limits, n), float64
        One row for each present limit; they add up to `by_end`.

    Notes
    -----
    Within a grid step the mass is split in proportion to (rise of a limit's own probability) times (probability
    that the others are not reached, given that this one just is).
    """
    given = {pair: _given_other(one.correlation) for pair, one in first.between.items()}
    shares = np.zeros_like(course.scores[0])
    split = np.zeros_like(by_end)
    before: int | None = None
    for day in far_apart(days):
        n = n_asked[0 if before is None else before]
        weights = _rises_before_others(given, course, before, day, n)
        until_now = np.minimum(course.by_day[day, :n], by_end[:n])
        mass = until_now - split[:n]
        mass /= np.add.reduce(weights, axis=0)
        weights *= mass
        shares[:, :n] += weights
        split[:n] = until_now
        before = day
    # Seven digits add up to by_end only nearly.
    exact: Floats = shares.astype(np.float64)
    exact += _LEAST_RISE
    exact *= by_end / np.add.reduce(exact, axis=0)
    return exact


def far_apart(days: Floats) -> list[int]:
    """Give the places of the days that are at least _STEP apart in the square root of time, and of the last."""
    steps = np.floor(np.sqrt(days) / _STEP)
    places: list[int] = np.flatnonzero(np.diff(steps, append=np.inf) > 0.0).tolist()
    return places


def _given_other(correlation: AnyFloats) -> tuple[AnyFloats, AnyFloats]:
    """Correlation of two scores, and one by the standard deviation that either has, given the other."""
    return correlation, 1.0 / np.sqrt(1.0 - correlation * correlation)


def _rises_before_others(given: Given, course: Course, before: int | None, day: int, n: int) -> AnyFloats:
    """Rise of each limit's probability since the day before, times that the others are not reached by halfway.

    For the first n columns.
    """
    rises: AnyFloats = course.reached[day, :, :n].copy()
    middles = course.scores[day, :, :n]
    if before is not None:
        rises -= course.reached[before, :, :n]
        middles = middles + course.scores[before, :, :n]
        middles *= 0.5
    for (a, b), (r, scale) in given.items():
        scores = r[:n] * middles[[a, b]]
        scores -= middles[[b, a]]
        scores *= scale[:n]
        not_reached = normal_probability(scores)
        rises[a] *= not_reached[0]
        rises[b] *= not_reached[1]
    # Where nothing rises, or rounding has it fall, the mass is split evenly.
    return np.clip(rises, _LEAST_RISE, 1.0, out=rises)
