"""What the grades and curves refuse, and the one curve that is not of a standard."""

import math

import pytest

from service.domain.grades.brake_fluid import surveyed_vapour_lock_celsius
from service.domain.grades.coolant_freezing import Glycol, freezing_celsius
from service.domain.grades.iso_4406 import cleanliness, code_for
from service.domain.grades.viscosity_index import viscosity_index
from service.errors import InvalidInputError


@pytest.mark.parametrize(
    ("at_40", "at_100"), [(6.8, 46), (7.0, 7.0), (-1, 5), (46, math.nan), (math.inf, 6.8), (46, 0)]
)
def test_viscosities_that_cannot_belong_to_one_oil(at_40: float, at_100: float) -> None:
    with pytest.raises(InvalidInputError):
        viscosity_index(at_40, at_100)


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
        surveyed_vapour_lock_celsius(water)


def test_more_water_never_boils_later() -> None:
    values = [surveyed_vapour_lock_celsius(percent / 1000) for percent in range(101)]
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


# TRL report LR903, abstract: about 250 °C new, 180 °C at 1 percent, 145 °C at 3 percent (published);
# the values between are derived from the exponential through them.
@pytest.mark.parametrize(
    ("water_fraction", "celsius"),
    [(0, 250.0), (0.005, 206.4), (0.01, 180.0), (0.02, 154.4), (0.03, 145.0), (0.037, 142.3)],
)
def test_surveyed_cars(water_fraction: float, celsius: float) -> None:
    assert surveyed_vapour_lock_celsius(water_fraction) == pytest.approx(celsius, abs=0.06)
