"""Life used that a visual grade or a set of laboratory values speaks for."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.exchange.checks import FloatArray, IntArray, require_within
from service.errors import InvalidInputError

HIGHEST_LIFE_USED: Final = 1.5
"""Laboratory values far beyond their limit count no further. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GradeEvidence:
    """What the grades of n samples say; arrays of shape (n,).

    Parameters
    ----------
    life_used : ndarray
        NaN where a grade says nothing about it. [-]
    life_used_sd : ndarray
        Standard deviation, positive everywhere so that it can be passed on. [-]
    """

    life_used: FloatArray
    life_used_sd: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaboratoryEvidence:
    """What the laboratory values of n samples say.

    Parameters
    ----------
    life_used : ndarray, shape (n,)
        The largest over the tests; NaN where nothing was measured. [-]
    life_used_by_test : ndarray, shape (n, n_tests)
        NaN where a test was not made or has no limit. [-]
    deciding_test : ndarray of int64, shape (n,)
        Column of the largest, −1 where nothing was measured.
    """

    life_used: FloatArray
    life_used_by_test: FloatArray
    deciding_test: IntArray


def life_used_from_grade(
    grade_index: IntArray, life_used_by_grade: FloatArray, sd_by_grade: FloatArray
) -> GradeEvidence:
    """Look up what each grade means; the table is the caller's data.

    Parameters
    ----------
    grade_index : ndarray of int64, shape (n,)
        Row of the table; −1 where nothing was graded. Not modified.
    life_used_by_grade, sd_by_grade : ndarray, shape (n_grades,), float64
        NaN in the first for a grade without a meaning for life used, such as milky. Not modified. [-]

    Returns
    -------
    GradeEvidence

    Raises
    ------
    InvalidInputError
        If an index is outside the table, a mean is negative, or a deviation is not positive.
    """
    index = np.asarray(grade_index, dtype=np.int64)
    if index.size and (int(index.min()) < -1 or int(index.max()) >= life_used_by_grade.shape[0]):
        raise InvalidInputError.at("/grade_index", "there is no such grade in the table")
    require_within("life_used_by_grade", life_used_by_grade[~np.isnan(life_used_by_grade)], 0.0, 10.0)
    deviations = require_within("sd_by_grade", sd_by_grade, 1e-6)
    return GradeEvidence(
        life_used=np.append(life_used_by_grade, np.nan)[index],
        life_used_sd=np.append(deviations, 1.0)[index],
    )


def life_used_from_laboratory(
    values: FloatArray, new_values: FloatArray, *, lower_limits: FloatArray, upper_limits: FloatArray
) -> LaboratoryEvidence:
    """How far each value has gone from new to its limit; the worst counts.

    Parameters
    ----------
    values : ndarray, shape (n, n_tests), float64
        Measured; NaN where a test was not made. Not modified.
    new_values : ndarray, shape (n_tests,) or (n, n_tests), float64
        Of the new fluid, in the same units. Not modified.
    lower_limits, upper_limits : ndarray, shape (n_tests,) or (n, n_tests), float64
        Condemning values below and above the new one; NaN where that side has none. Not modified.

    Returns
    -------
    LaboratoryEvidence

    Raises
    ------
    InvalidInputError
        If a limit is on the wrong side of the new value, or a value is infinite.

    Notes
    -----
    u_j = clip((x − x_new)/(x_lim − x_new), 0, 1.5) on the side where x lies; u = max_j u_j (derived).
    O(n n_tests).
    """
    require_within("values", values[~np.isnan(values)], -np.finfo(np.float64).max)
    if np.any(lower_limits >= new_values) or np.any(upper_limits <= new_values):
        raise InvalidInputError("a condemning limit must lie beyond the value of the new fluid")
    upwards = (values - new_values) / (upper_limits - new_values)
    downwards = (new_values - values) / (new_values - lower_limits)
    by_test = np.clip(np.fmax(upwards, downwards), 0.0, HIGHEST_LIFE_USED)
    filled = np.where(np.isnan(by_test), -1.0, by_test)
    worst = filled.max(axis=1, initial=-1.0)
    is_measured = worst >= 0.0
    deciding = filled.argmax(axis=1) if filled.shape[1] else np.zeros(filled.shape[0], dtype=np.int64)
    return LaboratoryEvidence(
        life_used=np.where(is_measured, worst, np.nan),
        life_used_by_test=by_test,
        deciding_test=np.where(is_measured, deciding, -1).astype(np.int64),
    )
