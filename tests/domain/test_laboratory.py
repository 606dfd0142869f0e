"""Laboratory values, limits and visual grades."""

import re

import pytest

from service.domain.fluid_kinds import AUTOMATIC_KINDS, OIL_KINDS, FluidKind
from service.domain.laboratory import INSIDE_UNIT, PROPERTY_RULES, Quantity, accepted_units, value_inside
from service.domain.laboratory import LaboratoryProperty as Property
from service.domain.limits import DEFAULT_LIMITS, AlarmLevel, AlarmLimit, Basis, limits_for
from service.domain.sourced import NO_SOURCE, NOT_VERIFIED, Flag
from service.domain.visual_grades import (
    COLOUR_CAUTION,
    GRADE_TEXTS,
    VisualGrade,
    colour_caution,
    grade_texts,
    is_contamination,
    life_used_from_grade,
    parse_grade,
)
from service.errors import InvalidInputError


# Definitions of the units; 100 cells of 0.1 mm make a centimetre.
@pytest.mark.parametrize(
    ("laboratory_property", "value", "unit", "inside"),
    [
        (Property.IRON_MG_PER_KG, 35, "ppm", 35),
        (Property.IRON_MG_PER_KG, 0.01, "%", 100),
        (Property.WATER_FRACTION, 0.2, "%", 0.002),
        (Property.WATER_FRACTION, 2000, "ppm", 0.002),
        (Property.WATER_FRACTION, 0.002, "fraction", 0.002),
        (Property.OXIDATION_ABS_PER_CM, 0.25, "A/0.1mm", 25),
        (Property.OXIDATION_ABS_PER_CM, 25, " Abs / cm ", 25),
        (Property.VISCOSITY_40C_MM2_PER_S, 46, "cSt", 46),
        (Property.ACID_NUMBER_MG_KOH_PER_G, 1.5, "mg KOH/g", 1.5),
        (Property.PARTICLES_4UM_PER_ML, 110_000, "1/100mL", 1100),
        (Property.BOILING_CELSIUS, 311, "°F", 155),
        (Property.BOILING_CELSIUS, 155, "C", 155),
        (Property.PH, 8.2, "", 8.2),
    ],
)
def test_units_of_laboratories(laboratory_property: Property, value: float, unit: str, inside: float) -> None:
    assert value_inside("/value", laboratory_property, value, unit) == pytest.approx(inside, rel=1e-12)


@pytest.mark.parametrize(
    ("laboratory_property", "unit"),
    [
        (Property.IRON_MG_PER_KG, "mg/l"),
        (Property.BOILING_CELSIUS, "K"),
        (Property.PH, "%"),
        (Property.WATER_FRACTION, ""),
    ],
)
def test_an_unknown_unit_is_refused_with_the_known_ones(laboratory_property: Property, unit: str) -> None:
    with pytest.raises(InvalidInputError, match="Not a unit") as caught:
        value_inside("/unit", laboratory_property, 1, unit)
    assert caught.value.errors[0].pointer == "/unit"


@pytest.mark.parametrize(
    ("laboratory_property", "value", "unit"),
    [
        (Property.WATER_FRACTION, 2, "fraction"),
        (Property.IRON_MG_PER_KG, -1, "ppm"),
        (Property.PH, 15, ""),
        (Property.VISCOSITY_40C_MM2_PER_S, float("nan"), "cSt"),
    ],
)
def test_impossible_values_are_refused(laboratory_property: Property, value: float, unit: str) -> None:
    with pytest.raises(InvalidInputError):
        value_inside("/value", laboratory_property, value, unit)


def test_every_property_accepts_the_unit_inside() -> None:
    for laboratory_property in Property:
        inside = INSIDE_UNIT[PROPERTY_RULES[laboratory_property].quantity]
        assert value_inside("/value", laboratory_property, 1.0, inside) == 1.0
        assert inside.lower() in {unit.lower() for unit in accepted_units(laboratory_property)}
    assert set(INSIDE_UNIT) == set(Quantity)


def test_every_limit_names_its_source_as_its_flag_demands() -> None:
    for limit in DEFAULT_LIMITS:
        if limit.flag is Flag.PUBLISHED:
            assert limit.source not in {NO_SOURCE, NOT_VERIFIED}
        elif limit.flag is Flag.FROM_MEMORY:
            assert limit.source == NOT_VERIFIED
        else:
            assert limit.flag is Flag.COMMON_PRACTICE
            assert limit.source
    assert len({(limit.kind, limit.laboratory_property) for limit in DEFAULT_LIMITS}) == len(DEFAULT_LIMITS)


def test_any_coolant_in_any_oil_is_critical() -> None:
    limit = next(
        each
        for each in limits_for(FluidKind.AUTOMATIC_TRANSMISSION_CAR)
        if each.laboratory_property is Property.COOLANT_FRACTION
    )
    assert limit.level(0.0) is AlarmLevel.NORMAL
    assert limit.level(0.0001) is AlarmLevel.CRITICAL


def test_relative_limits_need_the_new_fluid() -> None:
    for limit in DEFAULT_LIMITS:
        needs_new = limit.basis not in {Basis.VALUE, Basis.VALUE_FALLING}
        assert (limit.level(1.0) is AlarmLevel.UNKNOWN) == needs_new
    left = next(limit for limit in DEFAULT_LIMITS if limit.basis is Basis.LEFT_FRACTION)
    assert left.level(1.0, 0.0) is AlarmLevel.UNKNOWN
    assert left.level(5.0, 10.0) is AlarmLevel.CAUTION
    assert left.level(3.5, 10.0) is AlarmLevel.CRITICAL
    assert left.level(8.0, 10.0) is AlarmLevel.NORMAL


@pytest.mark.parametrize("basis", [Basis.VALUE_FALLING, Basis.INCREASE, Basis.LEFT_FRACTION])
def test_a_value_at_a_limit_has_reached_it(basis: Basis) -> None:
    """ASTM D7590 as quoted: a quarter of the additive left is the condemning level itself."""
    new = 0.0 if basis is Basis.INCREASE else 1.0
    limits = [limit for limit in DEFAULT_LIMITS if limit.basis is basis]
    assert limits
    for limit in limits:
        assert limit.level(limit.critical, new) is AlarmLevel.CRITICAL
        if limit.caution != limit.critical:
            assert limit.level(limit.caution, new) is AlarmLevel.CAUTION


def test_as_much_as_may_be_in_a_fluid_is_still_within_its_limit() -> None:
    """Up to 0.2 % of condensate is normal in a heavy automatic transmission (its operator's manual)."""
    for limit in DEFAULT_LIMITS:
        if limit.basis is Basis.VALUE:
            within = AlarmLevel.NORMAL if limit.caution == limit.critical else AlarmLevel.CAUTION
            assert limit.level(limit.caution) is AlarmLevel.NORMAL
            assert limit.level(limit.critical) is within
            assert limit.level(limit.critical * 1.001) is AlarmLevel.CRITICAL


@pytest.mark.parametrize(("basis", "caution", "critical"), [(Basis.VALUE, 2, 1), (Basis.VALUE_FALLING, 1, 2)])
def test_caution_comes_before_critical(basis: Basis, caution: float, critical: float) -> None:
    with pytest.raises(InvalidInputError):
        AlarmLimit(
            kind=FluidKind.AXLE,
            laboratory_property=Property.IRON_MG_PER_KG,
            basis=basis,
            caution=caution,
            critical=critical,
            flag=Flag.OWN_DATA,
            source="the organisation",
        )


# Means and deviations of life used: common practice, no source.
@pytest.mark.parametrize(
    ("mark", "mean", "sd"),
    [("0", 0.15, 0.20), ("1", 0.40, 0.25), ("2", 0.60, 0.25), ("3", 0.80, 0.25), ("4", 1.00, 0.20)],
)
def test_grades_of_red_transmission_fluid(mark: str, mean: float, sd: float) -> None:
    grade = parse_grade("/grade", mark)
    assert parse_grade("/grade", grade.value) is grade
    life_used = life_used_from_grade(grade, FluidKind.AUTOMATIC_TRANSMISSION_CAR, is_dyed_red=True)
    assert life_used is not None
    assert (life_used.value, life_used.standard_deviation) == (mean, sd)


def test_colour_says_nothing_of_undyed_fluid_coolant_or_brakes() -> None:
    dark = VisualGrade.DARK_BROWN
    assert life_used_from_grade(dark, FluidKind.AUTOMATIC_TRANSMISSION_CAR, is_dyed_red=False) is None
    for kind in (FluidKind.COOLANT_OAT, FluidKind.BRAKE_FLUID, FluidKind.ENGINE_OIL_PETROL):
        assert life_used_from_grade(dark, kind, is_dyed_red=True) is None


def test_milk_is_an_alarm_and_not_a_degree_of_life() -> None:
    assert parse_grade("/grade", "W") is VisualGrade.MILKY
    assert GRADE_TEXTS[VisualGrade.MILKY].life_used is None
    assert is_contamination(VisualGrade.MILKY, FluidKind.AXLE)
    assert not is_contamination(VisualGrade.MILKY, FluidKind.COOLANT_OAT)
    assert not is_contamination(VisualGrade.BLACK, FluidKind.AXLE)


@pytest.mark.parametrize("kind", FluidKind)
def test_each_kind_of_fluid_is_spoken_of_in_its_own_words(kind: FluidKind) -> None:
    """No mapping from their colours to life used, and neither magnet nor pan; common practice, no source."""
    texts = grade_texts(kind)
    words = " ".join(f"{text.look} {text.advice}" for text in texts.values())
    assert [text.mark for text in texts.values()] == ["0", "1", "2", "3", "4", "W"]
    if kind not in OIL_KINDS:
        assert not {"red", "magnet", "pan", "burnt"} & set(re.findall(r"[a-z]+", words.lower()))
        assert {text.life_used for text in texts.values()} == {None}
        assert "bring it forward" not in colour_caution(kind)
    else:
        assert colour_caution(kind) == COLOUR_CAUTION
        assert ("slips" in words) == (kind in AUTOMATIC_KINDS)


def test_an_unknown_grade_is_refused_with_the_choice() -> None:
    with pytest.raises(InvalidInputError, match="0 clear, 1 reddish_brown"):
        parse_grade("/grade", "purple")
