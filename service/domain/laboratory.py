"""What a laboratory measures, in which units it may say so, and the one unit each quantity has inside."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.domain.plausibility import Bounds
from service.errors import InvalidInputError
from service.units import celsius_from_fahrenheit


class Quantity(StrEnum):
    """Kinds of quantity; each has one unit inside."""

    VISCOSITY = "viscosity"
    KOH_NUMBER = "koh_number"
    CONCENTRATION = "concentration"
    FRACTION = "fraction"
    ABSORBANCE = "absorbance"
    PARTICLE_COUNT = "particle_count"
    TEMPERATURE = "temperature"
    PLAIN = "plain"


class LaboratoryProperty(StrEnum):
    """One column of a laboratory report, named with its unit inside."""

    VISCOSITY_40C_MM2_PER_S = "viscosity_40c_mm2_per_s"
    VISCOSITY_100C_MM2_PER_S = "viscosity_100c_mm2_per_s"
    ACID_NUMBER_MG_KOH_PER_G = "acid_number_mg_koh_per_g"
    BASE_NUMBER_MG_KOH_PER_G = "base_number_mg_koh_per_g"
    ANTIOXIDANT_LEFT_FRACTION = "antioxidant_left_fraction"
    OXIDATION_ABS_PER_CM = "oxidation_abs_per_cm"
    NITRATION_ABS_PER_CM = "nitration_abs_per_cm"
    SULFATION_ABS_PER_CM = "sulfation_abs_per_cm"
    WATER_FRACTION = "water_fraction"
    COOLANT_FRACTION = "coolant_fraction"
    FUEL_FRACTION = "fuel_fraction"
    SOOT_FRACTION = "soot_fraction"
    SOLIDS_FRACTION = "solids_fraction"
    GLYCOL_FRACTION = "glycol_fraction"
    IRON_MG_PER_KG = "iron_mg_per_kg"
    COPPER_MG_PER_KG = "copper_mg_per_kg"
    ALUMINIUM_MG_PER_KG = "aluminium_mg_per_kg"
    CHROMIUM_MG_PER_KG = "chromium_mg_per_kg"
    LEAD_MG_PER_KG = "lead_mg_per_kg"
    TIN_MG_PER_KG = "tin_mg_per_kg"
    SILICON_MG_PER_KG = "silicon_mg_per_kg"
    SODIUM_MG_PER_KG = "sodium_mg_per_kg"
    POTASSIUM_MG_PER_KG = "potassium_mg_per_kg"
    NITRITE_MG_PER_KG = "nitrite_mg_per_kg"
    PARTICLES_4UM_PER_ML = "particles_4um_per_ml"
    PARTICLES_6UM_PER_ML = "particles_6um_per_ml"
    PARTICLES_14UM_PER_ML = "particles_14um_per_ml"
    BOILING_CELSIUS = "boiling_celsius"
    FREEZING_CELSIUS = "freezing_celsius"
    PH = "ph"


INSIDE_UNIT: Final[Mapping[Quantity, str]] = MappingProxyType(
    {
        Quantity.VISCOSITY: "mm2/s",
        Quantity.KOH_NUMBER: "mg KOH/g",
        Quantity.CONCENTRATION: "mg/kg",
        Quantity.FRACTION: "fraction",
        Quantity.ABSORBANCE: "abs/cm",
        Quantity.PARTICLE_COUNT: "1/mL",
        Quantity.TEMPERATURE: "°C",
        Quantity.PLAIN: "",
    }
)

_FACTORS: Final[Mapping[Quantity, Mapping[str, tuple[float, float]]]] = MappingProxyType(
    {
        Quantity.VISCOSITY: {"mm2/s": (1, 1), "mm²/s": (1, 1), "cst": (1, 1)},
        Quantity.KOH_NUMBER: {"mg koh/g": (1, 1), "mgkoh/g": (1, 1)},
        Quantity.CONCENTRATION: {
            "mg/kg": (1, 1),
            "ppm": (1, 1),
            "%": (10_000, 1),
            "fraction": (1_000_000, 1),
        },
        Quantity.FRACTION: {
            "fraction": (1, 1),
            "%": (1, 100),
            "wt%": (1, 100),
            "vol%": (1, 100),
            "mg/kg": (1, 1_000_000),
            "ppm": (1, 1_000_000),
        },
        Quantity.ABSORBANCE: {"abs/cm": (1, 1), "a/cm": (1, 1), "abs/0.1mm": (100, 1), "a/0.1mm": (100, 1)},
        Quantity.PARTICLE_COUNT: {"1/ml": (1, 1), "/ml": (1, 1), "1/100ml": (1, 100), "/100ml": (1, 100)},
        Quantity.PLAIN: {"": (1, 1)},
    }
)
"""Numerator and denominator by the unit in lower case, so that a percentage divides exactly once."""

_P, _Q = LaboratoryProperty, Quantity
_VISCOSITY_BOUNDS: Final = Bounds(0.2, 100_000, "Check the unit: 1 mm²/s is 1 cSt.")
_KOH_BOUNDS: Final = Bounds(0, 500, "Check the digits.")
_FRACTION_BOUNDS: Final = Bounds(0, 1, "A share of the whole; check whether the column holds percent.")
_ABSORBANCE_BOUNDS: Final = Bounds(-5, 500, "In absorbance per cm, 100 times that of a 0.1 mm cell.")
_METAL_BOUNDS: Final = Bounds(0, 100_000, "More metal than a fluid can carry; check the unit.")
_COUNT_BOUNDS: Final = Bounds(0, 1e9, "Particles in one millilitre.")


@dataclass(frozen=True, slots=True)
class PropertyRule:
    """What kind of quantity a property is, and what its value can be at all."""

    quantity: Quantity
    bounds: Bounds


def _rule(laboratory_property: LaboratoryProperty) -> PropertyRule:
    name = laboratory_property.value
    for ending, rule in (
        ("_mm2_per_s", PropertyRule(_Q.VISCOSITY, _VISCOSITY_BOUNDS)),
        ("_mg_koh_per_g", PropertyRule(_Q.KOH_NUMBER, _KOH_BOUNDS)),
        ("_fraction", PropertyRule(_Q.FRACTION, _FRACTION_BOUNDS)),
        ("_abs_per_cm", PropertyRule(_Q.ABSORBANCE, _ABSORBANCE_BOUNDS)),
        ("_mg_per_kg", PropertyRule(_Q.CONCENTRATION, _METAL_BOUNDS)),
        ("_per_ml", PropertyRule(_Q.PARTICLE_COUNT, _COUNT_BOUNDS)),
        ("_celsius", PropertyRule(_Q.TEMPERATURE, Bounds(-100, 400, "Check the unit."))),
    ):
        if name.endswith(ending):
            return rule
    return PropertyRule(_Q.PLAIN, Bounds(0, 14, "The pH scale ends at 14."))


PROPERTY_RULES: Final[Mapping[LaboratoryProperty, PropertyRule]] = MappingProxyType(
    {laboratory_property: _rule(laboratory_property) for laboratory_property in LaboratoryProperty}
)


def accepted_units(laboratory_property: LaboratoryProperty) -> tuple[str, ...]:
    """List the units in which a property may be given."""
    quantity = PROPERTY_RULES[laboratory_property].quantity
    return ("°C", "°F") if quantity is Quantity.TEMPERATURE else tuple(_FACTORS[quantity])


def value_inside(pointer: str, laboratory_property: LaboratoryProperty, value: float, unit: str) -> float:
    """Convert a laboratory's value into the unit inside, or refuse the unit or the value."""
    rule = PROPERTY_RULES[laboratory_property]
    if rule.quantity is Quantity.TEMPERATURE:
        converted = _celsius(pointer, value, unit)
    else:
        key = unit.strip().lower().replace(" /", "/").replace("/ ", "/").replace("0.1 mm", "0.1mm")
        factor = _FACTORS[rule.quantity].get(key)
        if factor is None:
            raise _unknown_unit(pointer, laboratory_property)
        converted = value * factor[0] / factor[1]
    return rule.bounds.check(pointer, converted)


def _celsius(pointer: str, value: float, unit: str) -> float:
    key = unit.strip().upper().removeprefix("°")
    if key == "C":
        return value
    if key == "F":
        return celsius_from_fahrenheit(value)
    raise InvalidInputError.at(pointer, "Not a unit of temperature known here; give °C or °F.")


def _unknown_unit(pointer: str, laboratory_property: LaboratoryProperty) -> InvalidInputError:
    known = ", ".join(unit for unit in accepted_units(laboratory_property) if unit) or "no unit"
    return InvalidInputError.at(pointer, f"Not a unit of {laboratory_property}; give {known}.")
