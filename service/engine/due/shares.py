"""Which limit is the first: the probability of each."""

import numpy as np
from scipy import special

from service.engine.due.joint import FirstLimit
from service.engine.due.limits import FloatArray


def first_limit_shares(
    first: FirstLimit, scores: list[FloatArray], first_score: FloatArray, end_probability: FloatArray
) -> list[FloatArray]:
    """Split the probability that a limit is reached by an end day among the present limits.

    Parameters
    ----------
    first : FirstLimit
        The present limits.
    scores : list of ndarray, shape (k, n)
        Scores of each present limit on the grid, never falling along it.
    first_score : ndarray, shape (k, n)
        Score of the probability that any has been reached, on the same grid.
    end_probability : ndarray, shape (n,)
        The same at each column's end day.

    Returns
    -------
    list of ndarray, shape (n,)
        One for each present limit; they add up to `end_probability`.

    Notes
    -----
    Within a grid step the mass is split in proportion to (rise of a limit's own probability) times (probability that
    the others are not reached, given that this one just is). Exact for one limit.
    """
    if len(scores) == 1:
        return [end_probability]
    capped = np.minimum(special.ndtr(first_score), end_probability)
    mass = np.diff(capped, axis=0, prepend=0.0)
    weights = [_rise_before_others(first, scores, place) for place in range(len(scores))]
    total = weights[0] + weights[1]
    for weight in weights[2:]:
        total = total + weight
    is_split = total > 0.0
    scale = mass / np.where(is_split, total, float(len(scores)))
    rest = (end_probability - capped[-1]) / len(scores)
    return [rest + _sum_in_order(np.where(is_split, weight, 1.0) * scale) for weight in weights]


def _sum_in_order(rows: FloatArray) -> FloatArray:
    """Sum along the first axis, one row after the other: NumPy's own order of addition depends on the shape."""
    total: FloatArray = rows[0].copy()
    for row in rows[1:]:
        total += row
    return total


def _rise_before_others(first: FirstLimit, scores: list[FloatArray], place: int) -> FloatArray:
    rise = np.diff(special.ndtr(scores[place]), axis=0, prepend=0.0)
    weight: FloatArray = rise
    own = _midpoints(scores[place])
    for other in range(len(scores)):
        if other != place:
            r = first.correlation(min(place, other), max(place, other))
            weight = weight * special.ndtr((r * own - _midpoints(scores[other])) / np.sqrt(1.0 - r * r))
    return weight


def _midpoints(scores: FloatArray) -> FloatArray:
    """Scores between grid days; the first grid day stands for itself."""
    return np.concatenate([scores[:1], (scores[1:] + scores[:-1]) / 2.0])
