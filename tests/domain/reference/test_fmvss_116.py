"""Brake fluid boiling points of 49 CFR 571.116, second hand from fluid data sheets (published)."""

import pytest

from service.domain.grades.brake_fluid import (
    GRADE_MINIMA,
    WET_WATER_FRACTION,
    BrakeFluidGrade,
    boiling_floor_celsius,
    surveyed_vapour_lock_celsius,
)
from service.errors import InvalidInputError


# DOT 5.1 is given on one page; a wiki has other values.
@pytest.mark.parametrize(
    ("grade", "dry", "wet"),
    [
        (BrakeFluidGrade.DOT_3, 205, 140),
        (BrakeFluidGrade.DOT_4, 230, 155),
        (BrakeFluidGrade.DOT_5, 260, 180),
        (BrakeFluidGrade.DOT_5_1, 260, 180),
    ],
)
def test_dry_and_wet_minima(grade: BrakeFluidGrade, dry: float, wet: float) -> None:
    assert GRADE_MINIMA[grade].dry_boiling_celsius.value == dry
    assert GRADE_MINIMA[grade].wet_boiling_celsius.value == wet


def test_wet_means_three_point_seven_percent_by_mass() -> None:
    assert WET_WATER_FRACTION == 0.037
    assert boiling_floor_celsius(BrakeFluidGrade.DOT_3, 0.037) == pytest.approx(140, abs=1e-9)


# The ends are published; the shape between them is common practice, the values derived from it.
@pytest.mark.parametrize(
    ("grade", "values"),
    [
        (BrakeFluidGrade.DOT_4, [230, 190.1, 169.6, 159.1, 155]),
        (BrakeFluidGrade.DOT_3, [205, 170.4, 152.7, 143.6, 140]),
    ],
)
def test_the_floor_falls_between_dry_and_wet(grade: BrakeFluidGrade, values: list[float]) -> None:
    curve = [boiling_floor_celsius(grade, water) for water in (0, 0.01, 0.02, 0.03, 0.037)]
    assert curve == pytest.approx(values, abs=0.05)


def test_silicone_has_no_such_curve() -> None:
    with pytest.raises(InvalidInputError, match="does not dissolve water"):
        boiling_floor_celsius(BrakeFluidGrade.DOT_5, 0.01)


# TRL report LR903, abstract: about 250 °C new, 180 °C at 1 percent, 145 °C at 3 percent (published);
# the values between are derived from the exponential through them.
@pytest.mark.parametrize(
    ("water_fraction", "celsius"),
    [(0, 250.0), (0.005, 206.4), (0.01, 180.0), (0.02, 154.4), (0.03, 145.0), (0.037, 142.3)],
)
def test_surveyed_cars(water_fraction: float, celsius: float) -> None:
    assert surveyed_vapour_lock_celsius(water_fraction) == pytest.approx(celsius, abs=0.06)
