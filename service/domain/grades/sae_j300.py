"""Engine oil grades of SAE J300. The thin grades overlap, so a viscosity belongs to a set of grades."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class HotGrade:
    """One grade without W: viscosity at 100 °C from `minimum` to below `below`."""

    grade: int
    minimum_mm2_per_s: float
    below_mm2_per_s: float


SOURCE: Final = "SAE J300 JAN2015, as printed on two pages of the trade"
HOT_GRADES: Final = (
    HotGrade(8, 4.0, 6.1),
    HotGrade(12, 5.0, 7.1),
    HotGrade(16, 6.1, 8.2),
    HotGrade(20, 6.9, 9.3),
    HotGrade(30, 9.3, 12.5),
    HotGrade(40, 12.5, 16.3),
    HotGrade(50, 16.3, 21.9),
    HotGrade(60, 21.9, 26.1),
)


def hot_grades(viscosity_100c_mm2_per_s: float) -> frozenset[int]:
    """Return the grades that a viscosity at 100 °C falls in; empty outside all of them."""
    return frozenset(
        grade.grade
        for grade in HOT_GRADES
        if grade.minimum_mm2_per_s <= viscosity_100c_mm2_per_s < grade.below_mm2_per_s
    )
