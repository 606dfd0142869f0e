"""The first limit on a meter or on condition of one block: when, by when with what probability, and which."""

from dataclasses import dataclass
from typing import Final, Self

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.due.block import LimitBlock
from service.engine.due.course import course_of, scores_by_day
from service.engine.due.crossing import N_AROUND, Grid, crossing_days
from service.engine.due.joint import FirstLimit, joined
from service.engine.due.precision import AnyFloats
from service.engine.due.shares import far_apart, first_limit_shares

# Steps of the grid that brackets the roots, even in the square root of time. Chosen by measured speed.
_N_STEPS: Final = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """Days of a grid that brackets the roots, and what is where among them.

    `grid_days` has shape (k,), `week_places` of the week ends shape (w,). Of a question that ends at or before the
    grid day of a place, shape (k,), `n_needed` says how many grid days the answer takes.
    """

    grid_days: Floats
    week_places: Integers
    n_needed: Integers

    @classmethod
    def of(cls, week_end_days: Floats, horizon_days: float) -> Self:
        """Let the week ends serve as grid days; an even grid only fills the steps that hold none."""
        even = horizon_days * (np.arange(_N_STEPS + 1) / _N_STEPS) ** 2
        n_weeks_before = np.searchsorted(week_end_days, even, side="right")
        days = np.concatenate([even[np.diff(n_weeks_before, prepend=0) == 0], week_end_days])
        days = np.union1d(days, [horizon_days])
        # One more day for interpolation, and up to the next one at which limits are told apart.
        places, apart = np.arange(days.size), np.array(far_apart(days))
        next_apart = apart[np.searchsorted(apart, places)]
        return cls(
            grid_days=days,
            week_places=np.searchsorted(days, week_end_days),
            n_needed=np.clip(np.maximum(places + 2, next_apart + 1), N_AROUND, days.size),
        )

    def n_needed_by(self, end_days: Floats) -> Integers:
        """How many of the grid days a column needs that is of no interest after its end day."""
        needed: Integers = self.n_needed[np.searchsorted(self.grid_days, end_days)]
        return needed


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked of a block.

    `probabilities` are the asked ones, shape (q,); `end_days`, shape (n,), is the day up to which the limits compete,
    within the horizon. Columns that need more grid days come first.
    """

    probabilities: Floats
    days: Days
    end_days: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """Answers without calendar and contamination: shapes (q, n), (w, n), (n,), (n,) and (n_limits, n)."""

    days_ahead: Floats
    by_week_end: AnyFloats
    by_now: AnyFloats
    by_end: AnyFloats
    shares: Floats


def first_reached(block: LimitBlock, question: Question) -> Reached:
    """Answer a question for one block.

    Notes
    -----
    A limit that has been reached stays reached, so every probability is the running maximum over time: far ahead
    the moment-matched score may bend down again. Columns whose calendar ends the question early are left out of the
    days after that.
    """
    if not block.present:
        return _never(question)
    days, end_days = question.days.grid_days, question.end_days
    n_asked = _n_asked(question)
    motion = block.motion_on_grid(days)
    scores = scores_by_day(block, motion)
    first = joined(block, motion, scores)
    if first.is_alone:
        grid = Grid(days=days, levels=scores[:, 0])
        by_end = _by_end(first, grid, end_days)
        shares = by_end[np.newaxis].astype(np.float64)
    else:
        course = course_of(first, scores, n_asked)
        grid = Grid(days=days, levels=course.by_day)
        by_end = _by_end(first, grid, end_days)
        shares = first_limit_shares(first, course, days, n_asked, by_end)
    levels = np.broadcast_to(
        first.level_of(question.probabilities)[:, np.newaxis], (question.probabilities.size, end_days.size)
    )
    return Reached(
        days_ahead=crossing_days(first, grid, levels, end_days),
        by_week_end=first.probability_of(grid.levels[question.days.week_places]),
        by_now=first.probability_on(motion.on_day(0)),
        by_end=by_end,
        shares=shares,
    )


def _never(question: Question) -> Reached:
    n = question.end_days.size
    return Reached(
        days_ahead=np.full((question.probabilities.size, n), np.inf),
        by_week_end=np.zeros((question.days.week_places.size, n)),
        by_now=np.zeros(n),
        by_end=np.zeros(n),
        shares=np.zeros((0, n)),
    )


def _n_asked(question: Question) -> list[int]:
    """How many columns each grid day is of interest to: those that are asked about longest come first."""
    rising = question.days.n_needed_by(question.end_days)[::-1]
    places = np.arange(question.days.grid_days.size)
    n_asked: list[int] = (rising.size - np.searchsorted(rising, places, side="right")).tolist()
    return n_asked


def _by_end(first: FirstLimit, grid: Grid, end_days: Floats) -> AnyFloats:
    """Give the probability that a limit is reached by each column's end day."""
    before = np.searchsorted(grid.days, end_days, side="right") - 1
    level = grid.levels[before, np.arange(end_days.size)]
    between = np.flatnonzero(end_days > grid.days[before])
    level[between] = np.maximum(level[between], first.level_at(between, end_days[between]))
    return first.probability_of(level)
