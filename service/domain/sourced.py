"""A number that says where it comes from and how far it can be trusted."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from service.errors import InvalidInputError


class Flag(StrEnum):
    """How a value came to us."""

    PUBLISHED = "published"
    DERIVED = "derived"
    COMMON_PRACTICE = "common practice"
    FROM_MEMORY = "from memory"
    OWN_DATA = "own data"
    """Set or fitted by the organisation itself."""


NO_SOURCE: Final = "common practice, no source"
NOT_VERIFIED: Final = "from memory, not verified against the document"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sourced:
    """One default with its flag and source, and the range and spread around it where they are known."""

    value: float
    flag: Flag
    source: str
    low: float | None = None
    high: float | None = None
    standard_deviation: float | None = None

    def __post_init__(self) -> None:
        low = self.value if self.low is None else self.low
        high = self.value if self.high is None else self.high
        if not low <= self.value <= high:
            raise InvalidInputError("A default must lie inside its own range.")
        if not self.source:
            raise InvalidInputError("A default needs a source.")


@dataclass(frozen=True, slots=True, kw_only=True)
class SourcedRange:
    """A range with its flag and source, for values that are windows rather than points."""

    low: float
    high: float
    flag: Flag
    source: str

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise InvalidInputError("A window must open before it closes.")

    def holds(self, value: float) -> bool:
        """Whether a value lies inside the window, its ends included."""
        return self.low <= value <= self.high


def practice(
    value: float, low: float | None = None, high: float | None = None, sd: float | None = None
) -> Sourced:
    """Return a value that the trade commonly uses and nobody published."""
    return Sourced(
        value=value,
        flag=Flag.COMMON_PRACTICE,
        source=NO_SOURCE,
        low=low,
        high=high,
        standard_deviation=sd,
    )


def published(value: float, source: str) -> Sourced:
    """Return a value as a named publication gives it."""
    return Sourced(value=value, flag=Flag.PUBLISHED, source=source)


def derived(value: float, source: str, low: float | None = None, high: float | None = None) -> Sourced:
    """Return a value that was computed from a named publication."""
    return Sourced(value=value, flag=Flag.DERIVED, source=source, low=low, high=high)


def memory(value: float, low: float, high: float) -> Sourced:
    """Return a value that is remembered and not yet checked against a document."""
    return Sourced(value=value, flag=Flag.FROM_MEMORY, source=NOT_VERIFIED, low=low, high=high)
