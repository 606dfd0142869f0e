"""Cleanliness codes of ISO 4406 from particle counts."""

from bisect import bisect_left
from typing import Final

from service.errors import InvalidInputError

SOURCE: Final = "ISO 4406, as printed on two pages of the filter trade"

# Upper bounds of codes 0 to 28. The printed bounds are rounded: a formula with powers of two gives other codes near
# them.
_UPPER_BOUNDS_PER_ML: Final = (
    *(0.01, 0.02, 0.04, 0.08, 0.16, 0.32, 0.64, 1.3, 2.5, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0),
    *(320.0, 640.0, 1300.0, 2500.0, 5000.0, 1e4, 2e4, 4e4, 8e4, 1.6e5, 3.2e5, 6.4e5, 1.3e6, 2.5e6),
)

HIGHEST_CODE: Final = len(_UPPER_BOUNDS_PER_ML) - 1


def code_for(particles_per_ml: float) -> str:
    """Give the code of one size class: the first whose upper bound is not exceeded.

    Raises
    ------
    InvalidInputError
        If the count is below zero or not finite.
    """
    if not 0 <= particles_per_ml < float("inf"):
        raise InvalidInputError("A particle count is a finite number from 0 up.")
    code = bisect_left(_UPPER_BOUNDS_PER_ML, particles_per_ml)
    return str(code) if code <= HIGHEST_CODE else f">{HIGHEST_CODE}"


def cleanliness(per_ml_4um: float, per_ml_6um: float, per_ml_14um: float) -> str:
    """Write the three-part code for particles from 4, 6 and 14 µm(c) up.

    Raises
    ------
    InvalidInputError
        If there are more large particles than small ones.
    """
    if not per_ml_4um >= per_ml_6um >= per_ml_14um:
        raise InvalidInputError("Counts from 4, 6 and 14 µm up must not increase: each holds the next.")
    return "/".join(code_for(count) for count in (per_ml_4um, per_ml_6um, per_ml_14um))
