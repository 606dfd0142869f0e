"""What a service costs where nobody has said so, in the smallest unit of the currency."""

from typing import Final

from service.domain.sourced import practice

LABOUR_MINOR_PER_HOUR: Final = practice(6_000, 2_500, 15_000)
VISIT_MINOR: Final = practice(6_000, 0, 40_000)
"""Bringing the vehicle in and doing without it; setting up is bay time, and counted as such."""

FLUID_MINOR_PER_LITRE: Final = practice(900, 300, 4_000)
DISPOSAL_MINOR_PER_LITRE: Final = practice(20, 0, 100)
LINE_EQUIPMENT_MINOR: Final = practice(3_000, 1_000, 10_000)
"""Adapters, seals and dismantling for a line exchange."""
