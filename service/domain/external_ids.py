"""Identifiers as the outside sees them: a kind and a number, for instance `veh_12`.

The prefix keeps them apart from a fleet's own vehicle numbers, which work wherever an id does.
"""

import re
from enum import StrEnum
from typing import Final


class IdKind(StrEnum):
    """Kinds of things that have an id."""

    VEHICLE = "veh"
    COMPARTMENT = "cmp"
    READING = "rdg"
    SERVICE = "srv"
    SAMPLE = "smp"
    FLUID = "fld"
    PART = "prt"
    DEPOT = "dep"
    MOVEMENT = "mov"
    PURCHASE_ORDER = "ord"
    DUE_LIST_LINE = "lin"
    TOKEN = "tok"
    PERSON = "per"
    SUBSCRIPTION = "sub"
    DELIVERY = "dlv"
    CALENDAR_FEED = "cal"
    AUDIT_ENTRY = "aud"
    RETURN_VISIT = "ret"
    AGEING_FIT = "fit"
    VISIT_PIN = "pin"
    MACHINE_SOURCE = "src"
    MACHINE_EQUIPMENT = "eqp"
    MACHINE_VALUE = "mva"


MAX_NUMBER: Final = 2**31 - 1
"""What a key's column holds (PostgreSQL's `integer`): a larger number is nobody's."""

MAX_LONG_NUMBER: Final = 2**63 - 1
"""The same where a host of many fleets would use up the others within months (`bigint`)."""

_LONG_KINDS: Final = frozenset({IdKind.READING, IdKind.MACHINE_VALUE})

_EXTERNAL_ID: Final = re.compile(rf"({'|'.join(IdKind)})_([1-9][0-9]{{0,18}})")


def format_id(kind: IdKind, number: int | None) -> str:
    """Write an id; the row must be stored already.

    Raises
    ------
    ValueError
        If it is not.
    """
    if number is None:
        message = f"a {kind.name.lower()} that is not stored has no id"
        raise ValueError(message)
    return f"{kind}_{number}"


def parse_id(kind: IdKind, text: str) -> int | None:
    """Read the number in an id of this kind; none if the text is something else."""
    match = _EXTERNAL_ID.fullmatch(text)
    if match is None or match[1] != kind:
        return None
    number = int(match[2])
    return number if number <= (MAX_LONG_NUMBER if kind in _LONG_KINDS else MAX_NUMBER) else None


def looks_like_an_id(text: str) -> bool:
    """Whether the text has the form of an id of any kind, so that it cannot be a reference."""
    return _EXTERNAL_ID.fullmatch(text) is not None
