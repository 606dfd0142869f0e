"""When a probability that only rises reaches given levels: bracketed roots in the square root of time."""

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.due.precision import AnyFloats

# A due date is shown as a day; a thousandth of one is never seen.
DAY_TOLERANCE: Final = 0.001
# After a step as short as this a date is right to the tolerance, even one that is known almost for certain, about which
# interpolation errs most. Chosen by measured error, held by `tests/engine/due/test_precision.py`.
_LAST_STEP_DAYS: Final = 6e-4
_MOST_ROUNDS: Final = 60
_HALVE_AFTER: Final = 6
N_AROUND: Final = 4
_LARGEST_INT8: Final = 127


class Rising(Protocol):
    """A level that only rises with time, and its score, which rises nearly in a straight line."""

    def level_at(self, columns: Integers, days_ahead: Floats) -> AnyFloats:
        """Give the level of each named column at its own day."""

    def score_of(self, level: AnyFloats) -> Floats:
        """Turn levels into scores."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Levels of n columns on rising days common to all: shapes (k,) and (k, n), k at least 4. They never fall."""

    days: Floats
    levels: AnyFloats


@dataclass(frozen=True, slots=True, kw_only=True)
class _Brackets:
    """Open brackets: place in the answer, column, level, and three points in sqrt(days) with score less level.

    The root lies between the two `ends`, shape (2, m), lower end first; `third` is the nearest other point known.
    """

    place: Integers
    column: Integers
    level: Floats
    ends: Floats
    end_gaps: Floats
    third: Floats
    third_gap: Floats

    def take(self, rows: Integers) -> "_Brackets":
        return _Brackets(**{name: getattr(self, name).take(rows, axis=-1) for name in self.__slots__})


def crossing_days(rising: Rising, grid: Grid, levels: AnyFloats, end_days: Floats) -> Floats:
    """Find the days ahead at which what rises first reaches each level.

    Parameters
    ----------
    rising : Rising
        What rises, column by column.
    grid : Grid
        The same on k days, from day 0 to the horizon.
    levels : ndarray, shape (q, n)
        Levels to reach, in the precision of the grid's.
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
    n_before = _count_below(grid.levels, levels)
    answer = np.where(n_before == 0, 0.0, np.inf).ravel()
    brackets, point = _open_brackets(rising, grid, levels, n_before, end_days)
    for round_number in range(_MOST_ROUNDS):
        if brackets.place.size == 0:
            break
        gap = rising.score_of(rising.level_at(brackets.column, point * point)) - brackets.level
        _close_in(brackets, point, gap)
        last_point = point
        point, doubt = _next_point(brackets)
        step = np.abs(point * point - last_point * last_point)
        is_settled = (doubt < DAY_TOLERANCE) & (step < _LAST_STEP_DAYS)
        is_settled |= np.diff(brackets.ends**2, axis=0)[0] < _LAST_STEP_DAYS
        answer[brackets.place[is_settled]] = point[is_settled] ** 2
        rest = np.flatnonzero(~is_settled)
        brackets = brackets.take(rest)
        point = point[rest] if round_number < _HALVE_AFTER else brackets.ends.mean(axis=0)
    return answer.reshape(levels.shape)


def _count_below(rows: AnyFloats, levels: AnyFloats) -> Integers:
    """Count the grid days before each level is reached, shape (q, n)."""
    count = np.zeros(levels.shape, dtype=np.int8 if len(rows) < _LARGEST_INT8 else np.int16)
    is_below = np.empty(levels.shape, dtype=np.bool_)
    for row in rows:
        np.less(row, levels, out=is_below)
        count += is_below.view(np.int8)
    return count.astype(np.int64)


def _open_brackets(
    rising: Rising, grid: Grid, levels: AnyFloats, n_before: Integers, end_days: Floats
) -> tuple[_Brackets, Floats]:
    """Bracket what is reached between two grid days of interest, and give a first point in each bracket."""
    n_days, n = grid.levels.shape
    is_open = (n_before > 0) & (n_before < n_days) & (grid.days[n_before - 1] < end_days)
    place = np.flatnonzero(is_open)
    column = place % n
    after = n_before.ravel()[place]
    level = rising.score_of(levels.ravel()[place])
    # The grid days around each bracket, one row each, and the places in these rows of what lies after the root.
    first = np.clip(after - 2, 0, n_days - N_AROUND)
    steps = np.arange(N_AROUND)[:, np.newaxis]
    points = np.sqrt(grid.days)[first + steps]
    gaps = rising.score_of(grid.levels.ravel().take((first + steps) * n + column)) - level
    upper = after - first
    beside = np.where(upper < N_AROUND - 1, upper + 1, upper - 2)
    picked = np.stack([upper - 1, upper, beside]) * place.size + np.arange(place.size)
    low, high, third = points.take(picked)
    low_gap, high_gap, third_gap = gaps.take(picked)
    brackets = _Brackets(
        place=place,
        column=column,
        level=level,
        ends=np.stack([low, high]),
        end_gaps=np.stack([low_gap, high_gap]),
        third=third,
        third_gap=third_gap,
    )
    return brackets, _first_point(brackets, points, gaps)


def _first_point(b: _Brackets, points: Floats, gaps: Floats) -> Floats:
    """Give the root of the cubic polynomial, in Newton's form, through the four grid days around each bracket."""
    (x0, x1, x2, x3), (f0, f1, f2, f3) = points, gaps
    with np.errstate(divide="ignore", invalid="ignore"):
        d01, d12, d23 = (x1 - x0) / (f1 - f0), (x2 - x1) / (f2 - f1), (x3 - x2) / (f3 - f2)
        d012, d123 = (d12 - d01) / (f2 - f0), (d23 - d12) / (f3 - f1)
        point: Floats = x0 - f0 * (d01 - f1 * (d012 - f2 * (d123 - d012) / (f3 - f0)))
    is_inside = (point >= b.ends[0]) & (point <= b.ends[1])
    return np.where(is_inside, point, b.ends.mean(axis=0))


def _next_point(b: _Brackets) -> tuple[Floats, Floats]:
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


def _close_in(b: _Brackets, point: Floats, gap: Floats) -> None:
    """Let a new point take the place of one end of each bracket, in place; that end becomes the third point."""
    m = point.size
    end = np.arange(m) + m * (gap >= 0.0)
    for points, third, new in ((b.ends, b.third, point), (b.end_gaps, b.third_gap, gap)):
        points.take(end, out=third, mode="clip")
        points.put(end, new)
