"""The CSV files say the same as the records."""

import csv
from datetime import UTC, datetime
from pathlib import Path

import pytest

from seed_demo.files import READING_COLUMNS, write_demo_files, write_large_readings
from seed_demo.fleet import DemoFleet
from seed_demo.large import build_fleet_of, vehicle_name

FILES = {
    "depots",
    "fluids",
    "packs",
    "vehicles",
    "compartments",
    "readings",
    "services",
    "samples",
    "stock_movements",
    "orders",
}


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


@pytest.fixture(scope="module")
def tables(fleet: DemoFleet, tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[dict[str, str]]]:
    paths = write_demo_files(fleet, tmp_path_factory.mktemp("files") / "made" / "here")
    return {path.stem: _rows(path) for path in paths}


def test_there_is_a_file_for_each_kind_of_thing(tables: dict[str, list[dict[str, str]]]) -> None:
    assert set(tables) == FILES
    for rows in tables.values():
        assert rows
        assert all(None not in row and None not in row.values() for row in rows)


def test_vehicles_are_headed_as_the_api_names_them(
    fleet: DemoFleet, tables: dict[str, list[dict[str, str]]]
) -> None:
    first = tables["vehicles"][0]
    expected = ["vehicle", "class", "depot", "duty", "odometer_unit", "vin", "in_service_on"]
    assert list(first) == expected
    assert len(tables["vehicles"]) == len(fleet.vehicles)


def test_readings_come_back_as_they_were(fleet: DemoFleet, tables: dict[str, list[dict[str, str]]]) -> None:
    assert len(tables["readings"]) == len(fleet.readings)
    for row, reading in zip(tables["readings"], fleet.readings, strict=True):
        assert tuple(row) == READING_COLUMNS
        assert datetime.fromisoformat(row["taken_at"]) == reading.taken_at
        assert float(row["odometer"]) == reading.odometer
        assert row["engine_hours"] == "" or float(row["engine_hours"]) == reading.engine_hours


def test_every_round_has_a_row(fleet: DemoFleet, tables: dict[str, list[dict[str, str]]]) -> None:
    works = [work for service in fleet.services for work in service.compartments]
    assert len(tables["services"]) == sum(max(len(work.rounds), 1) for work in works)
    drained = sum(float(row["drained_litres"] or 0) for row in tables["services"])
    assert drained == pytest.approx(sum(done.drained_litres for work in works for done in work.rounds))
    assert {row["counter_reset"] for row in tables["services"]} == {"true", ""}


def test_large_readings_are_streamed(tmp_path: Path) -> None:
    fleet = build_fleet_of(7, 3, datetime(2026, 5, 1, tzinfo=UTC))
    path = tmp_path / "readings.csv"
    assert write_large_readings(fleet, path) == 21
    rows = _rows(path)
    assert [float(row["odometer"]) for row in rows] == [int(km) for km in fleet.odometer_km]
    assert [row["vehicle"] for row in rows[::3]] == [vehicle_name(k) for k in range(7)]
    assert len({row["reference"] for row in rows}) == 21
    last = datetime.fromisoformat(rows[2]["taken_at"])
    assert (last - fleet.epoch).total_seconds() / 86_400 == pytest.approx(fleet.time_days[2], abs=1.2e-5)
