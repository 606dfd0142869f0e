"""Boiling point of brake fluid against the water in it, by the grades of FMVSS 116."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.domain.sourced import Sourced, memory, published
from service.errors import InvalidInputError


class BrakeFluidGrade(StrEnum):
    """Grades of brake fluid."""

    DOT_3 = "dot_3"
    DOT_4 = "dot_4"
    DOT_5 = "dot_5"
    DOT_5_1 = "dot_5_1"


@dataclass(frozen=True, slots=True, kw_only=True)
class BrakeFluidMinima:
    """What a grade must reach, new and humidified, and how thin it must stay in the cold."""

    dry_boiling_celsius: Sourced
    wet_boiling_celsius: Sourced
    cold_viscosity_maximum_mm2_per_s: Sourced
    is_silicone: bool = False


_FMVSS: Final = "49 CFR 571.116, as quoted in fluid data sheets"
_FMVSS_51: Final = "49 CFR 571.116, as quoted on one page; sources differ for DOT 5.1"

GRADE_MINIMA: Final[Mapping[BrakeFluidGrade, BrakeFluidMinima]] = MappingProxyType(
    {
        BrakeFluidGrade.DOT_3: BrakeFluidMinima(
            dry_boiling_celsius=published(205, _FMVSS),
            wet_boiling_celsius=published(140, _FMVSS),
            cold_viscosity_maximum_mm2_per_s=published(1500, _FMVSS),
        ),
        BrakeFluidGrade.DOT_4: BrakeFluidMinima(
            dry_boiling_celsius=published(230, _FMVSS),
            wet_boiling_celsius=published(155, _FMVSS),
            cold_viscosity_maximum_mm2_per_s=published(1800, _FMVSS),
        ),
        BrakeFluidGrade.DOT_5: BrakeFluidMinima(
            dry_boiling_celsius=published(260, _FMVSS),
            wet_boiling_celsius=published(180, _FMVSS),
            cold_viscosity_maximum_mm2_per_s=memory(900),
            is_silicone=True,
        ),
        BrakeFluidGrade.DOT_5_1: BrakeFluidMinima(
            dry_boiling_celsius=published(260, _FMVSS_51),
            wet_boiling_celsius=published(180, _FMVSS_51),
            cold_viscosity_maximum_mm2_per_s=memory(900),
        ),
    }
)

WET_WATER_FRACTION: Final = 0.037
"""Humidified fluid holds 3.70 ± 0.05 percent of water by mass, not by volume: 49 CFR 571.116."""

HIGHEST_WATER_FRACTION: Final = 0.10
"""Beyond this the fluid is not brake fluid any more; the curves say nothing."""

_SHAPE_PERCENT: Final = 1.5
"""Decay of the boiling point between dry and wet, in percent of water: common practice, no source."""

_SURVEY_FLOOR_CELSIUS: Final = 139.59
_SURVEY_DROP_CELSIUS: Final = 110.41
_SURVEY_DECAY_PERCENT: Final = 0.99497
SURVEY_SOURCE: Final = (
    "derived: the exponential through 250, 180 and 145 °C at 0, 1 and 3 percent of the abstract of TRL LR903"
)


def boiling_floor_celsius(grade: BrakeFluidGrade, water_fraction: float) -> float:
    """Lowest boiling point that a fluid of this grade may have with so much water in it, by mass."""
    minima = GRADE_MINIMA[grade]
    if minima.is_silicone:
        raise InvalidInputError(
            "Silicone fluid does not dissolve water: what enters lies in drops at the lowest point and "
            "boils at 100 °C, whatever the average says."
        )
    percent = _percent(water_fraction)
    wet = math.exp(-WET_WATER_FRACTION * 100 / _SHAPE_PERCENT)
    share = (math.exp(-percent / _SHAPE_PERCENT) - wet) / (1 - wet)
    dry_celsius, wet_celsius = minima.dry_boiling_celsius.value, minima.wet_boiling_celsius.value
    return wet_celsius + (dry_celsius - wet_celsius) * share


def surveyed_vapour_lock_celsius(water_fraction: float) -> float:
    """Temperature at which a typical fluid of a survey of cars in use began to form vapour."""
    percent = _percent(water_fraction)
    return _SURVEY_FLOOR_CELSIUS + _SURVEY_DROP_CELSIUS * math.exp(-percent / _SURVEY_DECAY_PERCENT)


def _percent(water_fraction: float) -> float:
    if not 0 <= water_fraction <= HIGHEST_WATER_FRACTION:
        raise InvalidInputError.at(
            "/water_fraction",
            f"Must be a mass fraction from 0 to {HIGHEST_WATER_FRACTION}; 0.03 is 3 percent.",
        )
    return water_fraction * 100
