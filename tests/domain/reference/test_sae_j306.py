"""SAE J306 FEB2019, from a chart of the trade (published)."""

from itertools import pairwise

import pytest

from service.domain.grades.sae_j306 import GEAR_GRADES
from service.domain.grades.viscosity_ranges import grades_at


@pytest.mark.parametrize(
    ("viscosity", "grades"),
    [
        (3.79, set()),
        (3.8, {65}),
        (13.4, {85}),
        (13.5, {90}),
        (18.5, {110}),
        (24.0, {140}),
        (40.9, {190}),
        (41.0, {250}),
        (400.0, {250}),
    ],
)
def test_a_viscosity_belongs_to_one_grade_at_most(viscosity: float, grades: set[int]) -> None:
    assert grades_at(GEAR_GRADES, viscosity) == grades


def test_grades_follow_each_other_without_gap_or_overlap() -> None:
    for thinner, thicker in pairwise(GEAR_GRADES):
        assert thinner.below_mm2_per_s == thicker.minimum_mm2_per_s
