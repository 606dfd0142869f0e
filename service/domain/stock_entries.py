"""Words of the stock ledger and of purchase orders."""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final


class MovementKind(StrEnum):
    """Why litres or pieces came or went."""

    RECEIPT = "receipt"
    COUNT = "count"
    """Somebody looked: the entry holds the difference to what the ledger said."""

    CORRECTION = "correction"
    """A wrong entry is put right by another one."""

    DRAWN = "drawn"
    """Filled into a vehicle; a recorded service writes it."""

    USED = "used"
    """Taken for work that no recorded service draws."""

    DISCARDED = "discarded"
    """Expired, spilt or contaminated."""


class OrderState(StrEnum):
    """Where a purchase order stands."""

    PLANNED = "planned"
    PLACED = "placed"
    """The supplier has it; part of it may have come already."""

    RECEIVED = "received"
    CANCELLED = "cancelled"


STATES_BEFORE: Final[Mapping[OrderState, frozenset[OrderState]]] = MappingProxyType(
    {
        OrderState.PLACED: frozenset({OrderState.PLANNED}),
        OrderState.RECEIVED: frozenset({OrderState.PLACED}),
        OrderState.CANCELLED: frozenset({OrderState.PLANNED, OrderState.PLACED}),
    }
)
"""From which states each state can be reached."""
