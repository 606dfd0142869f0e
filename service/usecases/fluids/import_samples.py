"""Read a laboratory's report as CSV: one row a sample, one column a property, each with its unit."""

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import IO, Final
from zoneinfo import ZoneInfo

from service.domain import plausibility, texts
from service.domain.laboratory import LaboratoryProperty
from service.domain.number_cells import DecimalMark, decimal_mark_of, number_from_cell
from service.domain.plausibility import Bounds
from service.errors import InvalidInputError
from service.usecases.fluids.record_samples import MAX_SAMPLES
from service.usecases.fluids.sample_entries import NewSample, SampleOutcome, SampleResult
from service.usecases.readings.file_columns import read_time
from service.usecases.readings.import_readings import read_header, unreadable_file

REQUIRED: Final = frozenset({"compartment", "taken_at"})
OPTIONAL: Final = frozenset(
    {"vehicle", "odometer", "unit", "engine_hours", "grade", "source", "reference", "note"}
)
UNIT_ROW: Final = frozenset({"unit", "units"})
"""A first row with this in its first cell names the units of the columns."""

NOT_DETECTED: Final = re.compile(r"< ?[0-9]+([.,][0-9]+)?|n\.?d\.?", re.IGNORECASE)
"""Below what the laboratory can see: taken as nothing, as the alarm for coolant needs something that was found."""

_WITH_UNIT: Final = re.compile(r"([a-z0-9_]+) ?\[([^\]]{0,20})\]")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Layout:
    """How a file is written."""

    columns: tuple[str, ...]
    units: Mapping[str, str]
    mark: DecimalMark
    zone: ZoneInfo | None


def read_samples(text: IO[str], zone: ZoneInfo | None) -> list[NewSample | SampleResult]:
    """Read a whole report; a row that cannot be right becomes a result that says why.

    Raises
    ------
    InvalidInputError
        If it is no CSV file with the columns that samples have.
    """
    try:
        delimiter, header, _ = read_header(text)
        columns, units = _columns(header)
        told = filter(any, csv.reader(text, delimiter=delimiter, strict=True))
        rows = list(islice(told, MAX_SAMPLES + 2))
    except (csv.Error, UnicodeError) as error:
        raise unreadable_file(error) from error
    if rows and rows[0][0].strip().lower() in UNIT_ROW:
        units |= {
            name: cell.strip() for name, cell in zip(columns, rows.pop(0), strict=False) if cell.strip()
        }
    if not rows:
        raise InvalidInputError("The file has no rows below its header.")
    numeric = [i for i, name in enumerate(columns) if name in _NUMBERS]
    mark = decimal_mark_of(cells[i] for cells in rows for i in numeric if i < len(cells))
    layout = _Layout(columns=columns, units=units, mark=mark, zone=zone)
    return [_row(layout, cells) for cells in rows]


def _columns(header: Sequence[str]) -> tuple[tuple[str, ...], dict[str, str]]:
    names: list[str] = []
    units: dict[str, str] = {}
    for heading in header:
        match = _WITH_UNIT.fullmatch(heading)
        names.append(match[1] if match else heading)
        if match:
            units[match[1]] = match[2]
    named = set(names)
    may_be = REQUIRED | OPTIONAL | set(LaboratoryProperty)
    unknown = [str(place) for place, name in enumerate(names, start=1) if name not in may_be]
    if unknown:
        known = ", ".join([*sorted(REQUIRED | OPTIONAL), *LaboratoryProperty])
        raise InvalidInputError.at(
            "row 1",
            f"Samples do not have what is named in column {', '.join(unknown)}; known are {known}. A unit may follow "
            "in [ ].",
        )
    if REQUIRED - named or len(named) != len(names):
        raise InvalidInputError.at("row 1", "The columns compartment and taken_at are needed, each once.")
    return tuple(names), units


def _row(layout: _Layout, cells: Sequence[str]) -> NewSample | SampleResult:
    if len(cells) != len(layout.columns):
        detail = f"{len(cells)} cells where the header has {len(layout.columns)} columns"
        return SampleResult(SampleOutcome.REJECTED, error=InvalidInputError.at("row", detail))
    try:
        return _sample(layout, {name: cell.strip() for name, cell in zip(layout.columns, cells, strict=True)})
    except InvalidInputError as error:
        return SampleResult(SampleOutcome.REJECTED, error=error)


def _sample(layout: _Layout, cells: Mapping[str, str]) -> NewSample:
    unit = cells.get("unit") or None
    if unit not in {None, "km", "mi"}:
        raise InvalidInputError.at("/unit", "Must be km or mi, of the odometer.")
    values = {
        name: _value(name, cells[name], layout.mark)
        for name in layout.columns
        if name in _PROPERTIES and cells[name]
    }
    return NewSample(
        compartment=texts.clean_line("/compartment", cells["compartment"], maximum=40),
        taken_at=read_time(cells["taken_at"], layout.zone),
        vehicle=_text("vehicle", cells, 160),
        odometer=_meter("odometer", cells, layout.mark, plausibility.ODOMETER_KM),
        unit=unit,
        engine_hours=_meter("engine_hours", cells, layout.mark, plausibility.ENGINE_HOURS),
        grade=_text("grade", cells, 16),
        laboratory=values,
        units={name: layout.units[name] for name in values if name in layout.units},
        source=_text("source", cells, 40) or "file",
        reference=_text("reference", cells, 80),
        note=_text("note", cells, 400),
    )


def _value(name: str, cell: str, mark: DecimalMark) -> float:
    return 0.0 if NOT_DETECTED.fullmatch(cell) else number_from_cell(f"/{name}", cell, mark)


def _meter(name: str, cells: Mapping[str, str], mark: DecimalMark, bounds: Bounds) -> float | None:
    cell = cells.get(name)
    return bounds.check(f"/{name}", number_from_cell(f"/{name}", cell, mark)) if cell else None


def _text(name: str, cells: Mapping[str, str], maximum: int) -> str | None:
    cell = cells.get(name)
    return texts.clean_line(f"/{name}", cell, maximum=maximum) if cell else None


_PROPERTIES: Final = frozenset(map(str, LaboratoryProperty))
_NUMBERS: Final = _PROPERTIES | {"odometer", "engine_hours"}
