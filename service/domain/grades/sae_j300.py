"""Engine oil grades of SAE J300. The thin grades overlap, so a viscosity belongs to a set of grades."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class HotGrade:
    """One grade without W: viscosity at 100 °C from `minimum` to below `below`, and shear viscosity at 150 °C."""

    grade: int
    minimum_mm2_per_s: float
    below_mm2_per_s: float
    high_shear_150c_minimum_mpa_s: float


@dataclass(frozen=True, slots=True)
class WinterGrade:
    """One W grade: cranking viscosity at its temperature, and the least viscosity at 100 °C."""

    grade: int
    cranking_maximum_mpa_s: float
    cranking_celsius: float
    minimum_100c_mm2_per_s: float


SOURCE: Final = "SAE J300 JAN2015, as printed on two pages of the trade"
HOT_GRADES: Final = (
    HotGrade(8, 4.0, 6.1, 1.7),
    HotGrade(12, 5.0, 7.1, 2.0),
    HotGrade(16, 6.1, 8.2, 2.3),
    HotGrade(20, 6.9, 9.3, 2.6),
    HotGrade(30, 9.3, 12.5, 2.9),
    HotGrade(40, 12.5, 16.3, 3.7),
    HotGrade(50, 16.3, 21.9, 3.7),
    HotGrade(60, 21.9, 26.1, 3.7),
)
SAE_40_LIGHT_HIGH_SHEAR_MINIMUM_MPA_S: Final = 3.5
"""For 0W-40, 5W-40 and 10W-40; other oils of grade 40 need 3.7 (same source)."""

WINTER_GRADES: Final = (
    WinterGrade(0, 6200, -35, 3.8),
    WinterGrade(5, 6600, -30, 3.8),
    WinterGrade(10, 7000, -25, 4.1),
    WinterGrade(15, 7000, -20, 5.6),
    WinterGrade(20, 9500, -15, 5.6),
    WinterGrade(25, 13000, -10, 9.3),
)


def hot_grades(viscosity_100c_mm2_per_s: float) -> frozenset[int]:
    """Return the grades that a viscosity at 100 °C falls in; empty outside all of them."""
    return frozenset(
        grade.grade
        for grade in HOT_GRADES
        if grade.minimum_mm2_per_s <= viscosity_100c_mm2_per_s < grade.below_mm2_per_s
    )


def winter_grades(viscosity_100c_mm2_per_s: float) -> frozenset[int]:
    """Return the W grades whose least viscosity at 100 °C is met; cranking decides among them."""
    return frozenset(
        grade.grade for grade in WINTER_GRADES if viscosity_100c_mm2_per_s >= grade.minimum_100c_mm2_per_s
    )
