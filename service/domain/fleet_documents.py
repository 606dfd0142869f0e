"""Fleet snapshots by ISO 15143-3 (AEMP 2.0): odometer and operating hours of each machine, and the next page.

The standard's text was not seen. Names, units and the place of the time are those that public documents of several
makers agree on, in XML and in JSON; both ways to write a distance are taken (OdometerKilometre, or Odometer with
OdometerUnits), and hours as a number or as a duration of XML Schema. A time without an offset is UTC, as the standard's
own values are said to be.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final

from service.domain.document_trees import Node, read_json, read_xml, tree_of
from service.domain.durations import hours_from_duration
from service.domain.machine_meters import MachineValue, Meter
from service.domain.plausibility import NO_SUCH_OFFSET, is_offset_in_use
from service.domain.texts import clean_line
from service.errors import InvalidInputError
from service.units import km_from_miles

EQUIPMENT_CHARACTERS: Final = 80
_NUMBER: Final = re.compile(r"\+?[0-9]{1,12}(?:\.[0-9]{1,12})?")
_INSTANT: Final = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,9})?)?(?:Z|[+-][0-9]{2}:[0-9]{2})?"
)
_UNITS: Final = {"kilometre", "kilometer", "km", "mile", "mi"}
_MILES: Final = {"mile", "mi"}


@dataclass(frozen=True, slots=True)
class DocumentProblem:
    """Something in a document that could not be read, and which machine it was of."""

    equipment: str
    detail: str


@dataclass(slots=True, kw_only=True)
class FleetDocument:
    """What a document says."""

    n_machines: int = 0
    values: list[MachineValue] = field(default_factory=list)
    problems: list[DocumentProblem] = field(default_factory=list)
    next_page: str | None = None
    """Address of the next page as it was written, absolute or not."""


def read_fleet_document(content: bytes, *, is_xml: bool) -> FleetDocument:
    """Read one page.

    Raises
    ------
    InvalidInputError
        If it is no document of this kind; what is wrong with one machine is a problem of that one only.
    """
    return _read(read_xml(content) if is_xml else read_json(content))


def read_fleet_object(content: object) -> FleetDocument:
    """Read a page that arrived as a part of another JSON document."""
    return _read(tree_of(content))


def _read(top: Node) -> FleetDocument:
    document = FleetDocument()
    pages = list(_pages(top))
    if not pages:
        raise InvalidInputError(
            "This is no fleet snapshot by ISO 15143-3: it has neither Fleet nor Equipment."
        )
    for page in pages:
        document.next_page = _next_page(page) or document.next_page
        for machine in page.all("equipment"):
            document.n_machines += 1
            _read_machine(machine, document)
    return document


def _pages(top: Node) -> Iterator[Node]:
    """The fleets of a document: named so, or what holds equipment, or a list of such."""
    for candidate in (top, *top.all("fleet"), *top.all("")):
        if "equipment" in candidate.children or any(candidate is fleet for fleet in top.all("fleet")):
            yield candidate


def _next_page(page: Node) -> str | None:
    for link in page.all("links"):
        if link.text_of("rel").lower() == "next":
            return link.text_of("href") or None
    return None


def _read_machine(machine: Node, document: FleetDocument) -> None:
    header = machine.first("equipmentheader") or machine
    name = header.text_of("equipmentid") or header.text_of("pin") or header.text_of("serialnumber")
    try:
        equipment = clean_line("EquipmentID", name, maximum=EQUIPMENT_CHARACTERS)
    except InvalidInputError:
        detail = "The header has no EquipmentID, PIN or SerialNumber of 1 to 80 characters."
        document.problems.append(DocumentProblem("", detail))
        return
    for meter, names, read in (
        (Meter.ODOMETER, ("distance",), _km),
        (Meter.ENGINE_HOURS, ("cumulativeoperatinghours",), _hours),
    ):
        place = machine.first(*names)
        if place is None or (not place.children and not place.text):
            continue
        try:
            document.values.append(_value(equipment, header, meter, place, read))
        except InvalidInputError as error:
            document.problems.append(DocumentProblem(equipment, f"{names[0]}: {error.detail}"))


def _value(
    equipment: str, header: Node, meter: Meter, place: Node, read: Callable[[Node], float]
) -> MachineValue:
    return MachineValue(
        equipment=equipment,
        meter=meter,
        taken_at=_instant(place.text_of("datetime")),
        value=read(place),
        description=_described(header),
        identification=_told(header.text_of("pin") or header.text_of("serialnumber"), 40),
    )


def _km(place: Node) -> float:
    explicit = place.text_of("odometerkilometre", "odometerkilometer")
    if explicit:
        return _number(explicit)
    unit = place.text_of("odometerunits", "odometerunit").lower().removesuffix("s")
    if unit not in _UNITS:
        raise InvalidInputError("OdometerUnits must be kilometre or mile.")
    number = _number(place.text_of("odometer"))
    return km_from_miles(number) if unit in _MILES else number


def _hours(place: Node) -> float:
    text = place.text_of("hour")
    return hours_from_duration(text) if text.lstrip("-").startswith("P") else _number(text)


def _number(text: str) -> float:
    if _NUMBER.fullmatch(text) is None:
        raise InvalidInputError("Not a number of 0 or more with a point before its decimals.")
    return float(text)


def _instant(text: str) -> datetime:
    mistake = InvalidInputError("datetime is no time such as 2026-05-01T07:30:00Z.")
    if _INSTANT.fullmatch(text.upper()) is None:
        raise mistake
    try:
        instant = datetime.fromisoformat(text.upper())
    except ValueError:
        raise mistake from None
    if instant.tzinfo is None:
        return instant.replace(tzinfo=UTC)
    if not is_offset_in_use(instant):
        raise InvalidInputError(f"datetime: {NO_SUCH_OFFSET}")
    return instant


def _described(header: Node) -> str | None:
    words = (header.text_of(name) for name in ("oemname", "model", "serialnumber"))
    return _told(" ".join(word for word in words if word), 120)


def _told(text: str, maximum: int) -> str | None:
    """Text for people, as far as it is fit to be shown."""
    shown = "".join(character for character in text[:maximum] if character.isprintable()).strip()
    return shown or None
