"""The limits of a block, day by day: each day's numbers stay in the processor's cache."""

from dataclasses import dataclass

import numpy as np

from service.engine.due.block import LimitBlock
from service.engine.due.joint import FirstLimit, first_probability, reached_by
from service.engine.due.limits import FloatArray
from service.engine.due.motion import Motion


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Limits over grid days, all of shape (k, n).

    Score and probability of each limit; probability that any has been reached, never falling, and its score.
    """

    scores: list[FloatArray]
    reached: list[FloatArray]
    by_day: FloatArray
    first_scores: FloatArray


def scores_by_day(block: LimitBlock, motion: Motion) -> list[FloatArray]:
    """Score each present limit on every grid day, shape (k, n), never falling."""
    shape = motion.days_ahead.size, block.vehicle_row.size
    scores = [np.empty(shape) for _ in block.present]
    for day in range(shape[0]):
        for score, row in zip(scores, block.scores(motion.on_day(day)), strict=True):
            np.maximum(row, score[day - 1] if day > 0 else row, out=score[day])
    return scores


def course_of(first: FirstLimit, scores: list[FloatArray]) -> Course:
    """Follow several limits and the first of them over the grid days."""
    course = Course(
        scores=scores,
        reached=[np.empty_like(score) for score in scores],
        by_day=np.empty_like(scores[0]),
        first_scores=np.empty_like(scores[0]),
    )
    by_now = np.zeros(scores[0].shape[1])
    for day, by_day in enumerate(course.by_day):
        today = [score[day] for score in scores]
        reached = reached_by(today)
        by_now = np.maximum(by_now, first_probability(today, reached, first.between), out=by_day)
        course.first_scores[day] = first.score_of(by_day)
        for whole, one in zip(course.reached, reached, strict=True):
            whole[day] = one
    return course
