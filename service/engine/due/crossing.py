"""When a probability that only rises reaches given levels: bracketed roots in the square root of time."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.engine.due.limits import BoolArray, FloatArray, IntArray

# A due date is shown as a day; a hundredth of one is never seen.
DAY_TOLERANCE: Final = 0.01

# What the last step may be wrong by, as a share of its length. Chosen by measured error.
_STEP_ERROR: Final = 0.3
# Grid days are far apart: what may be doubted of the first point, as a share of the tolerance. Chosen likewise, with a
# yearly season in the meter.
_FIRST_DOUBT: Final = 0.1
_MOST_ROUNDS: Final = 60
_HALVE_AFTER: Final = 6
_N_AROUND: Final = 4
_LARGEST_INT8: Final = 127

ScoreAt = Callable[[IntArray, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Scores of n columns on rising days common to all: shapes (k,) and (k, n). The scores never fall.

    Where they are smooth, interpolation knows how wrong it may be, and its answer needs no check.
    """

    days: FloatArray
    scores: FloatArray
    is_smooth: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Brackets:
    """Open brackets: place in the answer, column, level, and three points in sqrt(days) with score less level.

    The root lies between `low` and `high`; `after` is the grid day behind it, `third` the nearest other point known.
    """

    place: IntArray
    column: IntArray
    after: IntArray
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
    The grid brackets each root. Inverse interpolation through the four grid points around it, in the square root of
    time because the score is nearly a straight line there, gives most roots without any further score. The others
    are closed in on: inverse quadratic interpolation through three known points, halving for what is left after six
    rounds. Right to DAY_TOLERANCE.
    """
    n_before = _count_below(grid.scores, levels)
    answer = np.where(n_before == 0, 0.0, np.inf).ravel()
    brackets = _open_brackets(grid, levels, n_before.astype(np.int64), end_days)
    point, doubt = _first_point(grid, brackets)
    is_settled = (doubt < _FIRST_DOUBT * DAY_TOLERANCE) & grid.is_smooth
    for round_number in range(_MOST_ROUNDS):
        answer[brackets.place[is_settled]] = point[is_settled] ** 2
        brackets, point = brackets.keep(~is_settled), point[~is_settled]
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
    return answer.reshape(levels.shape)


def _count_below(scores: FloatArray, levels: FloatArray) -> NDArray[np.signedinteger]:
    """Count the grid days before each level is reached, shape (q, n)."""
    count = np.zeros(levels.shape, dtype=np.int8 if len(scores) < _LARGEST_INT8 else np.int16)
    is_below = np.empty(levels.shape, dtype=np.bool_)
    for row in scores:
        np.less(row, levels, out=is_below)
        count += is_below.view(np.int8)
    return count


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
        after=after,
        level=level,
        low=root_days[after - 1],
        low_gap=flat_scores[(after - 1) * n + column] - level,
        high=root_days[after],
        high_gap=flat_scores[after * n + column] - level,
        third=root_days[beside],
        third_gap=flat_scores[beside * n + column] - level,
    )


def _first_point(grid: Grid, b: _Brackets) -> tuple[FloatArray, FloatArray]:
    """Give a point in each bracket from four grid days around it, and by how many days it may be wrong.

    The cubic polynomial of Newton's form; its distance from the two quadratic ones through three of the points each
    bounds its error.
    """
    n_days, n = grid.scores.shape
    if n_days < _N_AROUND:
        return _next_point(b)
    first = np.clip(b.after - 2, 0, n_days - _N_AROUND)
    root_days, flat_scores = np.sqrt(grid.days), grid.scores.ravel()
    at = first * n + b.column
    x0, x1, x2, x3 = (root_days[first + step] for step in range(_N_AROUND))
    f0, f1, f2, f3 = (flat_scores[at + step * n] - b.level for step in range(_N_AROUND))
    with np.errstate(divide="ignore", invalid="ignore"):
        d01, d12, d23 = (x1 - x0) / (f1 - f0), (x2 - x1) / (f2 - f1), (x3 - x2) / (f3 - f2)
        d012, d123 = (d12 - d01) / (f2 - f0), (d23 - d12) / (f3 - f1)
        early = x0 - f0 * (d01 - f1 * d012)
        late = x1 - f1 * (d12 - f2 * d123)
        point = early - f0 * f1 * f2 * (d123 - d012) / (f3 - f0)
    is_inside = (point >= b.low) & (point <= b.high)
    point = np.where(is_inside, point, (b.low + b.high) / 2.0)
    apart = np.maximum(np.abs(point - early), np.abs(point - late))
    return point, np.where(is_inside, apart * (b.low + b.high), np.inf)


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
        after=old.after,
        level=old.level,
        low=np.where(is_low, point, old.low),
        low_gap=np.where(is_low, gap, old.low_gap),
        high=np.where(is_low, old.high, point),
        high_gap=np.where(is_low, old.high_gap, gap),
        third=np.where(is_low, old.low, old.high),
        third_gap=np.where(is_low, old.low_gap, old.high_gap),
    )
