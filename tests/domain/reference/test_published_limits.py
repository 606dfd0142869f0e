"""Alarm limits of ASTM D7590 (second hand), a plant-maintenance magazine of October 2010 and two guides.

The guides are the operator's manual of a heavy automatic transmission and an independent laboratory's engine-oil
guide, both without a number of their own (published).
"""

import pytest

from service.domain.fluid_kinds import FluidKind
from service.domain.laboratory import LaboratoryProperty as Property
from service.domain.laboratory import value_inside
from service.domain.limits import AlarmLevel, AlarmLimit, Basis, limits_for
from service.domain.sourced import Flag


def _limit(kind: FluidKind, laboratory_property: Property) -> AlarmLimit:
    (limit,) = (each for each in limits_for(kind) if each.laboratory_property is laboratory_property)
    return limit


def test_heavy_automatic_transmission_operator_s_manual() -> None:
    # Viscosity 25 percent either way, acid number 3.0 above new, water 0.2 percent (published).
    kind = FluidKind.AUTOMATIC_TRANSMISSION_HEAVY
    viscosity = _limit(kind, Property.VISCOSITY_100C_MM2_PER_S)
    assert (viscosity.basis, viscosity.critical) == (Basis.CHANGE_FRACTION, 0.25)
    assert viscosity.level(7.2 * 0.74, 7.2) is AlarmLevel.CRITICAL
    assert viscosity.level(7.2 * 1.26, 7.2) is AlarmLevel.CRITICAL
    assert viscosity.level(7.2 * 0.78, 7.2) is AlarmLevel.CAUTION
    assert viscosity.level(7.2 * 0.85, 7.2) is AlarmLevel.NORMAL
    acid = _limit(kind, Property.ACID_NUMBER_MG_KOH_PER_G)
    assert (acid.basis, acid.critical) == (Basis.INCREASE, 3.0)
    assert acid.level(4.1, 1.0) is AlarmLevel.CRITICAL
    assert _limit(kind, Property.WATER_FRACTION).critical == 0.002


@pytest.mark.parametrize(
    ("laboratory_property", "basis", "first", "third"),
    [
        (Property.WATER_FRACTION, Basis.VALUE, 0.001, 0.004),
        (Property.OXIDATION_ABS_PER_CM, Basis.INCREASE, 10, 20),
        (Property.NITRATION_ABS_PER_CM, Basis.INCREASE, 7, 11),
        (Property.SULFATION_ABS_PER_CM, Basis.INCREASE, 16, 27),
        # The guide counts the loss of base number: 50 and 65 percent.
        (Property.BASE_NUMBER_MG_KOH_PER_G, Basis.LEFT_FRACTION, 1 - 0.50, 1 - 0.65),
    ],
)
def test_engine_oil_guide_of_an_independent_laboratory(
    laboratory_property: Property, basis: Basis, first: float, third: float
) -> None:
    for kind in (FluidKind.ENGINE_OIL_PETROL, FluidKind.ENGINE_OIL_DIESEL_HEAVY):
        limit = _limit(kind, laboratory_property)
        assert limit.basis is basis
        assert limit.caution == pytest.approx(first)
        assert limit.critical == pytest.approx(third)
        assert limit.flag is Flag.PUBLISHED


def test_fuel_belongs_to_petrol_and_soot_to_diesel() -> None:
    assert _limit(FluidKind.ENGINE_OIL_PETROL, Property.FUEL_FRACTION).caution == 0.024
    assert _limit(FluidKind.ENGINE_OIL_DIESEL_HEAVY, Property.SOOT_FRACTION).critical == 0.069


def test_antioxidant_alarm_of_astm_d7590() -> None:
    # Low alarm and condemning level at 25 percent left (published, second hand).
    limit = _limit(FluidKind.AUTOMATIC_TRANSMISSION_CAR, Property.ANTIOXIDANT_LEFT_FRACTION)
    assert limit.critical == 0.25
    assert limit.level(0.25) is AlarmLevel.CRITICAL


def test_industrial_viscosity_of_a_plant_magazine() -> None:
    # Caution at 5, critical at 10 percent (published).
    limit = _limit(FluidKind.HYDRAULIC, Property.VISCOSITY_40C_MM2_PER_S)
    assert (limit.caution, limit.critical) == (0.05, 0.10)


def test_absorbance_of_a_thin_cell_is_a_hundredth() -> None:
    # Derived: 25 abs/cm = 0.25 A/0.1 mm.
    assert value_inside("/value", Property.OXIDATION_ABS_PER_CM, 0.25, "A/0.1 mm") == 25.0
