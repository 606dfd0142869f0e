"""Numbers in the cells of a CSV file: read without guessing, or refused.

Python's own float() would also take "1_000", "1e3", "nan" and digits of other scripts; none of these is a
number that somebody read off an instrument.
"""

import re
from collections.abc import Iterable
from enum import StrEnum
from typing import Final

from service.errors import InvalidInputError


class DecimalMark(StrEnum):
    """What separates the whole number from its decimals in a file."""

    POINT = "."
    COMMA = ","


_PATTERNS: Final = {
    DecimalMark.POINT: re.compile(r"[+-]?[0-9]{1,15}(?:\.[0-9]{1,9})?"),
    DecimalMark.COMMA: re.compile(r"[+-]?[0-9]{1,15}(?:,[0-9]{1,9})?"),
}
_COULD_BE_GROUPING: Final = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
"""1,234 or 1.234: decimals to one reader, a thousand to another."""

DOUBTFUL: Final = (
    "Thousands or decimals? Write it without a mark, as 84210, or with other decimals, as 84.21."
)


def may_be_thousands(text: str) -> bool:
    """Whether the mark in a number may part its thousands as well as its decimals."""
    return _COULD_BE_GROUPING.fullmatch(text) is not None


def number_from_cell(pointer: str, text: str, mark: DecimalMark) -> float:
    """Read one number, or refuse a cell that is not one in this file's notation."""
    stripped = text.strip(" ")
    if not _PATTERNS[mark].fullmatch(stripped):
        raise InvalidInputError.at(
            pointer,
            f"Not a number: write digits with '{mark.value}' before the decimals and nothing between "
            "thousands.",
        )
    return float(stripped.replace(",", "."))


def decimal_mark_of(cells: Iterable[str]) -> DecimalMark:
    """Find the decimal mark of a file from its cells, or refuse to guess.

    A mark counts as evidence only where it cannot separate thousands. A file of whole numbers has points.
    """
    seen: set[DecimalMark] = set()
    doubtful = False
    for cell in cells:
        text = cell.strip(" ")
        if may_be_thousands(text):
            doubtful = True
        else:
            seen.update(mark for mark in DecimalMark if mark in text and _PATTERNS[mark].fullmatch(text))
    if len(seen) > 1 or (doubtful and not seen):
        raise InvalidInputError(
            "The decimal mark of this file is not clear. Say whether it is a point or a comma, and write "
            "nothing between thousands."
        )
    return seen.pop() if seen else DecimalMark.POINT
