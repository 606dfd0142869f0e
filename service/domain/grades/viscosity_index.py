"""Viscosity index by ASTM D2270 from the kinematic viscosities at 40 and 100 °C."""

import math
from bisect import bisect_right
from typing import Final

from service.domain.grades.viscosity_index_table import REFERENCE_SERIES
from service.domain.plausibility import VISCOSITY_MM2_PER_S
from service.errors import InvalidInputError

LOWEST_AT_100C_MM2_PER_S: Final = 2.0
"""ASTM D2270: the index is not defined below."""

_TABLE_ENDS_MM2_PER_S: Final = 70.0


def viscosity_index(viscosity_40c_mm2_per_s: float, viscosity_100c_mm2_per_s: float) -> float | None:
    """Compute the index before rounding; None where the practice does not define it.

    Raises
    ------
    InvalidInputError
        If a viscosity cannot be, or is not lower at 100 °C than at 40 °C.
    """
    VISCOSITY_MM2_PER_S.check("/viscosity_40c_mm2_per_s", viscosity_40c_mm2_per_s)
    VISCOSITY_MM2_PER_S.check("/viscosity_100c_mm2_per_s", viscosity_100c_mm2_per_s)
    if viscosity_100c_mm2_per_s >= viscosity_40c_mm2_per_s:
        raise InvalidInputError.at(
            "/viscosity_100c_mm2_per_s", "Must be lower than at 40 °C; were the two exchanged?"
        )
    if viscosity_100c_mm2_per_s < LOWEST_AT_100C_MM2_PER_S:
        return None
    low_series, high_series = reference_viscosities(viscosity_100c_mm2_per_s)
    if viscosity_40c_mm2_per_s > high_series:
        return 100 * (low_series - viscosity_40c_mm2_per_s) / (low_series - high_series)
    exponent = math.log(high_series / viscosity_40c_mm2_per_s) / math.log(viscosity_100c_mm2_per_s)
    return float((10**exponent - 1) / 0.00715 + 100)


def rounded_viscosity_index(viscosity_40c_mm2_per_s: float, viscosity_100c_mm2_per_s: float) -> int | None:
    """Compute the index as it is reported, a whole number."""
    index = viscosity_index(viscosity_40c_mm2_per_s, viscosity_100c_mm2_per_s)
    return None if index is None else round(index)


def reference_viscosities(viscosity_100c_mm2_per_s: float) -> tuple[float, float]:
    """Viscosities L and H at 40 °C of the reference oils with the same viscosity at 100 °C."""
    y = viscosity_100c_mm2_per_s
    if y >= _TABLE_ENDS_MM2_PER_S:
        return (0.8353 * y + 14.67) * y - 216, (0.1684 * y + 11.85) * y - 97
    after = bisect_right(REFERENCE_SERIES, y, key=lambda row: row[0])
    (y0, low0, high0), (y1, low1, high1) = REFERENCE_SERIES[after - 1], REFERENCE_SERIES[after]
    share = (y - y0) / (y1 - y0)
    return low0 + share * (low1 - low0), high0 + share * (high1 - high0)
