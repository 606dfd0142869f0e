"""Grades that are ranges of viscosity at 100 °C."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ViscosityRange:
    """One grade: from `minimum` to below `below`."""

    grade: int
    minimum_mm2_per_s: float
    below_mm2_per_s: float = math.inf


def grades_at(ranges: tuple[ViscosityRange, ...], viscosity_100c_mm2_per_s: float) -> frozenset[int]:
    """Return the grades that a viscosity at 100 °C falls in; empty outside all of them."""
    return frozenset(
        one.grade for one in ranges if one.minimum_mm2_per_s <= viscosity_100c_mm2_per_s < one.below_mm2_per_s
    )
