"""Gear oil grades of SAE J306."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class GearGrade:
    """One grade without W: viscosity at 100 °C from `minimum` to below `below`; no upper end for the thickest."""

    grade: int
    minimum_mm2_per_s: float
    below_mm2_per_s: float | None


SOURCE: Final = "SAE J306 FEB2019, from a chart of the trade; a revision of 2025 adds thinner grades"
GEAR_GRADES: Final = (
    GearGrade(65, 3.8, 5.0),
    GearGrade(70, 5.0, 6.5),
    GearGrade(75, 6.5, 8.5),
    GearGrade(80, 8.5, 11.0),
    GearGrade(85, 11.0, 13.5),
    GearGrade(90, 13.5, 18.5),
    GearGrade(110, 18.5, 24.0),
    GearGrade(140, 24.0, 32.5),
    GearGrade(190, 32.5, 41.0),
    GearGrade(250, 41.0, None),
)


def gear_grades(viscosity_100c_mm2_per_s: float) -> frozenset[int]:
    """Return the grades that a viscosity at 100 °C falls in: one, or none below the scale."""
    return frozenset(
        grade.grade
        for grade in GEAR_GRADES
        if grade.minimum_mm2_per_s <= viscosity_100c_mm2_per_s
        and (grade.below_mm2_per_s is None or viscosity_100c_mm2_per_s < grade.below_mm2_per_s)
    )
