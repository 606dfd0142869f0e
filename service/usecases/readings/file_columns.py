"""Rows of a CSV file as columns of readings: read a column at a time, and a cell by itself only if it is unusual."""

from collections.abc import Sequence
from datetime import date, datetime, time
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from service.domain import plausibility, texts
from service.domain.number_cells import DecimalMark, number_from_cell
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.domain.plausibility import Bounds
from service.domain.zones import first_instant
from service.engine.arrays import Floats
from service.errors import InvalidInputError
from service.usecases.readings.instant_columns import read_instants
from service.usecases.readings.reading_columns import ReadingColumns, clean_column
from service.usecases.readings.row_outcomes import RowResult

NUMBER_COLUMNS: Final = ("odometer", "engine_hours")
NOON: Final = time(12, 0)
"""A day without a time of day is taken at noon."""

DEFAULT_SOURCE: Final = "file"
NO_OFFSET: Final = "Needs its offset from UTC, or name the file's time zone."
LONGEST_VEHICLE: Final = 160
LONGEST_SOURCE: Final = 40
LONGEST_REFERENCE: Final = 80


class FileNotation(NamedTuple):
    """How a file is written."""

    columns: tuple[str, ...]
    mark: DecimalMark
    zone: ZoneInfo | None
    """Of times without an offset."""


def columns_of_cells(rows: Sequence[Sequence[str]], notation: FileNotation) -> ReadingColumns:
    """Read some rows; one that cannot be read is refused with its first fault."""
    return _Reader(rows, notation).columns()


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
        if not plausibility.is_offset_in_use(instant):
            raise InvalidInputError.at("taken_at", plausibility.NO_SUCH_OFFSET)
        return instant
    if zone is None:
        raise InvalidInputError.at("taken_at", NO_OFFSET)
    return first_instant(instant.date(), instant.time().replace(microsecond=0), zone).astimezone(zone)


class _Reader:
    """Reads some rows of a file and remembers which ones are refused."""

    def __init__(self, rows: Sequence[Sequence[str]], notation: FileNotation) -> None:
        self._notation = notation
        self._refused: dict[int, RowResult] = {}
        n_columns = len(notation.columns)
        blank = [""] * n_columns
        for place, cells in enumerate(rows):
            if len(cells) != n_columns:
                detail = f"{len(cells)} cells where the header has {n_columns} columns"
                self._refused[place] = RowResult(ReadingOutcome.REJECTED, ReadingReason.MALFORMED, detail)
        whole = [blank if place in self._refused else cells for place, cells in enumerate(rows)]
        self._n_rows = len(rows)
        self._cells = dict(zip(notation.columns, zip(*whole, strict=True), strict=True))

    def columns(self) -> ReadingColumns:
        """Read all columns, in the order in which faults are told."""
        unit = self._units()
        vehicle = self._texts("vehicle", self._cells["vehicle"], LONGEST_VEHICLE)
        taken_at = read_instants(self._cells["taken_at"], self._instant)
        odometer = self._numbers("odometer", plausibility.ODOMETER_KM)
        engine_hours = self._numbers("engine_hours", plausibility.ENGINE_HOURS)
        sources = [cell or DEFAULT_SOURCE for cell in self._stripped("source")]
        source = self._texts("source", sources, LONGEST_SOURCE)
        references = [cell or None for cell in self._stripped("reference")]
        reference = self._texts("reference", references, LONGEST_REFERENCE)
        return ReadingColumns(
            vehicle=[name or "" for name in vehicle],
            taken_at=taken_at,
            odometer=odometer,
            unit=unit,
            engine_hours=engine_hours,
            source=[name or "" for name in source],
            reference=reference,
            refused=self._refused,
        )

    def _stripped(self, name: str) -> list[str]:
        return [cell.strip() for cell in self._cells.get(name, [""] * self._n_rows)]

    def _units(self) -> list[str | None]:
        units = [cell or None for cell in self._stripped("unit")]
        if not set(units) <= {None, "km", "mi"}:
            for place, unit in enumerate(units):
                if unit not in {None, "km", "mi"}:
                    self._refuse(place, InvalidInputError.at("unit", "Must be km or mi."))
        return units

    def _texts(self, name: str, cells: Sequence[str | None], longest: int) -> list[str | None]:
        def clean(name: str, cell: str, place: int) -> str | None:
            try:
                return texts.clean_line(name, cell, maximum=longest)
            except InvalidInputError as error:
                self._refuse(place, error)
                return None

        return clean_column(name, cells, longest, clean)

    def _instant(self, place: int, text: str) -> datetime | None:
        try:
            return read_time(text, self._notation.zone)
        except InvalidInputError as error:
            self._refuse(place, error)
            return None

    def _numbers(self, name: str, bounds: Bounds) -> Floats:
        """Read a column of numbers; NaN where there is none."""
        numbers = np.full(self._n_rows, np.nan)
        for place, cell in enumerate(self._stripped(name)):
            if cell:
                try:
                    numbers[place] = bounds.check(name, number_from_cell(name, cell, self._notation.mark))
                except InvalidInputError as error:
                    self._refuse(place, error)
        return numbers

    def _refuse(self, place: int, error: InvalidInputError) -> None:
        """Say what is wrong with a row, unless something is already."""
        pointer = error.errors[0].pointer if error.errors else "row"
        reason = _reason_of(pointer, error)
        detail = f"{pointer}: {error.detail}"
        self._refused.setdefault(place, RowResult(ReadingOutcome.REJECTED, reason, detail))


def _reason_of(pointer: str, error: InvalidInputError) -> ReadingReason:
    if pointer in NUMBER_COLUMNS:
        return ReadingReason.NOT_A_NUMBER if "Not a number" in error.detail else ReadingReason.OUT_OF_RANGE
    if pointer == "taken_at" and "offset" in error.detail:
        return ReadingReason.MISSING_OFFSET
    return ReadingReason.MALFORMED
