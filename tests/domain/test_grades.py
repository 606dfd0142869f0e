"""What the grades and curves refuse."""

import math

import pytest

from service.domain.grades.brake_fluid import (
    BrakeFluidGrade,
    boiling_floor_celsius,
    surveyed_vapour_lock_celsius,
)
from service.domain.grades.colour_d1500 import reported_colour
from service.domain.grades.coolant_freezing import Glycol, freezing_celsius, glycol_fraction_for
from service.domain.grades.iso_4406 import cleanliness, code_for
from service.domain.grades.viscosity_index import viscosity_index
from service.domain.grades.viscosity_temperature import ViscosityLine
from service.errors import InvalidInputError


@pytest.mark.parametrize(
    ("at_40", "at_100"), [(6.8, 46), (7.0, 7.0), (-1, 5), (46, math.nan), (math.inf, 6.8), (46, 0)]
)
def test_viscosities_that_cannot_belong_to_one_oil(at_40: float, at_100: float) -> None:
    with pytest.raises(InvalidInputError):
        viscosity_index(at_40, at_100)


@pytest.mark.parametrize(
    ("celsius_1", "first", "celsius_2", "second"),
    [(40, 6.8, 100, 46), (40, 46, 40, 46), (40, 46, 100, 1.9), (40, math.nan, 100, 6.8), (400, 46, 100, 6.8)],
)
def test_lines_that_cannot_be_drawn(celsius_1: float, first: float, celsius_2: float, second: float) -> None:
    with pytest.raises(InvalidInputError):
        ViscosityLine.through(celsius_1, first, celsius_2, second)


@pytest.mark.parametrize("celsius", [-0.1, -40, 200, 300, math.nan])
def test_temperatures_where_the_line_does_not_hold(celsius: float) -> None:
    with pytest.raises(InvalidInputError):
        ViscosityLine.through(40, 35, 100, 7.2).viscosity_mm2_per_s(celsius)


@pytest.mark.parametrize("count", [-1, math.nan, math.inf])
def test_counts_that_are_none(count: float) -> None:
    with pytest.raises(InvalidInputError):
        code_for(count)


def test_larger_particles_are_part_of_the_smaller_count() -> None:
    with pytest.raises(InvalidInputError):
        cleanliness(100, 200, 10)


@pytest.mark.parametrize("water", [-0.001, 0.11, 3.0, math.nan])
def test_water_is_a_mass_fraction(water: float) -> None:
    with pytest.raises(InvalidInputError):
        boiling_floor_celsius(BrakeFluidGrade.DOT_4, water)
    with pytest.raises(InvalidInputError):
        surveyed_vapour_lock_celsius(water)


def test_more_water_never_boils_later() -> None:
    for curve in (
        surveyed_vapour_lock_celsius,
        lambda water: boiling_floor_celsius(BrakeFluidGrade.DOT_5_1, water),
    ):
        values = [curve(percent / 1000) for percent in range(101)]
        assert values == sorted(values, reverse=True)


@pytest.mark.parametrize("share", [-0.01, 0.71, 50, math.nan])
def test_glycol_is_a_fraction_that_still_protects(share: float) -> None:
    with pytest.raises(InvalidInputError):
        freezing_celsius(Glycol.ETHYLENE, share)


def test_water_freezes_at_zero_and_strong_mixtures_gain_nothing() -> None:
    for glycol in Glycol:
        assert freezing_celsius(glycol, 0.0) == 0.0
        assert freezing_celsius(glycol, 0.65) == freezing_celsius(glycol, 0.60)
        values = [freezing_celsius(glycol, percent / 100) for percent in range(71)]
        assert values == sorted(values, reverse=True)


@pytest.mark.parametrize("celsius", [1, -60, math.nan])
def test_freezing_points_outside_the_table(celsius: float) -> None:
    with pytest.raises(InvalidInputError):
        glycol_fraction_for(Glycol.ETHYLENE, celsius)


@pytest.mark.parametrize("match", [0.4, 8.1, math.nan])
def test_colours_outside_the_glasses(match: float) -> None:
    with pytest.raises(InvalidInputError):
        reported_colour(match, is_dyed=False)
