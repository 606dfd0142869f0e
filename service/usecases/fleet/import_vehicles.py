"""Register many vehicles from a table: guess which column is what, tell what is wrong row by row, store the rest."""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum
from functools import partial
from types import MappingProxyType
from typing import Any, Final

from sqlmodel import Session

from service.domain import plausibility, texts
from service.domain.duties import Duty
from service.domain.fluid_kinds import FluidKind
from service.domain.number_cells import DOUBTFUL, DecimalMark, may_be_thousands, number_from_cell
from service.domain.roles import Scope
from service.domain.units_of_distance import DistanceUnit
from service.domain.vehicle_classes import VehicleClass
from service.domain.vehicle_life import require_start
from service.domain.vin import clean_vin
from service.errors import DuplicateError, InvalidInputError, ServiceError
from service.usecases.access.caller import Caller
from service.usecases.fleet.register_compartments import register_compartment
from service.usecases.fleet.register_vehicles import NewVehicle, register_vehicle
from service.usecases.readings.reading_columns import ReadingRow
from service.usecases.readings.record_readings import record_rows

MAX_ROWS: Final = 2000
"""Rows of one file: what one transaction of a few seconds takes."""

FIELDS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "vehicle": (
            "vehicle",
            "number",
            "fleet number",
            "fleet no",
            "reference",
            "unit",
            "registration",
            "plate",
        ),
        "class": ("class", "type", "vehicle class", "kind"),
        "depot": ("depot", "yard", "site", "place", "location"),
        "duty": ("duty", "use"),
        "odometer": ("odometer", "km", "mileage", "miles", "reading"),
        "odometer_unit": ("odometer unit", "odometer_unit", "distance unit"),
        "vin": ("vin", "chassis number"),
        "in_service_on": ("in service on", "in_service_on", "since", "first registration"),
    }
)
"""What a column can be, with headings that people give it."""

SOURCE: Final = "start"


@dataclass(frozen=True, slots=True)
class VehicleFile:
    """A table as it was read."""

    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    """Those that are not empty, each with its number, the heading being row 1."""


@dataclass(slots=True, kw_only=True)
class PlannedVehicle:
    """One row, read; `errors` by field."""

    number: int
    cells: Mapping[str, str]
    new: NewVehicle | None = None
    odometer: float | None = None
    errors: dict[str, str] = field(default_factory=dict)


def read_vehicle_file(text: str) -> VehicleFile:
    """Split a table by the mark that its heading uses most.

    Raises
    ------
    InvalidInputError
        If there is no heading with rows below, or too many.
    """
    lines = text.removeprefix("\ufeff").strip()
    first = lines.partition("\n")[0]
    mark = max(",;\t", key=first.count)
    try:
        every = enumerate(csv.reader(io.StringIO(lines), delimiter=mark, strict=True), start=1)
        table = [(number, tuple(row)) for number, row in every if any(row)]
    except csv.Error:
        raise InvalidInputError.at(
            "/file", "The table could not be read; is a quotation mark open?"
        ) from None
    if len(table) < 2:
        raise InvalidInputError.at("/file", "A heading and at least one row are needed.")
    if len(table) - 1 > MAX_ROWS:
        raise InvalidInputError.at("/file", f"At most {MAX_ROWS} rows at a time; send the rest afterwards.")
    return VehicleFile(table[0][1], tuple(table[1:]))


def suggest_columns(header: Sequence[str]) -> dict[str, int]:
    """Guess which column holds which field, by its heading."""
    names = [heading.strip().casefold() for heading in header]
    found: dict[str, int] = {}
    for name, known in FIELDS.items():
        place = next((names.index(one) for one in known if one in names), None)
        if place is not None and place not in found.values():
            found[name] = place
    return found


def plan_vehicles(table: VehicleFile, columns: Mapping[str, int], today: date) -> list[PlannedVehicle]:
    """Read every row and say what is wrong with it; nothing is stored."""
    planned = [_plan(number, row, columns, today) for number, row in table.rows]
    seen: set[str] = set()
    for one in planned:
        reference = one.new.reference if one.new is not None else ""
        if reference and reference in seen:
            one.errors["vehicle"], one.new = "Stands in the table twice.", None
        seen.add(reference)
    return planned


def register_planned(
    session: Session,
    caller: Caller,
    now: datetime,
    planned: Sequence[PlannedVehicle],
    kinds: Sequence[FluidKind],
) -> int:
    """Register the rows that can be, with the usual compartments and a first reading; gives how many."""
    caller.require(Scope.PLANNING)
    readings = []
    n_stored = 0
    for one in planned:
        if one.new is None:
            continue
        try:
            register_vehicle(session, caller, now, one.new)
        except DuplicateError as error:
            one.errors["vehicle"] = error.detail
            continue
        n_stored += 1
        for kind in kinds:
            register_compartment(session, caller, now, one.new.reference, kind, {})
        if one.odometer is not None:
            readings.append(
                ReadingRow(
                    vehicle=one.new.reference,
                    taken_at=now - timedelta(seconds=1),
                    odometer=one.odometer,
                    unit=one.new.odometer_unit,
                    source=SOURCE,
                )
            )
    if readings:
        record_rows(session, caller, now, readings)
    return n_stored


def _plan(number: int, row: Sequence[str], columns: Mapping[str, int], today: date) -> PlannedVehicle:
    cells = {name: row[place].strip() if place < len(row) else "" for name, place in columns.items()}
    one = PlannedVehicle(number=number, cells=cells)
    reader = _RowReader(one)
    unit = reader.word("odometer_unit", DistanceUnit, DistanceUnit.KM)
    values = {
        "reference": reader.checked("vehicle", lambda text: texts.clean_vehicle_reference("", text)),
        "vehicle_class": reader.word("class", VehicleClass, None),
        "depot": reader.checked("depot", lambda text: texts.clean_line("", text, maximum=40))
        if cells.get("depot")
        else "Main",
        "duty": reader.word("duty", Duty, Duty.NORMAL),
        "odometer_unit": unit,
        "vin": reader.checked("vin", partial(clean_vin, "")) if cells.get("vin") else None,
        "in_service_on": reader.checked("in_service_on", lambda text: _day(text, today))
        if cells.get("in_service_on")
        else None,
    }
    if cells.get("odometer"):
        one.odometer = reader.checked("odometer", _odometer)
    if not one.errors:
        one.new = NewVehicle(**values)
    return one


class _RowReader:
    """Reads the cells of a row and writes what is wrong beside them."""

    def __init__(self, one: PlannedVehicle) -> None:
        self._one = one

    def checked(self, name: str, check: Callable[[str], Any]) -> Any:
        """Cell as its check gives it; none if it refuses."""
        try:
            return check(self._one.cells.get(name, ""))
        except ServiceError as error:
            self._one.errors[name] = error.errors[0].detail if error.errors else error.detail
            return None

    def word(self, name: str, members: type[StrEnum], default: StrEnum | None) -> Any:
        """Cell as a member of an enumeration."""
        text = self._one.cells.get(name, "").casefold().replace(" ", "_")
        if not text and default is not None:
            return default
        try:
            return members(text)
        except ValueError:
            self._one.errors[name] = "Write one of: " + ", ".join(members)
            return None


def _day(text: str, today: date) -> date:
    try:
        day = plausibility.planned_day("", date.fromisoformat(text))
    except ValueError:
        raise InvalidInputError("No date; write it as 2026-05-01.") from None
    require_start("", day, today)
    return day


def _odometer(text: str) -> float:
    if may_be_thousands(text.strip()):
        raise InvalidInputError(DOUBTFUL)
    mark = DecimalMark.COMMA if "," in text else DecimalMark.POINT
    return plausibility.ODOMETER_KM.check("", number_from_cell("", text.replace(" ", ""), mark))
