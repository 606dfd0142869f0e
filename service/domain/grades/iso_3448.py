"""Viscosity classes of ISO 3448 for industrial and hydraulic oils."""

from decimal import Decimal
from typing import Final

SOURCE: Final = "ISO 3448, from pages of the trade; the two thickest classes from memory"

# Class and mid-point at 40 °C in mm²/s; ASTM D2422 has the same twenty.
_MID_POINTS: Final = (
    *((2, "2.2"), (3, "3.2"), (5, "4.6"), (7, "6.8"), (10, "10"), (15, "15"), (22, "22"), (32, "32")),
    *((46, "46"), (68, "68"), (100, "100"), (150, "150"), (220, "220"), (320, "320"), (460, "460")),
    *((680, "680"), (1000, "1000"), (1500, "1500"), (2200, "2200"), (3200, "3200")),
)
_TOLERANCE: Final = Decimal("0.1")

CLASS_LIMITS_MM2_PER_S: Final = {
    number: (float(Decimal(mid) * (1 - _TOLERANCE)), float(Decimal(mid) * (1 + _TOLERANCE)))
    for number, mid in _MID_POINTS
}
"""Ten percent to either side of the mid-point; in decimals, so that the printed ends belong to the class."""


def viscosity_class(viscosity_40c_mm2_per_s: float) -> int | None:
    """Return the class that a viscosity at 40 °C falls in; None between two classes."""
    for number, (low, high) in CLASS_LIMITS_MM2_PER_S.items():
        if low <= viscosity_40c_mm2_per_s <= high:
            return number
    return None
