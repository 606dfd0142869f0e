"""The ways a fluid is exchanged."""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final


class ExchangeMethod(StrEnum):
    """How old fluid leaves and fresh fluid arrives."""

    DRAIN_AND_FILL = "drain_and_fill"
    LINE_EXCHANGE = "line_exchange"
    FLUSH = "flush"
    TOP_UP = "top_up"


METHOD_LABELS: Final[Mapping[ExchangeMethod, str]] = MappingProxyType(
    {
        ExchangeMethod.DRAIN_AND_FILL: "Drain and fill",
        ExchangeMethod.LINE_EXCHANGE: "Line exchange",
        ExchangeMethod.FLUSH: "Flush through",
        ExchangeMethod.TOP_UP: "Top-up",
    }
)
