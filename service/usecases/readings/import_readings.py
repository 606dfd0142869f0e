"""Read a CSV file of readings of any length, a few thousand rows a transaction.

One transaction for a million rows would keep other writers out for ten seconds, so this is the one operation that is
several: sent again after a crash, the rows that were stored are recognised and the rest follows.
"""

import csv
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import date, datetime, time
from itertools import islice
from typing import IO, Final
from zoneinfo import ZoneInfo

from sqlmodel import Session

from service.domain import plausibility, texts
from service.domain.number_cells import DecimalMark, decimal_mark_of, number_from_cell
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.domain.plausibility import Bounds
from service.domain.zones import first_instant
from service.errors import InvalidInputError
from service.usecases.access.caller import Caller
from service.usecases.readings.record_readings import ReadingRow, RowResult, record_readings

CHUNK_ROWS: Final = 2_500
"""Rows of one transaction: other writers wait for it, a fraction of a second."""

REQUIRED: Final = frozenset({"vehicle", "taken_at"})
OPTIONAL: Final = frozenset({"odometer", "unit", "engine_hours", "source", "reference"})
MAX_HEADER_CHARACTERS: Final = 4_000
NUMBER_COLUMNS: Final = ("odometer", "engine_hours")
NOON: Final = time(12, 0)
"""A day without a time of day is taken at noon."""

Transaction = Callable[[], AbstractContextManager[Session]]


@dataclass(slots=True)
class ImportCounts:
    """How many rows had which outcome."""

    accepted: int = 0
    held: int = 0
    duplicate: int = 0
    rejected: int = 0

    def add(self, results: Iterable[RowResult]) -> None:
        """Count the outcomes of further rows."""
        for result in results:
            name = str(result.outcome)
            setattr(self, name, getattr(self, name) + 1)


@dataclass(slots=True, kw_only=True)
class ReadingsFile:
    """An opened CSV file, its header read and its notation recognised."""

    rows: Iterator[list[str]]
    columns: tuple[str, ...]
    mark: DecimalMark
    zone: ZoneInfo | None
    waiting: list[list[str]] = field(default_factory=list)

    def chunks(self) -> Iterator[list[ReadingRow | RowResult]]:
        """Give the rows a chunk at a time."""
        chunk = self.waiting
        while chunk:
            yield [self._row(cells) for cells in chunk]
            chunk = _take(self.rows)

    def _row(self, cells: Sequence[str]) -> ReadingRow | RowResult:
        if len(cells) != len(self.columns):
            detail = f"{len(cells)} cells where the header has {len(self.columns)} columns"
            return RowResult(ReadingOutcome.REJECTED, ReadingReason.MALFORMED, detail)
        try:
            return self._checked(dict(zip(self.columns, cells, strict=True)))
        except InvalidInputError as error:
            pointer = error.errors[0].pointer if error.errors else "row"
            return RowResult(
                ReadingOutcome.REJECTED, _reason_of(pointer, error), f"{pointer}: {error.detail}"
            )

    def _checked(self, cells: Mapping[str, str]) -> ReadingRow:
        unit = cells.get("unit", "").strip() or None
        if unit not in {None, "km", "mi"}:
            raise InvalidInputError.at("unit", "Must be km or mi.")
        reference = cells.get("reference", "").strip()
        return ReadingRow(
            vehicle=texts.clean_line("vehicle", cells["vehicle"], maximum=160),
            taken_at=read_time(cells["taken_at"], self.zone),
            odometer=self._number("odometer", cells, plausibility.ODOMETER_KM),
            unit=unit,
            engine_hours=self._number("engine_hours", cells, plausibility.ENGINE_HOURS),
            source=texts.clean_line("source", cells.get("source", "").strip() or "file", maximum=40),
            reference=texts.clean_line("reference", reference, maximum=80) if reference else None,
        )

    def _number(self, name: str, cells: Mapping[str, str], bounds: Bounds) -> float | None:
        cell = cells.get(name, "").strip()
        return bounds.check(name, number_from_cell(name, cell, self.mark)) if cell else None


def open_readings_file(text: IO[str], zone: ZoneInfo | None) -> ReadingsFile:
    """Read the header and enough rows to recognise the notation.

    Raises
    ------
    InvalidInputError
        If it is no CSV file with the columns that readings have; nothing is stored then.
    """
    try:
        delimiter, columns = read_header(text)
        _check_columns(columns)
        _read_through(text, delimiter)
        rows = csv.reader(text, delimiter=delimiter, strict=True)
        waiting = _take(rows)
    except (csv.Error, UnicodeError) as error:
        raise unreadable_file(error) from error
    places = [columns.index(name) for name in NUMBER_COLUMNS if name in columns]
    mark = decimal_mark_of(cells[place] for cells in waiting for place in places if place < len(cells))
    if mark is DecimalMark.COMMA and delimiter == ",":
        raise InvalidInputError("A file with decimal commas must separate its columns by semicolons.")
    return ReadingsFile(rows=rows, columns=columns, mark=mark, zone=zone, waiting=waiting)


def import_readings(
    transaction: Transaction,
    caller: Caller,
    clock: Callable[[], datetime],
    file: ReadingsFile,
    report: Callable[[int, Sequence[RowResult]], None],
) -> ImportCounts:
    """Store a file chunk by chunk; `report` gets the outcomes of each chunk once it is stored."""
    counts, first = ImportCounts(), 0
    for rows in file.chunks():
        with transaction() as session:
            results = record_readings(session, caller, clock(), rows)
        counts.add(results)
        report(first, results)
        first += len(rows)
    return counts


def read_time(text: str, zone: ZoneInfo | None) -> datetime:
    """Read a time with its offset, or in the zone given for the file; a date alone is taken at noon.

    Raises
    ------
    InvalidInputError
        If it is no time, or has no offset where no zone was given.
    """
    stripped = text.strip()
    try:
        if len(stripped) == len("2026-05-01"):
            instant = datetime.combine(date.fromisoformat(stripped), NOON)
        else:
            instant = datetime.fromisoformat(stripped)
    except ValueError:
        raise InvalidInputError.at("taken_at", "Must be a time such as 2026-05-01T07:30:00+01:00.") from None
    if not plausibility.FIRST_DAY.year <= instant.year <= plausibility.LAST_DAY.year:
        raise InvalidInputError.at("taken_at", "The year is out of range.")
    if instant.tzinfo is not None:
        return instant
    if zone is None:
        raise InvalidInputError.at("taken_at", "Needs its offset from UTC, or name the file's time zone.")
    return first_instant(instant.date(), instant.time().replace(microsecond=0), zone).astimezone(zone)


def read_header(text: IO[str]) -> tuple[str, tuple[str, ...]]:
    """Read the first line of a file: what separates its columns, and their names in lower case."""
    header = text.readline(MAX_HEADER_CHARACTERS)
    delimiter = max(",;\t", key=header.count)
    columns = tuple(name.strip().lower() for name in next(csv.reader([header], delimiter=delimiter), []))
    if len(set(columns)) != len(columns):
        raise InvalidInputError.at("row 1", "Every column needs a name of its own.")
    return delimiter, columns


def _read_through(text: IO[str], delimiter: str) -> None:
    """Find what breaks the file as a whole before anything is stored, then go back to the first row."""
    for _ in csv.reader(text, delimiter=delimiter, strict=True):
        pass
    text.seek(0)
    text.readline(MAX_HEADER_CHARACTERS)


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


def _take(rows: Iterator[list[str]]) -> list[list[str]]:
    try:
        return [cells for cells in islice(rows, CHUNK_ROWS) if cells]
    except (csv.Error, UnicodeError) as error:
        raise unreadable_file(error) from error


def unreadable_file(error: Exception) -> InvalidInputError:
    """Say that a file is no CSV in UTF-8."""
    kind = "is not UTF-8" if isinstance(error, UnicodeError) else "is not sound CSV"
    return InvalidInputError(f"The file {kind}; save it as CSV in UTF-8.")


def _reason_of(pointer: str, error: InvalidInputError) -> ReadingReason:
    if pointer in NUMBER_COLUMNS:
        return ReadingReason.NOT_A_NUMBER if "Not a number" in error.detail else ReadingReason.OUT_OF_RANGE
    if pointer == "taken_at" and "offset" in error.detail:
        return ReadingReason.MISSING_OFFSET
    return ReadingReason.MALFORMED
