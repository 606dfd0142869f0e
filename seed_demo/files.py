"""The invented fleet as CSV files: UTF-8, comma, decimal point, times with their offset, the API's field names."""

import csv
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any, Final

import numpy as np

from seed_demo.fleet import DemoFleet
from seed_demo.large import LargeFleet, vehicle_name
from seed_demo.records import DemoCompartment, DemoCompartmentWork, DemoService

Row = Mapping[str, Any]

READING_COLUMNS: Final = ("vehicle", "taken_at", "odometer", "unit", "engine_hours", "source", "reference")
VEHICLES_AT_A_TIME: Final = 5_000


def write_demo_files(fleet: DemoFleet, directory: Path) -> tuple[Path, ...]:
    """Write one file for each kind of thing into a directory, which is made if need be; what was written."""
    directory.mkdir(parents=True, exist_ok=True)
    tables: dict[str, Iterable[Row]] = {
        "depots": _depots(fleet),
        "fluids": _fluids(fleet),
        "packs": _packs(fleet),
        "vehicles": _vehicles(fleet),
        "compartments": (_compartment(item) for item in fleet.compartments),
        "readings": ({name: getattr(item, name) for name in READING_COLUMNS} for item in fleet.readings),
        "services": (row for service in fleet.services for row in _service(service)),
        "samples": _samples(fleet),
        "stock_movements": _movements(fleet),
        "orders": _orders(fleet),
    }
    return tuple(_write(directory / f"{name}.csv", rows) for name, rows in tables.items())


def write_large_readings(fleet: LargeFleet, path: Path) -> int:
    """Stream the readings of a large fleet into a CSV file; how many rows it has."""
    n_vehicles = fleet.class_index.size
    epoch = np.datetime64(fleet.epoch.replace(tzinfo=None), "s")
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(READING_COLUMNS)
        for first in range(0, n_vehicles, VEHICLES_AT_A_TIME):
            last = min(first + VEHICLES_AT_A_TIME, n_vehicles)
            rows = slice(int(fleet.offsets[first]), int(fleet.offsets[last]))
            counts = np.diff(fleet.offsets[first : last + 1]).tolist()
            names = [vehicle_name(first + k) for k, count in enumerate(counts) for _ in range(count)]
            seconds = np.floor(fleet.time_days[rows] * 86_400.0).astype("timedelta64[s]")
            times = np.datetime_as_string(epoch + seconds, unit="s").tolist()
            odometers = fleet.odometer_km[rows].astype(np.int64).tolist()
            writer.writerows(
                (name, f"{time}Z", odometer, "km", "", "load test", f"L{number}")
                for number, (name, time, odometer) in enumerate(
                    zip(names, times, odometers, strict=True), start=rows.start
                )
            )
    return int(fleet.offsets[-1])


def _write(path: Path, rows: Iterable[Row]) -> Path:
    """Write rows that all have the same columns."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        for number, row in enumerate(rows):
            if number == 0:
                writer.writerow(row)
            writer.writerow(_text(value) for value in row.values())
    return path


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.12g}"
    return value.isoformat() if isinstance(value, date) else str(value)


def _depots(fleet: DemoFleet) -> Iterator[Row]:
    for depot in fleet.depots:
        yield {
            "depot": depot.depot,
            "bay_minutes": " ".join(str(minutes) for minutes in depot.bay_minutes),
            "used_fluid_capacity_litres": depot.used_fluid_capacity_litres,
        }


def _fluids(fleet: DemoFleet) -> Iterator[Row]:
    for fluid in fleet.fluids:
        yield {
            "fluid": fluid.fluid,
            "kind": fluid.kind,
            "specifications": "; ".join(fluid.specifications),
            "is_dyed": fluid.is_dyed,
            "density_15c_kg_per_m3": fluid.density_15c_kg_per_m3,
            "lead_time_days": fluid.lead_time_days,
            "lead_time_sd_days": fluid.lead_time_sd_days,
            "shelf_life_days": fluid.shelf_life_days,
        }


def _packs(fleet: DemoFleet) -> Iterator[Row]:
    for fluid in fleet.fluids:
        for pack in fluid.packs:
            yield {
                "fluid": fluid.fluid,
                "litres": pack.litres,
                "price_minor": pack.price_minor,
                "minimum_packs": pack.minimum_packs,
            }


def _vehicles(fleet: DemoFleet) -> Iterator[Row]:
    for vehicle in fleet.vehicles:
        yield {
            "vehicle": vehicle.vehicle,
            "class": vehicle.vehicle_class,
            "depot": vehicle.depot,
            "duty": vehicle.duty,
            "odometer_unit": vehicle.odometer_unit,
            "vin": vehicle.vin,
            "in_service_on": vehicle.in_service_on,
        }


def _compartment(item: DemoCompartment) -> Row:
    plain = ("vehicle", "compartment", "place", "kind", "fluid", "specification")
    numbers = ("total_litres", "drainable_litres", "interval_km", "interval_months", "interval_hours")
    level = ("level_min_celsius", "level_max_celsius", "has_fluid_counter", "partial_is_full")
    row = {name: getattr(item, name) for name in (*plain, *numbers, *level)}
    row["ageing"] = "; ".join(f"{name}={value:g}" for name, value in item.ageing.items())
    row["seals"] = "; ".join(f"{seal.pieces} {seal.part}" for seal in item.seals)
    row["maker_notes"] = item.maker_notes
    return row


def _service(service: DemoService) -> Iterator[Row]:
    """One row a round; work without rounds has one row."""
    for work in service.compartments:
        for number, done in enumerate(work.rounds or (None,), start=1):
            yield {
                "reference": service.reference,
                "vehicle": service.vehicle,
                "done_at": service.done_at,
                "odometer": service.odometer,
                "unit": service.unit,
                "engine_hours": service.engine_hours,
                "compartment": work.compartment,
                "round": number if done else None,
                "drained_litres": done.drained_litres if done else None,
                "filled_litres": done.filled_litres if done else None,
                **_work_columns(work),
            }


def _work_columns(work: DemoCompartmentWork) -> Row:
    names = ("method", "passed_litres", "fluid", "level_celsius", "excess_drained_litres")
    marks = ("counter_reset", "seals_renewed", "old_fluid_grade")
    return {name: getattr(work, name) for name in (*names, *marks)}


def _samples(fleet: DemoFleet) -> Iterator[Row]:
    properties = sorted({name for sample in fleet.samples for name in sample.laboratory})
    plain = (
        "vehicle",
        "compartment",
        "taken_at",
        "odometer",
        "unit",
        "reference",
        "grade",
        "is_contaminated",
    )
    for sample in fleet.samples:
        row = {name: getattr(sample, name) for name in plain}
        yield row | {name: sample.laboratory.get(name) for name in properties}


def _movements(fleet: DemoFleet) -> Iterator[Row]:
    names = ("fluid", "kind", "at", "litres", "counted_litres", "expires_on", "reference", "note")
    for movement in fleet.stock_movements:
        yield {name: getattr(movement, name) for name in names}


def _orders(fleet: DemoFleet) -> Iterator[Row]:
    for order in fleet.orders:
        for line in order.lines:
            yield {
                "reference": order.reference,
                "fluid": order.fluid,
                "placed_on": order.placed_on,
                "expected_on": order.expected_on,
                "pack_litres": line.pack_litres,
                "n_packs": line.n_packs,
                "price_minor": line.price_minor,
            }
