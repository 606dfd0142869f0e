"""Read a CSV file of readings of any length, a few thousand rows a transaction.

One transaction for a million rows would keep other writers out for ten seconds, so this is the one operation that is
several: sent again after a crash, the rows that were stored are recognised and the rest follows.
"""

import csv
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import datetime
from itertools import filterfalse, islice
from typing import IO, Final, NamedTuple
from zoneinfo import ZoneInfo

from sqlmodel import Session

from service.domain.number_cells import DecimalMark, decimal_mark_of
from service.errors import InvalidInputError
from service.usecases.access.caller import Caller
from service.usecases.readings.file_columns import NUMBER_COLUMNS, FileNotation, columns_of_cells
from service.usecases.readings.record_readings import record_readings
from service.usecases.readings.row_outcomes import OUTCOMES, RowOutcomes

CHUNK_ROWS: Final = 2_500
"""Rows of one transaction: other writers wait for it, a fraction of a second."""

MOST_EMPTY_ROWS: Final = 2**20
"""As many as a sheet has rows; a file of tens of millions would keep a node busy for nothing."""

REQUIRED: Final = frozenset({"vehicle", "taken_at"})
OPTIONAL: Final = frozenset({"odometer", "unit", "engine_hours", "source", "reference"})
MAX_HEADER_CHARACTERS: Final = 4_000
_SEPARATOR_LINE: Final = re.compile(r'"?sep=([,;\t])"?[\r\n]*', re.IGNORECASE)
"""Spreadsheet programs take a first line like this for themselves and show the header as the first row; so do we."""

Transaction = Callable[[], AbstractContextManager[Session]]


Row = tuple[int, list[str]]
"""Where it stands in the file, the first of all being row 1, and its cells."""


class Header(NamedTuple):
    """The top of a file."""

    delimiter: str
    columns: tuple[str, ...]
    row: int
    """Where it stands."""


@dataclass(slots=True, kw_only=True)
class ReadingsFile:
    """An opened CSV file, its header read and its notation recognised."""

    rows: Iterator[Row]
    notation: FileNotation
    waiting: list[Row] = field(default_factory=list)

    def chunks(self) -> Iterator[list[Row]]:
        """Give the rows that are not empty, a chunk at a time."""
        chunk = self.waiting
        while chunk:
            yield chunk
            chunk = _take(self.rows)


def open_readings_file(text: IO[str], zone: ZoneInfo | None) -> ReadingsFile:
    """Read the header and enough rows to recognise the notation.

    Raises
    ------
    InvalidInputError
        If it is no CSV file with the columns that readings have; nothing is stored then.
    """
    try:
        delimiter, columns, row = read_header(text)
        _check_columns(columns)
        _read_through(text, delimiter)
        every = enumerate(csv.reader(text, delimiter=delimiter, strict=True), start=row + 1)
        rows = ((number, cells) for number, cells in every if any(cells))
        waiting = _take(rows)
    except (csv.Error, UnicodeError) as error:
        raise unreadable_file(error) from error
    places = [columns.index(name) for name in NUMBER_COLUMNS if name in columns]
    mark = decimal_mark_of(cells[place] for _, cells in waiting for place in places if place < len(cells))
    if mark is DecimalMark.COMMA and delimiter == ",":
        raise InvalidInputError("A file with decimal commas must separate its columns by semicolons.")
    return ReadingsFile(rows=rows, notation=FileNotation(columns, mark, zone), waiting=waiting)


def import_readings(
    transaction: Transaction,
    caller: Caller,
    clock: Callable[[], datetime],
    file: ReadingsFile,
    report: Callable[[Sequence[int], RowOutcomes], None],
) -> dict[str, int]:
    """Store a file chunk by chunk; gives the counts of the outcomes.

    `report` gets those of each chunk once it is stored, and where in the file its rows stand.
    """
    counts = {str(one): 0 for one in OUTCOMES}
    for chunk in file.chunks():
        rows = columns_of_cells([cells for _, cells in chunk], file.notation)
        with transaction() as session:
            outcomes = record_readings(session, caller, clock(), rows)
        for name, count in outcomes.counts().items():
            counts[name] += count
        report([number for number, _ in chunk], outcomes)
    return counts


def read_header(text: IO[str]) -> Header:
    """Read the top of a file: what separates its columns, and their names in lower case."""
    header = text.readline(MAX_HEADER_CHARACTERS)
    told = _SEPARATOR_LINE.fullmatch(header)
    if told is not None:
        header = text.readline(MAX_HEADER_CHARACTERS)
    delimiter = max(",;\t", key=header.count) if told is None else told[1]
    columns = tuple(name.strip().lower() for name in next(csv.reader([header], delimiter=delimiter), []))
    if len(set(columns)) != len(columns):
        raise InvalidInputError.at("row 1", "Every column needs a name of its own.")
    return Header(delimiter, columns, row=1 if told is None else 2)


def _read_through(text: IO[str], delimiter: str) -> None:
    """Find what breaks the file as a whole before anything is stored, then go back to the first row."""
    empty_rows = filterfalse(any, csv.reader(text, delimiter=delimiter, strict=True))
    if next(islice(empty_rows, MOST_EMPTY_ROWS, None), None) is not None:
        raise InvalidInputError(f"More than {MOST_EMPTY_ROWS:,} rows are empty; save the file without them.")
    text.seek(0)
    read_header(text)


def _check_columns(columns: Sequence[str]) -> None:
    named = set(columns)
    missing, unknown = REQUIRED - named, named - REQUIRED - OPTIONAL
    if missing or not named & {"odometer", "engine_hours"}:
        raise InvalidInputError.at(
            "row 1", "The columns vehicle, taken_at and odometer or engine_hours are needed."
        )
    if unknown:
        listed = ", ".join(sorted(REQUIRED | OPTIONAL))
        raise InvalidInputError.at(
            "row 1", f"There is a column that readings do not have; known are {listed}."
        )


def _take(rows: Iterator[Row]) -> list[Row]:
    try:
        return list(islice(rows, CHUNK_ROWS))
    except (csv.Error, UnicodeError) as error:
        raise unreadable_file(error) from error


def unreadable_file(error: Exception) -> InvalidInputError:
    """Say that a file is no CSV in UTF-8."""
    kind = "is not UTF-8" if isinstance(error, UnicodeError) else "is not sound CSV"
    return InvalidInputError(f"The file {kind}; save it as CSV in UTF-8.")
