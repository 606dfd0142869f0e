"""Life used from laboratory values."""

import numpy as np
import pytest

from service.engine.evidence.grades import life_used_from_laboratory
from service.errors import InvalidInputError

NONE = np.nan


def test_life_used_from_laboratory_values() -> None:
    """Acid number +1.5 of +3 → 0.5; viscosity −15 % of 25 % → 0.6; antioxidant 40 % left with 25 % limit →
    0.8, so the sample counts 0.8; derived. The limits are published: ±25 % and +3 mg KOH/g by a heavy-duty
    operator's manual, 25 % by ASTM D7590 (second-hand).
    """
    seen = life_used_from_laboratory(
        np.array([[2.0, NONE, NONE], [NONE, 6.12, NONE], [NONE, NONE, 40.0], [2.0, 6.12, 40.0]]),
        np.array([0.5, 7.2, 100.0]),
        lower_limits=np.array([NONE, 0.75 * 7.2, 25.0]),
        upper_limits=np.array([3.5, 1.25 * 7.2, NONE]),
    )
    np.testing.assert_allclose(seen, [0.5, 0.6, 0.8, 0.8], atol=1e-12)


def test_values_better_than_new_count_zero_and_absurd_ones_are_held() -> None:
    seen = life_used_from_laboratory(
        np.array([[0.2], [30.0], [NONE]]),
        np.array([0.5]),
        lower_limits=np.array([NONE]),
        upper_limits=np.array([3.5]),
    )
    np.testing.assert_array_equal(seen, [0.0, 1.5, NONE])


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
