"""Values of one report, named by the open standards whose own tests stand beside their tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.fluid_kinds import FluidKind
from service.domain.laboratory import PROPERTY_RULES, LaboratoryProperty
from service.domain.laboratory_report import contradictions, grades_shown


@pytest.mark.parametrize(
    ("kind", "values", "shown"),
    [
        (FluidKind.ENGINE_OIL_PETROL, {"viscosity_100c_mm2_per_s": 7.0}, ("SAE J300", "12 or 16 or 20")),
        (FluidKind.ENGINE_OIL_DIESEL_HEAVY, {"viscosity_100c_mm2_per_s": 3.0}, ("SAE J300", "outside every grade")),
        (FluidKind.AXLE, {"viscosity_100c_mm2_per_s": 15.0}, ("SAE J306", "90")),
        (FluidKind.HYDRAULIC, {"viscosity_40c_mm2_per_s": 46.0}, ("ISO 3448", "VG 46")),
        (FluidKind.HYDRAULIC, {"viscosity_40c_mm2_per_s": 39.0}, ("ISO 3448", "between two classes")),
        (FluidKind.COOLANT_OAT, {"glycol_fraction": 0.5}, ("ASHRAE 2001", "-37 °C")),
        (FluidKind.BRAKE_FLUID, {"water_fraction": 0.01}, ("TRL LR903", "180 °C")),
    ],
)  # fmt: skip
def test_what_is_measured_has_its_name(kind, values, shown):
    """SAE J300 JAN2015, J306 FEB2019, ISO 3448, ASHRAE 2001 and TRL LR903, second-hand (published)."""
    (one,) = grades_shown(kind, values)
    assert (one.standard, one.grade) == shown
    assert one.meaning.endswith(".")
    assert one.standard in one.source
    assert set(one.properties) == set(values)


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        (FluidKind.AXLE, {"glycol_fraction": 0.5, "water_fraction": 0.01}),
        (FluidKind.COOLANT_OAT, {"glycol_fraction": 0.9}),
        (FluidKind.AXLE, {"viscosity_40c_mm2_per_s": 5.0, "viscosity_100c_mm2_per_s": 15.0}),
    ],
)
def test_what_says_nothing_is_not_named(kind, values):
    assert grades_shown(kind, values) == []


@given(
    st.sampled_from(FluidKind),
    st.fixed_dictionaries(
        {},
        optional={
            str(one): st.floats(PROPERTY_RULES[one].bounds.minimum, PROPERTY_RULES[one].bounds.maximum)
            for one in LaboratoryProperty
        },
    ),
)
def test_any_report_that_can_be_stored_can_be_named(kind, values):
    for one in contradictions(values):
        assert one.pointer[1:] in values
    for one in grades_shown(kind, values):
        assert set(one.properties) <= set(values)
