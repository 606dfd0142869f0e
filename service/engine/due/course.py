"""The limits of a block, day by day: each day's numbers stay in the processor's cache."""

from dataclasses import dataclass

import numpy as np

from service.engine.due.block import LimitBlock
from service.engine.due.joint import FirstLimit, first_probability
from service.engine.due.limits import FloatArray
from service.engine.due.motion import Motion
from service.engine.due.normal import normal_probability


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Limits over grid days.

    Score and probability of each limit, shape (k, n_limits, n); probability that any has been reached, never falling,
    shape (k, n).
    """

    scores: FloatArray
    reached: FloatArray
    by_day: FloatArray


def scores_by_day(block: LimitBlock, motion: Motion) -> FloatArray:
    """Score each present limit on every grid day, shape (k, n_limits, n), never falling."""
    n_days = motion.days_ahead.size
    scores = np.empty((n_days, len(block.present), block.vehicle_row.size))
    scores[0] = block.scores(motion.on_day(0))
    for day in range(1, n_days):
        np.maximum(block.scores(motion.on_day(day)), scores[day - 1], out=scores[day])
    return scores


def course_of(first: FirstLimit, scores: FloatArray) -> Course:
    """Follow several limits and the first of them over the grid days."""
    n_days, _, n = scores.shape
    course = Course(scores=scores, reached=np.empty_like(scores), by_day=np.empty((n_days, n)))
    by_now = np.zeros(n)
    for today, reached, by_day in zip(scores, course.reached, course.by_day, strict=True):
        reached[:] = normal_probability(today)
        by_now = np.maximum(by_now, first_probability(today, reached, first.between), out=by_day)
    return course
