"""The first limit on a meter or on condition of one block: when, by when with what probability, and which."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.due.block import LimitBlock
from service.engine.due.course import course_of, scores_by_day
from service.engine.due.crossing import Grid, crossing_days
from service.engine.due.joint import FirstLimit, joined
from service.engine.due.limits import FloatArray, IntArray
from service.engine.due.shares import first_limit_shares

# Steps of the grid that brackets the roots, even in the square root of time. Chosen by measured speed.
_N_STEPS: Final = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked of a block.

    `probabilities` are the asked ones, shape (q, n), or (q, 1) where all columns share them; `week_end_days` has
    shape (w,); `end_days`, shape (n,), is the day up to which the limits compete, within the horizon.
    """

    probabilities: FloatArray
    week_end_days: FloatArray
    end_days: FloatArray
    horizon_days: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """Answers without calendar and contamination: shapes (q, n), (w, n), (n,), (n,) and (n_limits, n)."""

    days_ahead: FloatArray
    by_week_end: FloatArray
    by_now: FloatArray
    by_end: FloatArray
    shares: FloatArray


def first_reached(block: LimitBlock, question: Question) -> Reached:
    """Answer a question for one block.

    Notes
    -----
    A limit that has been reached stays reached, so every probability is the running maximum over time: far ahead
    the moment-matched score may bend down again.
    """
    if not block.present:
        return _never(question)
    days, week_places = _grid_days(question)
    motion = block.motion_on_grid(days)
    scores = scores_by_day(block, motion)
    first = joined(block, motion, scores)
    if first.is_alone:
        grid = Grid(days=days, levels=scores[:, 0])
        by_end = _by_end(first, grid, question.end_days)
        shares = by_end[np.newaxis]
    else:
        course = course_of(first, scores)
        grid = Grid(days=days, levels=course.by_day)
        by_end = _by_end(first, grid, question.end_days)
        shares = first_limit_shares(first, course, days, by_end)
    shape = len(question.probabilities), question.end_days.size
    levels = np.broadcast_to(first.level_of(question.probabilities), shape)
    return Reached(
        days_ahead=crossing_days(first, grid, levels, question.end_days),
        by_week_end=first.probability_of(grid.levels[week_places]),
        by_now=first.probability_of(grid.levels[0]),
        by_end=by_end,
        shares=shares,
    )


def _never(question: Question) -> Reached:
    n = question.end_days.size
    return Reached(
        days_ahead=np.full((len(question.probabilities), n), np.inf),
        by_week_end=np.zeros((question.week_end_days.size, n)),
        by_now=np.zeros(n),
        by_end=np.zeros(n),
        shares=np.zeros((0, n)),
    )


def _grid_days(question: Question) -> tuple[FloatArray, IntArray]:
    """Give days that bracket the roots, and the places of the week ends among them.

    The week ends serve as grid days; the even grid only fills the steps that hold none.
    """
    even = question.horizon_days * (np.arange(_N_STEPS + 1) / _N_STEPS) ** 2
    weeks = question.week_end_days
    n_weeks_before = np.searchsorted(weeks, even, side="right")
    days = np.concatenate([even[np.diff(n_weeks_before, prepend=0) == 0], weeks])
    days = np.union1d(days, [question.horizon_days])
    return days, np.searchsorted(days, weeks)


def _by_end(first: FirstLimit, grid: Grid, end_days: FloatArray) -> FloatArray:
    """Give the probability that a limit is reached by each column's end day."""
    before = np.searchsorted(grid.days, end_days, side="right") - 1
    level = grid.levels[before, np.arange(end_days.size)]
    between = np.flatnonzero(end_days > grid.days[before])
    level[between] = np.maximum(level[between], first.level_at(between, end_days[between]))
    return first.probability_of(level)
