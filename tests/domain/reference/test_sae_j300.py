"""SAE J300 JAN2015, as two trade pages print it (published)."""

import pytest

from service.domain.grades.sae_j300 import HOT_GRADES, WINTER_GRADES, hot_grades, winter_grades


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
    assert hot_grades(viscosity) == grades


def test_high_shear_minima_rise_with_the_grade() -> None:
    assert [grade.high_shear_150c_minimum_mpa_s for grade in HOT_GRADES] == [
        1.7, 2.0, 2.3, 2.6, 2.9, 3.7, 3.7, 3.7,
    ]  # fmt: skip


def test_cranking_limits() -> None:
    printed = [(6200, -35), (6600, -30), (7000, -25), (7000, -20), (9500, -15), (13000, -10)]
    assert [(grade.cranking_maximum_mpa_s, grade.cranking_celsius) for grade in WINTER_GRADES] == printed


@pytest.mark.parametrize(
    ("viscosity", "grades"),
    [
        (3.7, set()),
        (3.8, {0, 5}),
        (4.1, {0, 5, 10}),
        (5.6, {0, 5, 10, 15, 20}),
        (9.3, {0, 5, 10, 15, 20, 25}),
    ],
)
def test_winter_grades_by_their_least_viscosity_when_hot(viscosity: float, grades: set[int]) -> None:
    assert winter_grades(viscosity) == grades
