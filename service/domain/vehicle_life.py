"""Whether a vehicle was there on a day that somebody gave for something done to it, and is still in use."""

from datetime import date, datetime
from typing import Final

from service.errors import InvalidInputError, StateTransitionError
from service.units import DAYS_PER_YEAR

MOST_DAYS_UNUSED: Final = 366
"""A vehicle is built and filled, and may stand for so long before its first use; common practice, no source."""

MOST_YEARS_AT_WORK: Final = 30
"""Of a vehicle of which nobody said since when it is in service; common practice, no source."""


def earliest_ordinal(in_service_on: date | None, today: date) -> float:
    """Give the ordinal of the first day on which anything of a vehicle can be on record."""
    if in_service_on is None:
        return today.toordinal() - MOST_YEARS_AT_WORK * DAYS_PER_YEAR
    return in_service_on.toordinal() - MOST_DAYS_UNUSED


def require_in_life(pointer: str, day: date, in_service_on: date | None, today: date) -> None:
    """Refuse a day on which the vehicle was not there yet, such as a year mistyped or a clock that began anew.

    Raises
    ------
    InvalidInputError
        At this pointer.
    """
    if day.toordinal() >= earliest_ordinal(in_service_on, today):
        return
    if in_service_on is None:
        raise InvalidInputError.at(
            pointer,
            "This is more than thirty years ago. Check the date; if it is right, say first since when the vehicle "
            "is in service (“In service since”, in_service_on).",
        )
    raise InvalidInputError.at(
        pointer,
        f"The vehicle is in service since {in_service_on}, and this is more than a year earlier. Check the date; "
        "if it is right, correct the vehicle (“In service since”, in_service_on).",
    )


def require_start(pointer: str, in_service_on: date | None, today: date) -> None:
    """Refuse a start that lies so far ahead that it is a slip of the pen: nothing could be recorded until then.

    Raises
    ------
    InvalidInputError
        At this pointer.
    """
    if in_service_on is not None and in_service_on.toordinal() > today.toordinal() + MOST_DAYS_UNUSED:
        raise InvalidInputError.at(pointer, "Lies more than a year in the future; check the date.")


def require_in_use(reference: str, retired_at: datetime | None) -> None:
    """Refuse to add anything to a vehicle that left the fleet; what is on record of it can still be put right.

    Raises
    ------
    StateTransitionError
        Whatever is wrong besides.
    """
    if retired_at is not None:
        raise StateTransitionError(
            f"“{reference}” left the fleet on {retired_at.date()}; nothing is recorded or planned for it any more. "
            "If it is back, register it anew.",
        )
