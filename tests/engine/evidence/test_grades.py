"""Grades and laboratory values."""

import numpy as np
import pytest

from service.engine.evidence.grades import life_used_from_grade, life_used_from_laboratory
from service.errors import InvalidInputError

NONE = np.nan


def test_life_used_from_laboratory_values() -> None:
    """Acid number +1.5 of +3 → 0.5; viscosity −15 % of 25 % → 0.6; antioxidant 40 % left with 25 % limit →
    0.8, so the sample counts 0.8; derived. The limits are published: ±25 % and +3 mg KOH/g by a heavy-duty
    operator's manual, 25 % by ASTM D7590 (second-hand).
    """
    seen = life_used_from_laboratory(
        np.array([[2.0, 6.12, 40.0]]),
        np.array([0.5, 7.2, 100.0]),
        lower_limits=np.array([NONE, 0.75 * 7.2, 25.0]),
        upper_limits=np.array([3.5, 1.25 * 7.2, NONE]),
    )
    np.testing.assert_allclose(seen.life_used_by_test, [[0.5, 0.6, 0.8]], atol=1e-12)
    assert seen.life_used[0] == pytest.approx(0.8)
    assert seen.deciding_test[0] == 2


def test_values_better_than_new_count_zero_and_absurd_ones_are_held() -> None:
    seen = life_used_from_laboratory(
        np.array([[0.2], [30.0], [NONE]]),
        np.array([0.5]),
        lower_limits=np.array([NONE]),
        upper_limits=np.array([3.5]),
    )
    np.testing.assert_array_equal(seen.life_used, [0.0, 1.5, NONE])
    np.testing.assert_array_equal(seen.deciding_test, [0, 0, -1])


@pytest.mark.parametrize(("lower", "upper"), [(0.5, NONE), (NONE, 0.4)])
def test_limits_on_the_wrong_side_are_refused(lower: float, upper: float) -> None:
    with pytest.raises(InvalidInputError):
        life_used_from_laboratory(
            np.array([[1.0]]),
            np.array([0.5]),
            lower_limits=np.array([lower]),
            upper_limits=np.array([upper]),
        )


def test_infinite_values_are_refused() -> None:
    with pytest.raises(InvalidInputError):
        life_used_from_laboratory(
            np.array([[np.inf]]), np.array([0.5]), lower_limits=np.array([NONE]), upper_limits=np.array([1.0])
        )


def test_grades_are_looked_up_and_a_milky_one_says_nothing() -> None:
    """Means and deviations as common practice has them, no source; the table is the caller's."""
    means = np.array([0.15, 0.40, 0.60, 0.80, 1.00, NONE])
    deviations = np.array([0.20, 0.25, 0.25, 0.25, 0.20, 1.0])
    seen = life_used_from_grade(np.array([3, 5, -1, 0]), means, deviations)
    np.testing.assert_array_equal(seen.life_used, [0.80, NONE, NONE, 0.15])
    np.testing.assert_array_equal(seen.life_used_sd, [0.25, 1.0, 1.0, 0.20])


def test_unknown_grades_and_senseless_tables_are_refused() -> None:
    means, deviations = np.array([0.1, 0.5]), np.array([0.2, 0.2])
    for index in (2, -2):
        with pytest.raises(InvalidInputError, match="no such grade"):
            life_used_from_grade(np.array([index]), means, deviations)
    with pytest.raises(InvalidInputError):
        life_used_from_grade(np.array([0]), means, np.array([0.2, 0.0]))
    with pytest.raises(InvalidInputError):
        life_used_from_grade(np.array([0]), np.array([-0.1, 0.5]), deviations)
