"""Where brake fluid forms vapour, by the water in it, from a survey of cars in use."""

import math
from typing import Final

from service.errors import InvalidInputError

HIGHEST_WATER_FRACTION: Final = 0.10
"""Beyond this the fluid is not brake fluid any more; the curve says nothing."""


_SURVEY_FLOOR_CELSIUS: Final = 139.59
_SURVEY_DROP_CELSIUS: Final = 110.41
_SURVEY_DECAY_PERCENT: Final = 0.99497
SURVEY_SOURCE: Final = (
    "derived: the exponential through 250, 180 and 145 °C at 0, 1 and 3 percent of the abstract of TRL LR903"
)


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
