"""Fleet snapshots by ISO 15143-3 in the shapes that public portals and clients show, and documents that mean harm.

The standard's text was not seen. The shapes are those of public documents: attribute `datetime` (also `dateTime`, also
as a child), `OdometerKilometre` or `Odometer` with `OdometerUnits`, both namespaces, JSON with the same names.
"""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest

from service.domain.fleet_documents import FleetDocument, read_fleet_document
from service.domain.machine_meters import Meter
from service.errors import InvalidInputError
from service.units import km_from_miles

AT = datetime(2026, 5, 1, 7, 30, tzinfo=UTC)
PUBLIC_EXAMPLE_KM = 72379.12
"""A distance that a public client of such documents gives as its example."""


def fleet(inside: str, namespace: str = "http://standards.iso.org/iso/15143/-3") -> bytes:
    return f'<?xml version="1.0"?><Fleet xmlns="{namespace}" version="1">{inside}</Fleet>'.encode()


def machine(inside: str, header: str = "<EquipmentID>M-1</EquipmentID>") -> bytes:
    return fleet(f"<Equipment><EquipmentHeader>{header}</EquipmentHeader>{inside}</Equipment>")


def read_xml(content: bytes) -> FleetDocument:
    return read_fleet_document(content, is_xml=True)


@pytest.mark.parametrize(
    "distance",
    [
        '<Distance datetime="2026-05-01T07:30:00Z"><OdometerUnits>kilometre</OdometerUnits>'
        "<Odometer>72379.12</Odometer></Distance>",
        '<Distance dateTime="2026-05-01T07:30:00Z"><OdometerKilometre>72379.12</OdometerKilometre></Distance>',
        "<Distance><Odometer>72379.12</Odometer><OdometerUnits>Kilometre</OdometerUnits>"
        "<datetime>2026-05-01T07:30:00</datetime></Distance>",
        '<Distance datetime="2026-05-01T09:30:00.0000000+02:00"><OdometerUnits>km</OdometerUnits>'
        "<Odometer> 72379.12 </Odometer></Distance>",
    ],
)
def test_a_distance_is_read_however_it_is_written(distance: str) -> None:
    (value,) = read_xml(machine(distance)).values
    assert (value.equipment, value.meter, value.taken_at, value.value) == (
        "M-1",
        Meter.ODOMETER,
        AT,
        PUBLIC_EXAMPLE_KM,
    )


def test_miles_are_converted_by_the_agreement_of_1959() -> None:
    """1 mi = 1.609344 km exactly."""
    inside = '<Distance datetime="2026-05-01T07:30:00Z"><OdometerUnits>mile</OdometerUnits><Odometer>1000</Odometer>'
    (value,) = read_xml(machine(inside + "</Distance>")).values
    assert value.value == km_from_miles(1000.0) == 1609.344


def test_hours_and_what_the_machine_is_are_read() -> None:
    hours = "<Hour>42038.42</Hour>"
    inside = f'<CumulativeOperatingHours datetime="2026-05-01T07:30:00Z">{hours}</CumulativeOperatingHours>'
    header = "<OEMName>Invented</OEMName><Model>W 20</Model><SerialNumber>S9</SerialNumber><PIN>P-7</PIN>"
    (value,) = read_xml(machine(inside, header)).values
    assert (value.equipment, value.meter, value.value) == ("P-7", Meter.ENGINE_HOURS, 42038.42)
    assert (value.description, value.identification) == ("Invented W 20 S9", "P-7")


@pytest.mark.parametrize(
    ("text", "hours"), [("PT345H", 345.0), ("PT345H30M", 345.5), ("P14DT9H", 345.0), (" P14DT9H ", 345.0)]
)
def test_hours_may_be_a_duration(text: str, hours: float) -> None:
    inside = f'<CumulativeOperatingHours datetime="2026-05-01T07:30:00Z"><Hour>{text}</Hour></CumulativeOperatingHours>'
    (value,) = read_xml(machine(inside)).values
    assert (value.meter, value.value) == (Meter.ENGINE_HOURS, hours)


@pytest.mark.parametrize(
    ("text", "told"), [("P1M", "no fixed number"), ("-PT1H", "0 or more"), ("1 h", "number")]
)
def test_hours_that_cannot_be_read_say_why(text: str, told: str) -> None:
    inside = f'<CumulativeOperatingHours datetime="2026-05-01T07:30:00Z"><Hour>{text}</Hour></CumulativeOperatingHours>'
    document = read_xml(machine(inside))
    assert document.values == []
    assert told in document.problems[0].detail


def test_the_next_page_is_found_and_the_others_are_not() -> None:
    links = "".join(
        f"<Links><rel>{rel}</rel><href>/fleet/{place}</href></Links>"
        for rel, place in (("self", 1), ("next", 2), ("last", 9))
    )
    assert read_xml(fleet(links)).next_page == "/fleet/2"
    assert read_xml(fleet("")).next_page is None


@pytest.mark.parametrize(
    "wrap",
    [lambda page: page, lambda page: {"Fleet": page}, lambda page: [page], lambda page: {"fleet": [page]}],
)
def test_json_says_the_same_with_the_same_names(wrap: Callable[[Any], Any]) -> None:
    page = {
        "Links": [{"rel": "next", "href": "https://portal.example.org/fleet/2"}],
        "Equipment": [
            {
                "EquipmentHeader": {"EquipmentID": "M-1", "OEMName": "Invented", "PIN": None},
                "CumulativeOperatingHours": {"datetime": "2026-05-01T07:30:00Z", "Hour": 162},
                "Distance": {
                    "datetime": "2026-05-01T07:30:00Z",
                    "OdometerUnits": "kilometre",
                    "Odometer": 72379.12,
                },
                "FuelUsed": {"datetime": "2026-05-01T07:30:00Z", "FuelConsumed": 730, "FuelUnits": "litre"},
            }
        ],
    }
    document = read_fleet_document(json.dumps(wrap(page)).encode(), is_xml=False)
    assert {value.meter: value.value for value in document.values} == {
        Meter.ODOMETER: PUBLIC_EXAMPLE_KM,
        Meter.ENGINE_HOURS: 162.0,
    }
    assert document.next_page == "https://portal.example.org/fleet/2"
    assert document.problems == []


@pytest.mark.parametrize(
    "distance",
    [
        '<Distance datetime="2026-05-01T07:30:00Z"><Odometer>5</Odometer></Distance>',
        '<Distance datetime="2026-05-01T07:30:00Z"><OdometerUnits>parsec</OdometerUnits><Odometer>5</Odometer>'
        "</Distance>",
        "<Distance><OdometerKilometre>5</OdometerKilometre></Distance>",
        '<Distance datetime="2026-02-30T07:30:00Z"><OdometerKilometre>5</OdometerKilometre></Distance>',
        '<Distance datetime="1777550400"><OdometerKilometre>5</OdometerKilometre></Distance>',
        *(
            f'<Distance datetime="2026-05-01T07:30:00Z"><OdometerKilometre>{text}</OdometerKilometre></Distance>'
            for text in ("NaN", "-1", "1,5", "1_000", "٥", "1e400", "", "9" * 5_000)
        ),
    ],
)
def test_what_cannot_be_read_of_one_machine_loses_no_other(distance: str) -> None:
    sound = (
        "<Equipment><EquipmentHeader><EquipmentID>M-2</EquipmentID></EquipmentHeader>"
        '<Distance datetime="2026-05-01T07:30:00Z"><OdometerKilometre>7</OdometerKilometre></Distance></Equipment>'
    )
    content = machine(distance).replace(b"</Fleet>", sound.encode() + b"</Fleet>")
    document = read_xml(content)
    assert [(problem.equipment, problem.detail != "") for problem in document.problems] == [("M-1", True)]
    assert [value.equipment for value in document.values] == ["M-2"]
    assert document.n_machines == 2


def test_a_machine_without_a_name_is_a_problem() -> None:
    document = read_xml(machine("", "<Model>W 20</Model>"))
    assert (document.values, len(document.problems)) == ([], 1)


EXPANDING = (
    b'<?xml version="1.0"?><!DOCTYPE Fleet [<!ENTITY a "xxxxxxxxxx"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">'
    b'<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]><Fleet><Equipment>&c;</Equipment></Fleet>'
)
FETCHING = (
    b'<?xml version="1.0"?><!DOCTYPE Fleet [<!ENTITY a SYSTEM "file:///etc/passwd">]><Fleet>&a;</Fleet>'
)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"text",
        b"<Fleet>",
        b"<Fleet/><Fleet/>",
        b"<Other/>",
        b"<Fleet>\x00</Fleet>",
        b"<Fleet>&nothing;</Fleet>",
        b'<?xml version="1.0" encoding="nonsense"?><Fleet/>',
        b'<!DOCTYPE Fleet SYSTEM "http://127.0.0.1/x.dtd"><Fleet/>',
        EXPANDING,
        FETCHING,
        b"<a>" * 100_000,
        b"<Fleet>" + b"<Equipment/>" * 400_000 + b"</Fleet>",
    ],
    ids=range(13),
)
def test_documents_that_are_none_or_mean_harm_are_refused(content: bytes) -> None:
    """OWASP ASVS 5.0, 1.5.1: no entities, no outside references, bounded depth and size."""
    with pytest.raises(InvalidInputError):
        read_xml(content)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"null",
        b"5",
        b'"text"',
        b"[]",
        b"{}",
        b"[" * 200_000,
        b'{"a":' * 100_000,
        b'{"Equipment": NaN}',
        b"\xff",
        b'{"Equipment": [' + b"[]," * 2_500_000 + b"[]]}",
    ],
    ids=range(11),
)
def test_json_that_is_no_fleet_is_refused(content: bytes) -> None:
    with pytest.raises(InvalidInputError):
        read_fleet_document(content, is_xml=False)
