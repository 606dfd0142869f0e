"""When a probability that only rises reaches given levels: bracketed roots in the square root of time."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.due.limits import FloatArray, IntArray

# A due date is shown as a day; a hundredth of one is never seen.
DAY_TOLERANCE: Final = 0.01

# What the last step may be wrong by, as a share of its length. Chosen by measured error.
_STEP_ERROR: Final = 0.3
_MOST_ROUNDS: Final = 60
_HALVE_AFTER: Final = 6
_N_AROUND: Final = 4
_LARGEST_INT8: Final = 127

ScoreAt = Callable[[IntArray, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Scores of n columns on rising days common to all: shapes (k,) and (k, n), k at least 4. The scores never fall."""

    days: FloatArray
    scores: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Brackets:
    """Open brackets: place in the answer, column, level, and three points in sqrt(days) with score less level.

    The root lies between the two `ends`, shape (2, m), lower end first; `third` is the nearest other point known.
    """

    place: IntArray
    column: IntArray
    level: FloatArray
    ends: FloatArray
    end_gaps: FloatArray
    third: FloatArray
    third_gap: FloatArray

    def take(self, rows: IntArray) -> "_Brackets":
        return _Brackets(**{name: getattr(self, name).take(rows, axis=-1) for name in self.__slots__})


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
    The grid brackets each root. Inverse interpolation through the four grid points around it, in the square root of
    time because the score is nearly a straight line there, is so near to most roots that one more score settles
    them. The others are closed in on: inverse quadratic interpolation through three known points, halving for what
    is left after six rounds. Right to DAY_TOLERANCE, even where the days of a week differ, of which the grid may
    see nothing.
    """
    n_before = _count_below(grid.scores, levels)
    answer = np.where(n_before == 0, 0.0, np.inf).ravel()
    brackets, point = _open_brackets(grid, levels, n_before, end_days)
    for round_number in range(_MOST_ROUNDS):
        if brackets.place.size == 0:
            break
        gap = score_at(brackets.column, point * point) - brackets.level
        _close_in(brackets, point, gap)
        last_point = point
        point, doubt = _next_point(brackets)
        step = np.abs(point * point - last_point * last_point)
        is_settled = (doubt < DAY_TOLERANCE) & (step * _STEP_ERROR < DAY_TOLERANCE)
        is_settled |= np.diff(brackets.ends**2, axis=0)[0] < DAY_TOLERANCE
        answer[brackets.place[is_settled]] = point[is_settled] ** 2
        rest = np.flatnonzero(~is_settled)
        brackets = brackets.take(rest)
        point = point[rest] if round_number < _HALVE_AFTER else brackets.ends.mean(axis=0)
    return answer.reshape(levels.shape)


def _count_below(scores: FloatArray, levels: FloatArray) -> IntArray:
    """Count the grid days before each level is reached, shape (q, n)."""
    count = np.zeros(levels.shape, dtype=np.int8 if len(scores) < _LARGEST_INT8 else np.int16)
    is_below = np.empty(levels.shape, dtype=np.bool_)
    for row in scores:
        np.less(row, levels, out=is_below)
        count += is_below.view(np.int8)
    return count.astype(np.int64)


def _open_brackets(
    grid: Grid, levels: FloatArray, n_before: IntArray, end_days: FloatArray
) -> tuple[_Brackets, FloatArray]:
    """Bracket what is reached between two grid days of interest, and give a first point in each bracket."""
    n_days, n = grid.scores.shape
    root_days, flat_scores = np.sqrt(grid.days), grid.scores.ravel()
    is_open = (n_before > 0) & (n_before < n_days) & (grid.days[n_before - 1] < end_days)
    place = np.flatnonzero(is_open)
    column = place % n
    after = n_before.ravel()[place]
    beside = np.where(after + 1 < n_days, after + 1, after - 2)
    level = levels.ravel()[place]
    brackets = _Brackets(
        place=place,
        column=column,
        level=level,
        ends=np.stack([root_days[after - 1], root_days[after]]),
        end_gaps=np.stack([flat_scores[(after - 1) * n + column], flat_scores[after * n + column]]) - level,
        third=root_days[beside],
        third_gap=flat_scores[beside * n + column] - level,
    )
    first = np.clip(after - 2, 0, n_days - _N_AROUND)
    at = first * n + column
    around = [(root_days[first + step], flat_scores[at + step * n] - level) for step in range(_N_AROUND)]
    return brackets, _first_point(brackets, around)


def _first_point(b: _Brackets, around: list[tuple[FloatArray, FloatArray]]) -> FloatArray:
    """Give the root of the cubic polynomial, in Newton's form, through the four grid days around each bracket."""
    (x0, f0), (x1, f1), (x2, f2), (x3, f3) = around
    with np.errstate(divide="ignore", invalid="ignore"):
        d01, d12, d23 = (x1 - x0) / (f1 - f0), (x2 - x1) / (f2 - f1), (x3 - x2) / (f3 - f2)
        d012, d123 = (d12 - d01) / (f2 - f0), (d23 - d12) / (f3 - f1)
        point = x0 - f0 * (d01 - f1 * (d012 - f2 * (d123 - d012) / (f3 - f0)))
    is_inside = (point >= b.ends[0]) & (point <= b.ends[1])
    return np.where(is_inside, point, b.ends.mean(axis=0))


def _next_point(b: _Brackets) -> tuple[FloatArray, FloatArray]:
    """Give the next point in each bracket, and by how many days it may be wrong.

    Inverse quadratic interpolation, whose distance from the chord bounds its error; the chord, with no bound at all,
    where the three points do not bend the right way.
    """
    (low, high), (low_gap, high_gap) = b.ends, b.end_gaps
    slope = (high - low) / (high_gap - low_gap)
    chord = low - low_gap * slope
    low_run, high_run = b.third_gap - low_gap, b.third_gap - high_gap
    is_usable = (low_run != 0.0) & (high_run != 0.0)
    far_slope = (b.third - high) / np.where(is_usable, high_run, 1.0)
    bend = (far_slope - slope) / np.where(is_usable, low_run, 1.0)
    point = chord + low_gap * high_gap * bend
    is_inside = is_usable & (point >= low) & (point <= high)
    doubt = np.where(is_inside, np.abs(point * point - chord * chord), np.inf)
    return np.where(is_inside, point, chord), doubt


def _close_in(b: _Brackets, point: FloatArray, gap: FloatArray) -> None:
    """Let a new point take the place of one end of each bracket, in place; that end becomes the third point."""
    m = point.size
    end = np.arange(m) + m * (gap >= 0.0)
    for points, third, new in ((b.ends, b.third, point), (b.end_gaps, b.third_gap, gap)):
        points.take(end, out=third, mode="clip")
        points.put(end, new)
