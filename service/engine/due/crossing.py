"""When a probability that only rises reaches given levels: bracketed roots in the square root of time."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.engine.due.limits import BoolArray, FloatArray, IntArray

# A due date is shown as a day; a hundredth of that is never seen.
DAY_TOLERANCE: Final = 0.005

_MOST_ROUNDS: Final = 60
_BISECT_AFTER: Final = 12

ScoreAt = Callable[[IntArray, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Brackets:
    """Open brackets: place in the answer, column, level, and both ends in sqrt(days) with score less level.

    `moved` says which end the last round replaced: -1 the low one, 1 the high one, 0 none yet.
    """

    place: IntArray
    column: IntArray
    level: FloatArray
    low: FloatArray
    low_gap: FloatArray
    high: FloatArray
    high_gap: FloatArray
    moved: NDArray[np.int8]

    def keep(self, is_kept: BoolArray) -> "_Brackets":
        return _Brackets(
            place=self.place[is_kept],
            column=self.column[is_kept],
            level=self.level[is_kept],
            low=self.low[is_kept],
            low_gap=self.low_gap[is_kept],
            high=self.high[is_kept],
            high_gap=self.high_gap[is_kept],
            moved=self.moved[is_kept],
        )


def crossing_days(
    score_at: ScoreAt, root_days: FloatArray, grid_scores: FloatArray, levels: FloatArray
) -> FloatArray:
    """Days ahead at which a score first reaches each level.

    Parameters
    ----------
    score_at : callable
        `score_at(columns, days)`: the score of each named column at its own day.
    root_days : ndarray, shape (k,), float64
        Square roots of the grid days, rising from zero. [d^(1/2)]
    grid_scores : ndarray, shape (k, n), float64
        Scores on the grid, never falling along it.
    levels : ndarray, shape (q, n), float64
        Levels to reach.

    Returns
    -------
    ndarray, shape (q, n), float64
        Days ahead; 0 where the level is reached at once, inf where it is not reached on the grid. [d]

    Notes
    -----
    The grid brackets each root; the Illinois variant of false position closes the bracket, in the square root of
    time because the score is nearly a straight line there; halving for what is left after twelve rounds. Stops
    when the next step is below DAY_TOLERANCE. Costs two to three scores a root.
    """
    n = grid_scores.shape[1]
    n_before = np.zeros(levels.shape, dtype=np.int64)
    for scores in grid_scores:
        n_before += scores < levels
    answer = np.where(n_before == 0, 0.0, np.inf).ravel()
    brackets = _open_brackets(root_days, grid_scores, levels, n_before)
    for round_number in range(_MOST_ROUNDS):
        if brackets.place.size == 0:
            break
        brackets = _close_in(score_at, brackets, answer, is_halving=round_number >= _BISECT_AFTER)
    return answer.reshape(-1, n)


def _open_brackets(
    root_days: FloatArray, grid_scores: FloatArray, levels: FloatArray, n_before: IntArray
) -> _Brackets:
    n_days, n = grid_scores.shape
    flat_before = n_before.ravel()
    place = np.flatnonzero((flat_before > 0) & (flat_before < n_days))
    column = place % n
    after = flat_before[place]
    level = levels.ravel()[place]
    flat_scores = grid_scores.ravel()
    return _Brackets(
        place=place,
        column=column,
        level=level,
        low=root_days[after - 1],
        low_gap=flat_scores[(after - 1) * n + column] - level,
        high=root_days[after],
        high_gap=flat_scores[after * n + column] - level,
        moved=np.zeros(place.size, dtype=np.int8),
    )


def _close_in(score_at: ScoreAt, old: _Brackets, answer: FloatArray, *, is_halving: bool) -> _Brackets:
    """One round: a new point in each bracket; writes what has settled to `answer`, returns the rest."""
    if is_halving:
        point = (old.low + old.high) / 2.0
    else:
        point = old.low - old.low_gap * (old.high - old.low) / (old.high_gap - old.low_gap)
    gap = score_at(old.column, point * point) - old.level
    slope = (old.high_gap - old.low_gap) / (old.high - old.low)
    step = -gap / slope
    is_low = gap < 0.0
    # Illinois: an end that stays a second time has its gap halved, so that the next point falls beyond the root.
    low_gap = np.where(old.moved == 1, old.low_gap / 2.0, old.low_gap)
    high_gap = np.where(old.moved == -1, old.high_gap / 2.0, old.high_gap)
    low, high = np.where(is_low, point, old.low), np.where(is_low, old.high, point)
    is_settled = (2.0 * point * np.abs(step) < DAY_TOLERANCE) | (high * high - low * low < DAY_TOLERANCE)
    settled_at = np.clip(point + step, low, high)[is_settled]
    answer[old.place[is_settled]] = settled_at * settled_at
    return _Brackets(
        place=old.place,
        column=old.column,
        level=old.level,
        low=low,
        low_gap=np.where(is_low, gap, low_gap),
        high=high,
        high_gap=np.where(is_low, high_gap, gap),
        moved=np.where(is_low, -1, 1).astype(np.int8),
    ).keep(~is_settled)
