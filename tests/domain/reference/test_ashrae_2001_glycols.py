"""ASHRAE 2001 glycol data by volume, as CoolProp 8.0.0 holds them (published, library run), and a handbook."""

import pytest
from CoolProp.CoolProp import PropsSI

from service.domain.fluid_defaults import defaults_for
from service.domain.fluid_kinds import FluidKind
from service.domain.grades.coolant_freezing import Glycol, freezing_celsius
from service.domain.vehicle_classes import VehicleClass

_LIBRARY_NAMES = {Glycol.ETHYLENE: "AEG", Glycol.PROPYLENE: "APG"}


def _library(glycol: Glycol, percent: float) -> float:
    name = f"INCOMP::{_LIBRARY_NAMES[glycol]}[{percent / 100}]"
    return float(PropsSI("T_freeze", "T", 300, "P", 101325, name)) - 273.15


@pytest.mark.parametrize("glycol", list(Glycol))
def test_the_curve_stays_close_to_the_library_between_the_printed_points(glycol: Glycol) -> None:
    # Straight lines over 5 percent of a curve whose slope changes by 0.3 K a percent lie off by less than 0.3 K.
    for percent in range(10, 61):
        assert freezing_celsius(glycol, percent / 100) == pytest.approx(_library(glycol, percent), abs=0.3)


@pytest.mark.parametrize(
    ("percent", "celsius"),
    [(10, -3.6), (20, -9.0), (30, -15.7), (33, -18.1), (40, -24.8), (45, -30.5), (50, -37.1), (60, -52.0)],
)
def test_ethylene_glycol_points(percent: float, celsius: float) -> None:
    tolerance = 0.3 if percent == 33 else 0.05
    assert freezing_celsius(Glycol.ETHYLENE, percent / 100) == pytest.approx(celsius, abs=tolerance)


@pytest.mark.parametrize(
    ("percent", "celsius"), [(20, -7.4), (30, -13.1), (40, -21.5), (50, -33.7), (60, -51.1)]
)
def test_propylene_glycol_points(percent: float, celsius: float) -> None:
    assert freezing_celsius(Glycol.PROPYLENE, percent / 100) == pytest.approx(celsius, abs=0.05)


# A chemistry handbook, 15th edition, table 5.13 (published); the two sources differ by up to 1 K.
@pytest.mark.parametrize(("percent", "celsius"), [(20, -6.7), (30, -12.8), (40, -20.6), (50, -33.3)])
def test_propylene_glycol_agrees_with_a_handbook_within_a_kelvin(percent: float, celsius: float) -> None:
    assert freezing_celsius(Glycol.PROPYLENE, percent / 100) == pytest.approx(celsius, abs=1.0)


def test_half_a_litre_of_water_in_eight_litres_of_half_and_half() -> None:
    # Derived: 4 / 8.5 of glycol; the library gives −33.2 °C.
    diluted = 4 / 8.5
    assert diluted == pytest.approx(0.470588, abs=5e-7)
    assert freezing_celsius(Glycol.ETHYLENE, diluted) == pytest.approx(-33.2, abs=0.3)


def test_the_default_density_of_coolant_is_the_library_s() -> None:
    density = float(PropsSI("D", "T", 288.15, "P", 101325, "INCOMP::AEG[0.5]"))
    for kind in (FluidKind.COOLANT_OAT, FluidKind.COOLANT_TRADITIONAL):
        default = defaults_for(kind, VehicleClass.CAR).exchange.density_15c_kg_per_m3
        assert default.value == pytest.approx(density, abs=1.0)
