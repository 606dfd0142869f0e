"""The limits of a block, day by day: each day's numbers stay in the processor's cache."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.engine.due.block import LimitBlock
from service.engine.due.joint import FirstLimit, first_probability
from service.engine.due.motion import Motion
from service.engine.due.normal import normal_probability
from service.engine.due.precision import AnyFloats


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Limits over grid days.

    Score and probability of each limit, shape (k, n_limits, n); probability that any has been reached, never falling,
    shape (k, n).
    """

    scores: AnyFloats
    reached: AnyFloats
    by_day: AnyFloats


def scores_by_day(block: LimitBlock, motion: Motion) -> AnyFloats:
    """Score each present limit on every grid day, shape (k, n_limits, n), never falling."""
    n_days = motion.days_ahead.size
    scores = np.empty((n_days, len(block.present), block.vehicle_row.size), dtype=block.score_type)
    scores[0] = block.scores(motion.on_day(0), block.score_type)
    for day in range(1, n_days):
        today = block.scores(motion.on_day(day), block.score_type)
        np.maximum(today, scores[day - 1], out=scores[day])
    return scores


def course_of(first: FirstLimit, scores: AnyFloats, n_asked: Sequence[int]) -> Course:
    """Follow several limits and the first of them over the grid days.

    On each day only the first `n_asked` columns are of interest; the others stand still.
    """
    course = Course(scores=scores, reached=np.empty_like(scores), by_day=np.empty_like(scores[:, 0]))
    for day, n in enumerate(n_asked):
        today, reached, by_day = scores[day, :, :n], course.reached[day], course.by_day[day]
        between = {pair: dependence.of_first(n) for pair, dependence in first.between.items()}
        reached[:, :n] = normal_probability(today)
        by_day[:n] = first_probability(today, reached[:, :n], between)
        if day > 0:
            np.maximum(by_day[:n], course.by_day[day - 1, :n], out=by_day[:n])
            by_day[n:] = course.by_day[day - 1, n:]
            reached[:, n:] = course.reached[day - 1, :, n:]
    return course
