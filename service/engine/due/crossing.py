"""When a probability that only rises reaches given levels: bracketed roots in the square root of time."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from service.engine.due.limits import BoolArray, FloatArray, IntArray

# A due date is shown as a day; a hundredth of one is never seen.
DAY_TOLERANCE: Final = 0.01

# What the last step may be wrong by, as a share of its length. Chosen by measured error.
_STEP_ERROR: Final = 0.3
_MOST_ROUNDS: Final = 60
_HALVE_AFTER: Final = 6

ScoreAt = Callable[[IntArray, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Scores of n columns on rising days common to all: shapes (k,) and (k, n). The scores never fall."""

    days: FloatArray
    scores: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Brackets:
    """Open brackets: place in the answer, column, level, and three points in sqrt(days) with score less level.

    The root lies between `low` and `high`; `third` is the nearest other point known.
    """

    place: IntArray
    column: IntArray
    level: FloatArray
    low: FloatArray
    low_gap: FloatArray
    high: FloatArray
    high_gap: FloatArray
    third: FloatArray
    third_gap: FloatArray

    def keep(self, is_kept: BoolArray) -> "_Brackets":
        kept = np.flatnonzero(is_kept)
        return _Brackets(**{field.name: getattr(self, field.name)[kept] for field in fields(self)})


def crossing_days(score_at: ScoreAt, grid: Grid, levels: FloatArray, end_days: FloatArray) -> FloatArray:
    """Find the days ahead at which a score first reaches each level.

    Parameters
    ----------
    score_at : callable
        `score_at(columns, days)`: the score of each named column at its own day.
    grid : Grid
        The same score on k days, from day 0 to the horizon.
    levels : ndarray, shape (q, n), float64
        Levels to reach.
    end_days : ndarray, shape (n,), float64
        Day after which each column's crossings are of no interest. [d]

    Returns
    -------
    ndarray, shape (q, n), float64
        Days ahead; 0 where the level is reached at once, inf where it is not reached, or of no interest. [d]

    Notes
    -----
    The grid brackets each root. Inverse quadratic interpolation through three known points closes the bracket, in
    the square root of time because the score is nearly a straight line there; halving for what is left after six
    rounds. Right to DAY_TOLERANCE. Costs one to two scores a root.
    """
    n_before = np.zeros(levels.shape, dtype=np.int16)
    for scores in grid.scores:
        n_before += scores < levels
    answer = np.where(n_before == 0, 0.0, np.inf).ravel()
    brackets = _open_brackets(grid, levels, n_before.astype(np.int64), end_days)
    point = _next_point(brackets)[0]
    for round_number in range(_MOST_ROUNDS):
        if brackets.place.size == 0:
            break
        if round_number >= _HALVE_AFTER:
            point = (brackets.low + brackets.high) / 2.0
        gap = score_at(brackets.column, point * point) - brackets.level
        brackets = _close_in(brackets, point, gap)
        last_point = point
        point, doubt = _next_point(brackets)
        step = np.abs(point * point - last_point * last_point)
        is_close = (doubt < DAY_TOLERANCE) & (step * _STEP_ERROR < DAY_TOLERANCE)
        is_settled = is_close | (brackets.high**2 - brackets.low**2 < DAY_TOLERANCE)
        answer[brackets.place[is_settled]] = point[is_settled] ** 2
        brackets, point = brackets.keep(~is_settled), point[~is_settled]
    return answer.reshape(levels.shape)


def _open_brackets(grid: Grid, levels: FloatArray, n_before: IntArray, end_days: FloatArray) -> _Brackets:
    n_days, n = grid.scores.shape
    root_days = np.sqrt(grid.days)
    is_open = (n_before > 0) & (n_before < n_days) & (grid.days[n_before - 1] < end_days)
    place = np.flatnonzero(is_open)
    column = place % n
    after = n_before.ravel()[place]
    beside = np.where(after + 1 < n_days, after + 1, np.maximum(after - 2, 0))
    level = levels.ravel()[place]
    flat_scores = grid.scores.ravel()
    return _Brackets(
        place=place,
        column=column,
        level=level,
        low=root_days[after - 1],
        low_gap=flat_scores[(after - 1) * n + column] - level,
        high=root_days[after],
        high_gap=flat_scores[after * n + column] - level,
        third=root_days[beside],
        third_gap=flat_scores[beside * n + column] - level,
    )


def _next_point(b: _Brackets) -> tuple[FloatArray, FloatArray]:
    """Give the next point in each bracket, and by how many days it may be wrong.

    Inverse quadratic interpolation, whose distance from the chord bounds its error; the chord, with no bound at all,
    where the three points do not bend the right way.
    """
    slope = (b.high - b.low) / (b.high_gap - b.low_gap)
    chord = b.low - b.low_gap * slope
    low_run, high_run = b.third_gap - b.low_gap, b.third_gap - b.high_gap
    is_usable = (low_run != 0.0) & (high_run != 0.0)
    far_slope = (b.third - b.high) / np.where(is_usable, high_run, 1.0)
    bend = (far_slope - slope) / np.where(is_usable, low_run, 1.0)
    point = chord + b.low_gap * b.high_gap * bend
    is_inside = is_usable & (point >= b.low) & (point <= b.high)
    doubt = np.where(is_inside, np.abs(point * point - chord * chord), np.inf)
    return np.where(is_inside, point, chord), doubt


def _close_in(old: _Brackets, point: FloatArray, gap: FloatArray) -> _Brackets:
    """Put a new point in each bracket."""
    is_low = gap < 0.0
    return _Brackets(
        place=old.place,
        column=old.column,
        level=old.level,
        low=np.where(is_low, point, old.low),
        low_gap=np.where(is_low, gap, old.low_gap),
        high=np.where(is_low, old.high, point),
        high_gap=np.where(is_low, old.high_gap, gap),
        third=np.where(is_low, old.low, old.high),
        third_gap=np.where(is_low, old.low_gap, old.high_gap),
    )
