"""SAE J300 JAN2015, as two trade pages print it (published)."""

import pytest

from service.domain.grades.sae_j300 import HOT_GRADES
from service.domain.grades.viscosity_ranges import grades_at


# Derived from the printed limits: the thin grades overlap.
@pytest.mark.parametrize(
    ("viscosity", "grades"),
    [
        (3.9, set()),
        (5.0, {8, 12}),
        (7.0, {12, 16, 20}),
        (7.1, {16, 20}),
        (9.3, {30}),
        (12.5, {40}),
        (16.3, {50}),
        (26.0, {60}),
        (26.1, set()),
    ],
)
def test_a_viscosity_belongs_to_a_set_of_grades(viscosity: float, grades: set[int]) -> None:
    assert grades_at(HOT_GRADES, viscosity) == grades
