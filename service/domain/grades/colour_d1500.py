"""Colour by ASTM D1500, for fluids that are not dyed."""

import math
from typing import Final

from service.errors import InvalidInputError

LIGHTEST: Final = 0.5
DARKEST: Final = 8.0
_STEP: Final = 0.5
"""Glasses from 0.5 to 8.0: ASTM D1500-12(2017). The step of 0.5 is from memory, not verified."""

REPEATABILITY: Final = 0.5
REPRODUCIBILITY: Final = 1.0
"""ASTM D1500-12(2017)."""


def reported_colour(match: float, *, is_dyed: bool) -> str:
    """Write a colour as it is reported: the glass it equals, or L and the darker of the two it lies between."""
    if is_dyed:
        raise InvalidInputError.at(
            "/colour",
            "ASTM D1500 is not for dyed fluids, and red transmission fluid is dyed: use the visual grade instead.",
        )
    if not LIGHTEST <= match <= DARKEST:
        raise InvalidInputError.at(
            "/colour", f"Must be from {LIGHTEST} to {DARKEST}, the glasses of the scale."
        )
    glasses = match / _STEP
    darker = math.ceil(glasses) * _STEP
    return f"{darker:.1f}" if glasses == math.ceil(glasses) else f"L{darker:.1f}"
