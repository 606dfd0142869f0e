"""What the eye and the nose say about a fluid: six grades of a drop on white paper, in the words of its kind."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.domain.fluid_kinds import AUTOMATIC_KINDS, COOLANT_KINDS, OIL_KINDS, RED_DYED_KINDS, FluidKind
from service.domain.sourced import Sourced, practice
from service.errors import InvalidInputError


class VisualGrade(StrEnum):
    """How a drop of the fluid looks and smells."""

    CLEAR = "clear"
    REDDISH_BROWN = "reddish_brown"
    BROWN = "brown"
    DARK_BROWN = "dark_brown"
    BLACK = "black"
    MILKY = "milky"


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeText:
    """One grade: its mark on the job sheet, how to recognise it, and the life used that it stands for."""

    mark: str
    look: str
    life_used: Sourced | None
    """Mean and standard deviation, red automatic transmission fluid only; None when the grade is an alarm."""
    advice: str | None = None


GRADE_TEXTS: Final[Mapping[VisualGrade, GradeText]] = MappingProxyType(
    {
        VisualGrade.CLEAR: GradeText(
            mark="0",
            look="Clear, red or the colour of the new fluid; smells of petroleum.",
            life_used=practice(0.15, sd=0.20),
        ),
        VisualGrade.REDDISH_BROWN: GradeText(
            mark="1", look="Reddish brown, still clear.", life_used=practice(0.40, sd=0.25)
        ),
        VisualGrade.BROWN: GradeText(
            mark="2", look="Brown, light still comes through.", life_used=practice(0.60, sd=0.25)
        ),
        VisualGrade.DARK_BROWN: GradeText(
            mark="3", look="Dark brown, nearly opaque, faintly burnt.", life_used=practice(0.80, sd=0.25)
        ),
        VisualGrade.BLACK: GradeText(
            mark="4",
            look="Black, opaque, burnt, or with particles.",
            life_used=practice(1.00, sd=0.20),
            advice="Look at the magnet and the pan before going on; a change may not help a unit that slips.",
        ),
        VisualGrade.MILKY: GradeText(
            mark="W",
            look="Milky, pink like a milkshake, or foamy.",
            life_used=None,
            advice="Water or coolant is in the fluid. Stop, find out how it came in, and refer before driving on.",
        ),
    }
)


def _ladder(looks: Sequence[str], black: str, milky: str) -> Mapping[VisualGrade, GradeText]:
    """Words for a fluid whose colour says nothing of its life."""
    advice = {VisualGrade.BLACK: black, VisualGrade.MILKY: milky}
    return MappingProxyType(
        {
            grade: GradeText(mark=text.mark, look=look, life_used=None, advice=advice.get(grade))
            for (grade, text), look in zip(GRADE_TEXTS.items(), looks, strict=True)
        }
    )


# Common practice, no source, as all of the ladders.
_OTHER_OIL_TEXTS: Final[Mapping[VisualGrade, GradeText]] = MappingProxyType(
    {
        **GRADE_TEXTS,
        VisualGrade.BLACK: replace(
            GRADE_TEXTS[VisualGrade.BLACK],
            advice="Look for particles before going on; black alone says little of this oil.",
        ),
    }
)
"""An engine's oil turns black long before it is used up, and has no clutches that slip."""

_BRAKE_TEXTS: Final = _ladder(
    (
        "Clear, the colour of the new fluid.",
        "A little darker, clear.",
        "Darker, light still comes through.",
        "Dark, light hardly comes through.",
        "Black, or with particles.",
        "Milky, or in layers.",
    ),
    black="Find where the particles come from, such as a seal or a hose, before the brakes are used again.",
    milky="Water or another fluid is in the brake fluid. Do not drive: find out how it came in, and refer.",
)
_COOLANT_TEXTS: Final = _ladder(
    (
        "Clear, the colour of the new coolant.",
        "A little duller, clear.",
        "Dull or cloudy, light still comes through.",
        "Brown as rust, nearly opaque.",
        "Black, with sludge or with particles.",
        "Milky, foamy, or with a film of oil.",
    ),
    black="Find where rust, sludge or particles come from before going on; fresh coolant alone does not mend it.",
    milky="Oil may be in the coolant. Stop, find out how it came in, and refer before driving on.",
)

_BY_TEXT: Final = {grade.value: grade for grade in VisualGrade} | {
    text.mark: grade for grade, text in GRADE_TEXTS.items()
}

COLOUR_CAUTION: Final = (
    "Colour is a dye that fades: some new fluids are dark and a worn unit can hold red fluid. A good "
    "colour never puts a due date off; a bad one may bring it forward."
)
_BRAKE_CAUTION: Final = (
    "The colour of brake fluid says nothing of its life and moves no due date: its water has to be measured. New "
    "fluid may hold 0.2 % of water already, as one data sheet allows; the estimate counts it as none."
)
_COOLANT_CAUTION: Final = (
    "The colour of coolant says nothing of its life and moves no due date: its strength has to be measured."
)


def grade_texts(kind: FluidKind) -> Mapping[VisualGrade, GradeText]:
    """What the grades are called for a kind of fluid."""
    if kind is FluidKind.BRAKE_FLUID:
        return _BRAKE_TEXTS
    if kind in COOLANT_KINDS:
        return _COOLANT_TEXTS
    return GRADE_TEXTS if kind in AUTOMATIC_KINDS else _OTHER_OIL_TEXTS


def colour_caution(kind: FluidKind) -> str:
    """How little the colour of a kind of fluid says."""
    if kind is FluidKind.BRAKE_FLUID:
        return _BRAKE_CAUTION
    return COLOUR_CAUTION if kind in OIL_KINDS else _COOLANT_CAUTION


def parse_grade(pointer: str, text: str) -> VisualGrade:
    """Read a grade by its word or by its mark on the job sheet.

    Raises
    ------
    InvalidInputError
        Naming the grades to choose from.
    """
    grade = _BY_TEXT.get(text)
    if grade is None:
        words = ", ".join(f"{text.mark} {grade}" for grade, text in GRADE_TEXTS.items())
        raise InvalidInputError.at(pointer, f"Not a visual grade; choose from {words}.")
    return grade


def life_used_from_grade(grade: VisualGrade, kind: FluidKind, *, is_dyed_red: bool) -> Sourced | None:
    """Life used that a grade stands for, or None where colour says nothing: undyed fluid, coolant, brakes."""
    if kind not in RED_DYED_KINDS or not is_dyed_red:
        return None
    return GRADE_TEXTS[grade].life_used


def is_contamination(grade: VisualGrade, kind: FluidKind) -> bool:
    """Whether a grade shows water or coolant where there should be none: due now."""
    return grade is VisualGrade.MILKY and kind not in COOLANT_KINDS
