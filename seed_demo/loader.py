"""Load the invented fleet through the doors that everybody uses, so that the demo is worked out, not painted."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from datetime import datetime, timedelta
from typing import Final

from sqlmodel import Session, col, select

from seed_demo.fleet import DemoFleet, build_demo_fleet
from seed_demo.process import HISTORY_DAYS
from seed_demo.records import DemoService
from service.domain.duties import Duty
from service.domain.exchange_methods import ExchangeMethod
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.stock_entries import MovementKind
from service.domain.units_of_distance import DistanceUnit
from service.domain.vehicle_classes import VehicleClass
from service.store.session import Database
from service.store.tables.organisation import Depot
from service.store.tables.readings import Reading
from service.usecases.access.caller import Caller
from service.usecases.access.found_organisation import found_organisation
from service.usecases.due.refresh_fleet import refresh_fleet
from service.usecases.fleet.register_compartments import register_compartment
from service.usecases.fleet.register_vehicles import NewVehicle, register_vehicle
from service.usecases.fluids.record_samples import record_samples
from service.usecases.fluids.sample_entries import NewSample
from service.usecases.orders.place_orders import NewOrder, PackCount, make_order
from service.usecases.readings.decide_readings import decide_reading
from service.usecases.readings.reading_columns import ReadingRow
from service.usecases.readings.record_readings import MAX_ROWS, record_rows
from service.usecases.services.record_services import record_service
from service.usecases.services.service_entries import NewRound, NewService, NewWork
from service.usecases.stock.offer_packs import PackOffer
from service.usecases.stock.record_movements import NewMovement, record_movement
from service.usecases.stock.register_fluids import add_fluid
from service.usecases.stock.register_parts import add_part
from service.usecases.stock.used_fluid_levels import NewCollection, record_collection, used_fluid_levels

Progress = Callable[[str], None]

SERVICES_A_TURN: Final = 100

FETCHED_EVERY: Final = timedelta(days=80)
FETCHED_LAST_AGO: Final = timedelta(days=33)
N_FETCHED: Final = 6
"""Invented, as all that the demo says of used fluid."""

PART_PACKS: Final = (PackOffer(pieces=25, price_minor=900), PackOffer(pieces=100, price_minor=2_900))
PIECES_COUNTED: Final = 12
"""Invented, as are the packs: of every seal a dozen is left."""


def load_demo_fleet(database: Database, now: datetime, progress: Progress, seed: int = 7) -> Caller:
    """Put the invented fleet into an empty database; returns a caller who may do anything for it."""
    fleet = build_demo_fleet(now, seed)
    caller = _found(database, now, fleet)
    progress(f"{len(fleet.vehicles)} vehicles with {len(fleet.compartments)} compartments")
    _register(database, caller, now, fleet)
    progress(f"{len(fleet.stock_movements)} entries of stock")
    _stock(database, caller, now, fleet)
    progress(f"{len(fleet.services)} services of the last 18 months")
    for start in range(0, len(fleet.services), SERVICES_A_TURN):
        _record_services(database, caller, now, fleet.services[start : start + SERVICES_A_TURN])
    _fetch_used_fluid(database, caller, now)
    progress(f"{len(fleet.samples)} samples, {len(fleet.orders)} open order")
    _sample(database, caller, now, fleet)
    _order_and_count(database, caller, now, fleet)
    progress(f"{len(fleet.readings)} readings, mistakes included")
    _read(database, caller, now, fleet)
    progress("where every fluid stands")
    is_behind = True
    while is_behind:
        with database.transaction() as session:
            is_behind = refresh_fleet(session, caller.organisation_id, now) > 0
    return caller


def _found(database: Database, now: datetime, fleet: DemoFleet) -> Caller:
    with database.transaction() as session:
        facts = {name: value for name, value in asdict(fleet.organisation).items() if name != "name"}
        began = now - timedelta(days=HISTORY_DAYS)
        _, caller = found_organisation(session, began, fleet.organisation.name, facts)
        for depot in fleet.depots:
            session.add(
                Depot(
                    organisation_id=caller.organisation_id,
                    reference=depot.depot,
                    bay_minutes=list(depot.bay_minutes),
                    used_fluid_capacity_litres=depot.used_fluid_capacity_litres,
                    used_fluid_capacity_by_stream=depot.used_fluid_capacity_by_stream,
                    created_at=now,
                )
            )
    return caller


def _register(database: Database, caller: Caller, now: datetime, fleet: DemoFleet) -> None:
    with database.transaction() as session:
        for fluid in fleet.fluids:
            facts = {
                name: value for name, value in asdict(fluid).items() if name not in {"fluid", "kind", "packs"}
            }
            facts["specifications"] = list(fluid.specifications)
            offers = [PackOffer(**asdict(pack)) for pack in fluid.packs]
            add_fluid(session, caller, now, fluid.fluid, FluidKind(fluid.kind), facts, offers)
        for vehicle in fleet.vehicles:
            new = NewVehicle(
                reference=vehicle.vehicle,
                vehicle_class=VehicleClass(vehicle.vehicle_class),
                depot=vehicle.depot,
                duty=Duty(vehicle.duty),
                odometer_unit=DistanceUnit(vehicle.odometer_unit),
                vin=vehicle.vin,
                in_service_on=vehicle.in_service_on,
            )
            register_vehicle(session, caller, now, new)
        for place in fleet.compartments:
            kept = {
                name: value
                for name, value in asdict(place).items()
                if name not in {"vehicle", "place", "kind"}
            }
            kept["reference"], kept["seals"] = kept.pop("compartment"), list(kept["seals"])
            register_compartment(session, caller, now, place.vehicle, FluidKind(place.kind), kept)
        for part in _parts(fleet):
            add_part(session, caller, now, part, {}, PART_PACKS)


def _parts(fleet: DemoFleet) -> list[str]:
    """Seals and washers that the compartments name."""
    return sorted({seal.part for place in fleet.compartments for seal in place.seals})


def _stock(database: Database, caller: Caller, now: datetime, fleet: DemoFleet) -> None:
    with database.transaction() as session:
        for entry in sorted(fleet.stock_movements, key=lambda one: one.at):
            found = entry.litres if entry.counted_litres is None else entry.counted_litres
            new = NewMovement(
                fluid=entry.fluid,
                kind=MovementKind(entry.kind),
                litres=found,
                at=entry.at,
                expires_on=entry.expires_on,
                reference=entry.reference,
                note=entry.note,
            )
            record_movement(session, caller, now, new)


def _record_services(
    database: Database, caller: Caller, now: datetime, services: Sequence[DemoService]
) -> None:
    with database.transaction() as session:
        for service in services:
            record_service(session, caller, now, _service(service))


def _service(service: DemoService) -> NewService:
    works = tuple(
        NewWork(
            compartment=work.compartment,
            method=ExchangeMethod(work.method),
            rounds=tuple(NewRound(**asdict(one)) for one in work.rounds),
            passed_litres=work.passed_litres,
            fluid=work.fluid,
            level_celsius=work.level_celsius,
            excess_drained_litres=work.excess_drained_litres,
            counter_reset=work.counter_reset,
            seals_renewed=work.seals_renewed,
            old_fluid_grade=work.old_fluid_grade,
        )
        for work in service.compartments
    )
    return NewService(
        vehicle=service.vehicle,
        done_at=service.done_at,
        compartments=works,
        odometer=service.odometer,
        unit=service.unit,
        engine_hours=service.engine_hours,
        done_by="Invented mechanic",
        reference=service.reference,
    )


def _fetch_used_fluid(database: Database, caller: Caller, now: datetime) -> None:
    """Every stream of every depot was fetched again and again, each time the same part of it."""
    with database.transaction() as session:
        for level in used_fluid_levels(session, caller.organisation_id):
            fetched = NewCollection(
                depot=level.depot,
                stream=level.stream,
                litres=max(1.0, round(level.litres * FETCHED_EVERY / timedelta(HISTORY_DAYS))),
                note="Invented carrier",
            )
            for number in range(N_FETCHED):
                at = now - FETCHED_LAST_AGO - number * FETCHED_EVERY
                record_collection(session, caller, now, replace(fetched, at=at))


def _sample(database: Database, caller: Caller, now: datetime, fleet: DemoFleet) -> None:
    with database.transaction() as session:
        samples = [
            NewSample(
                vehicle=sample.vehicle,
                compartment=sample.compartment,
                taken_at=sample.taken_at,
                odometer=sample.odometer,
                unit=sample.unit,
                grade=sample.grade,
                laboratory=sample.laboratory,
                source="invented laboratory",
                reference=sample.reference,
            )
            for sample in sorted(fleet.samples, key=lambda one: one.taken_at)
        ]
        for result in record_samples(session, caller, now, samples):
            if result.error is not None:
                raise result.error


def _order_and_count(database: Database, caller: Caller, now: datetime, fleet: DemoFleet) -> None:
    with database.transaction() as session:
        for order in fleet.orders:
            packs = [PackCount(litres=line.pack_litres, count=line.n_packs) for line in order.lines]
            new = NewOrder(
                fluid=order.fluid,
                packs=packs,
                is_placed=True,
                expected_on=order.expected_on,
                reference=order.reference,
            )
            make_order(session, caller, now, new)
        for part in _parts(fleet):
            count = NewMovement(kind=MovementKind.COUNT, part=part, pieces=PIECES_COUNTED, at=now)
            record_movement(session, caller, now, count)


def _read(database: Database, caller: Caller, now: datetime, fleet: DemoFleet) -> None:
    rows = [ReadingRow(**asdict(reading)) for reading in fleet.readings]
    for start in range(0, len(rows), MAX_ROWS):
        with database.transaction() as session:
            record_rows(session, caller, now, rows[start : start + MAX_ROWS])
    wrong = {mistake.reference for mistake in fleet.truth.mistakes if mistake.fate == "discarded"}
    with database.transaction() as session:
        for reading in _readings(session, caller, wrong):
            decide_reading(session, caller, now, format_id(IdKind.READING, reading), "discard")


def _readings(session: Session, caller: Caller, references: set[str]) -> list[int]:
    query = select(Reading.id).where(
        Reading.organisation_id == caller.organisation_id, col(Reading.reference).in_(references)
    )
    return [key for key in session.exec(query) if key is not None]
