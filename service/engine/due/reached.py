"""The first limit on a meter or on condition of one block: when, by when with what probability, and which."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import special

from service.engine.due.block import LimitBlock
from service.engine.due.crossing import crossing_days
from service.engine.due.joint import FirstLimit, joined, normal_score
from service.engine.due.limits import FloatArray, Limit
from service.engine.due.shares import first_limit_shares

# Steps of the grid that brackets the roots, even in the square root of time. Chosen by measured speed.
_N_STEPS: Final = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked of a block.

    `levels` are normal scores of the wanted probabilities, shape (q, n); `week_end_days` has shape (w,); `end_days`,
    shape (n,), is the day up to which the limits compete, within the horizon.
    """

    levels: FloatArray
    week_end_days: FloatArray
    end_days: FloatArray
    horizon_days: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """Answers without calendar and contamination: shapes (q, n), (w, n), (n,) and one (n,) a present limit."""

    days_ahead: FloatArray
    by_week_end: FloatArray
    by_now: FloatArray
    by_end: FloatArray
    shares: dict[Limit, FloatArray]


def first_reached(block: LimitBlock, question: Question) -> Reached:
    """Answer a question for one block.

    Notes
    -----
    A limit that has been reached stays reached, so every probability is the running maximum over time: far ahead
    the moment-matched score may bend down again.
    """
    if not block.present:
        return _never(question)
    root_days = np.sqrt(question.horizon_days) * np.arange(_N_STEPS + 1) / _N_STEPS
    grid_days = root_days * root_days
    motion = block.motion_on_grid(grid_days)
    scores = [np.maximum.accumulate(score, axis=0) for score in block.scores(motion)]
    first = joined(block, motion, scores)
    score = _first_score(first, scores)
    end_score = _score_at_end(first, grid_days, score, question.end_days)
    by_end = special.ndtr(end_score)
    shares = first_limit_shares(first, scores, score, by_end)
    return Reached(
        days_ahead=crossing_days(first.score_at, root_days, score, question.levels),
        by_week_end=_by_week_end(first, score[0], question.week_end_days),
        by_now=special.ndtr(score[0]),
        by_end=by_end,
        shares=dict(zip(block.present, shares, strict=True)),
    )


def _never(question: Question) -> Reached:
    n = question.end_days.size
    return Reached(
        days_ahead=np.full(question.levels.shape, np.inf),
        by_week_end=np.zeros((question.week_end_days.size, n)),
        by_now=np.zeros(n),
        by_end=np.zeros(n),
        shares={},
    )


def _first_score(first: FirstLimit, scores: list[FloatArray]) -> FloatArray:
    if len(scores) == 1:
        return scores[0]
    return np.maximum.accumulate(normal_score(first.probability(scores, slice(None))), axis=0)


def _score_at_end(
    first: FirstLimit, grid_days: FloatArray, score: FloatArray, end_days: FloatArray
) -> FloatArray:
    columns = np.arange(end_days.size, dtype=np.int64)
    before = np.searchsorted(grid_days, end_days, side="right") - 1
    return np.maximum(first.score_at(columns, end_days), score[before, columns])


def _by_week_end(first: FirstLimit, score_now: FloatArray, week_end_days: FloatArray) -> FloatArray:
    scores = first.block.scores(first.block.motion_on_grid(week_end_days))
    score = scores[0] if len(scores) == 1 else normal_score(first.probability(scores, slice(None)))
    if score.size:
        score = np.maximum.accumulate(np.maximum(score, score_now), axis=0)
    reached: FloatArray = special.ndtr(score)
    return reached
