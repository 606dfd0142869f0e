"""Freezing point of a coolant from its share of glycol."""

from bisect import bisect_left
from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.errors import InvalidInputError


class Glycol(StrEnum):
    """What the coolant concentrate is made of."""

    ETHYLENE = "ethylene"
    PROPYLENE = "propylene"


_VOLUME_PERCENT: Final = (0, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60)

SOURCE: Final = "ASHRAE 2001 glycol data by volume, as held by the property library CoolProp 8.0.0"
"""From 10 percent; plain water freezes at 0 °C."""

_FREEZING_CELSIUS: Final[Mapping[Glycol, tuple[float, ...]]] = MappingProxyType(
    {
        Glycol.ETHYLENE: (
            *(0.0, -3.62, -6.15, -8.98, -12.12, -15.70),
            *(-19.88, -24.80, -30.54, -37.11, -44.37, -52.02),
        ),
        Glycol.PROPYLENE: (
            *(0.0, -3.43, -5.25, -7.38, -9.97, -13.11),
            *(-16.91, -21.51, -27.03, -33.66, -41.59, -51.06),
        ),
    }
)

HIGHEST_GLYCOL_FRACTION: Final = 0.70
"""Above about 60 to 70 percent ethylene glycol freezes earlier again: from memory, not verified."""

_TABLE_END_FRACTION: Final = _VOLUME_PERCENT[-1] / 100


def freezing_celsius(glycol: Glycol, glycol_fraction: float) -> float:
    """Freezing point of a mixture by volume, linear between the printed points.

    Between 60 and 70 percent the point at 60 is given, because the curve turns somewhere in there.

    Raises
    ------
    InvalidInputError
        If there is more glycol in it than the table ends with, or less than none.
    """
    if not 0 <= glycol_fraction <= HIGHEST_GLYCOL_FRACTION:
        raise InvalidInputError.at(
            "/glycol_fraction",
            "Must be a volume fraction from 0 to 0.7: stronger mixtures protect less, add water.",
        )
    points = _FREEZING_CELSIUS[glycol]
    percent = min(glycol_fraction, _TABLE_END_FRACTION) * 100
    upper = max(bisect_left(_VOLUME_PERCENT, percent), 1)
    x0, x1 = _VOLUME_PERCENT[upper - 1], _VOLUME_PERCENT[upper]
    return points[upper - 1] + (percent - x0) / (x1 - x0) * (points[upper] - points[upper - 1])
