"""What the values of one report say together: whether they can be right, and their names in the open standards."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from service.domain.fluid_kinds import COOLANT_KINDS, ENGINE_OIL_KINDS, GEAR_OIL_KINDS, FluidKind
from service.domain.grades import (
    brake_fluid,
    coolant_freezing,
    iso_3448,
    iso_4406,
    sae_j300,
    sae_j306,
    viscosity_index_table,
)
from service.domain.grades.brake_fluid import HIGHEST_WATER_FRACTION, surveyed_vapour_lock_celsius
from service.domain.grades.coolant_freezing import HIGHEST_GLYCOL_FRACTION, Glycol, freezing_celsius
from service.domain.grades.iso_3448 import viscosity_class
from service.domain.grades.iso_4406 import cleanliness
from service.domain.grades.viscosity_index import rounded_viscosity_index
from service.domain.grades.viscosity_ranges import grades_at
from service.domain.laboratory import LaboratoryProperty
from service.errors import FieldError

_AT_40, _AT_100 = LaboratoryProperty.VISCOSITY_40C_MM2_PER_S, LaboratoryProperty.VISCOSITY_100C_MM2_PER_S
_COUNTS: Final = (
    LaboratoryProperty.PARTICLES_4UM_PER_ML,
    LaboratoryProperty.PARTICLES_6UM_PER_ML,
    LaboratoryProperty.PARTICLES_14UM_PER_ML,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeShown:
    """What measured values are called by an open standard, in words a workshop uses."""

    standard: str
    grade: str
    meaning: str
    properties: tuple[LaboratoryProperty, ...]
    source: str
    """Where the table came to us from; hardly any from the standard itself."""


def contradictions(values: Mapping[str, float]) -> list[FieldError]:
    """Values of one report that cannot all be right; each error names the property to look at."""
    found = []
    if _AT_40 in values and _AT_100 in values and values[_AT_100] >= values[_AT_40]:
        found.append(
            FieldError(f"/{_AT_100}", "Oil is thinner at 100 °C than at 40 °C; were the two exchanged?")
        )
    for finer, coarser in pairwise(_COUNTS):
        if finer in values and coarser in values and values[coarser] > values[finer]:
            found.append(
                FieldError(f"/{coarser}", f"{finer} counts these particles too, so it cannot be the smaller.")
            )
    return found


def grades_shown(kind: FluidKind, values: Mapping[str, float]) -> list[GradeShown]:
    """Name what was measured; of values that contradict each other nothing."""
    return [] if contradictions(values) else [*_viscosity(kind, values), *_contents(kind, values)]


def _viscosity(kind: FluidKind, values: Mapping[str, float]) -> Iterator[GradeShown]:
    at_40, at_100 = values.get(_AT_40), values.get(_AT_100)
    if at_100 is not None and kind in ENGINE_OIL_KINDS:
        yield _of_grades("SAE J300", grades_at(sae_j300.HOT_GRADES, at_100), "an engine oil", sae_j300.SOURCE)
    if at_100 is not None and kind in GEAR_OIL_KINDS:
        yield _of_grades("SAE J306", grades_at(sae_j306.GEAR_GRADES, at_100), "a gear oil", sae_j306.SOURCE)
    if at_40 is not None and kind is FluidKind.HYDRAULIC:
        number = viscosity_class(at_40)
        grade = "between two classes" if number is None else f"VG {number}"
        meaning = "Viscosity class of a hydraulic oil, ten percent about its middle at 40 °C."
        yield GradeShown(
            standard="ISO 3448", grade=grade, meaning=meaning, properties=(_AT_40,), source=iso_3448.SOURCE
        )
    if at_40 is not None and at_100 is not None:
        index = rounded_viscosity_index(at_40, at_100)
        if index is not None:
            meaning = "Viscosity index: the higher, the less the oil thins as it warms."
            yield GradeShown(
                standard="ASTM D2270",
                grade=str(index),
                meaning=meaning,
                properties=(_AT_40, _AT_100),
                source=viscosity_index_table.SOURCE,
            )


def _of_grades(standard: str, grades: frozenset[int], what: str, source: str) -> GradeShown:
    grade = " or ".join(str(one) for one in sorted(grades)) or "outside every grade"
    meaning = (
        f"By its viscosity at 100 °C, that of {what} of this grade; compare with the grade that was filled."
    )
    return GradeShown(standard=standard, grade=grade, meaning=meaning, properties=(_AT_100,), source=source)


def _contents(kind: FluidKind, values: Mapping[str, float]) -> Iterator[GradeShown]:
    if all(count in values for count in _COUNTS):
        yield GradeShown(
            standard="ISO 4406",
            grade=cleanliness(*(values[count] for count in _COUNTS)),
            meaning="Cleanliness: particles from 4, 6 and 14 µm up; one number more is twice as many.",
            properties=_COUNTS,
            source=iso_4406.SOURCE,
        )
    glycol = values.get(LaboratoryProperty.GLYCOL_FRACTION)
    if glycol is not None and glycol <= HIGHEST_GLYCOL_FRACTION and kind in COOLANT_KINDS:
        ethylene, propylene = (freezing_celsius(one, glycol) for one in (Glycol.ETHYLENE, Glycol.PROPYLENE))
        yield GradeShown(
            standard="ASHRAE 2001",
            grade=f"{ethylene:.0f} °C",
            meaning=f"Where a coolant freezes with this share by volume of ethylene glycol; of propylene glycol, "
            f"at {propylene:.0f} °C.",
            properties=(LaboratoryProperty.GLYCOL_FRACTION,),
            source=coolant_freezing.SOURCE,
        )
    water = values.get(LaboratoryProperty.WATER_FRACTION)
    if water is not None and water <= HIGHEST_WATER_FRACTION and kind is FluidKind.BRAKE_FLUID:
        yield GradeShown(
            standard="TRL LR903",
            grade=f"{surveyed_vapour_lock_celsius(water):.0f} °C",
            meaning="Where brake fluid with so much water by mass began to form vapour in a survey of cars in use, "
            "between the measured points by a curve.",
            properties=(LaboratoryProperty.WATER_FRACTION,),
            source=brake_fluid.SURVEY_SOURCE,
        )
