"""How long a fluid keeps on the shelf, and what ordering and keeping it costs."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from service.domain.fluid_kinds import COOLANT_KINDS, FluidKind
from service.domain.sourced import Sourced, memory, practice, published

_BLENDER: Final = "Shelf-life page of a lubricant blender: sealed, indoors"

SEALED_SHELF_LIFE_MONTHS: Final[Mapping[FluidKind, Sourced]] = MappingProxyType(
    {kind: published(60, _BLENDER) for kind in FluidKind}
    | {kind: memory(60, 60, 96) for kind in COOLANT_KINDS}
    | {FluidKind.BRAKE_FLUID: practice(24, 24, 60)}
)

OPENED_SHELF_LIFE_MONTHS: Final[Mapping[FluidKind, Sourced]] = MappingProxyType(
    {kind: practice(6, 6, 12) for kind in FluidKind} | {FluidKind.BRAKE_FLUID: practice(1, 0.5, 12)}
)

SHELF_WARNING_SHARE: Final = practice(0.8)
"""Warn when this share of the shelf life is over; use what expires first, first."""


ORDER_COST_MINOR: Final = practice(2_500, 0, 10_000)
"""What placing and taking in one order costs, in the smallest unit of the currency."""

HOLDING_SHARE_A_YEAR: Final = practice(0.20, 0.10, 0.30)
"""What keeping stock for a year costs, as a share of its price."""
