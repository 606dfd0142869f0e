"""A database with something in nearly every table: the invented fleet, lists, receivers, odd texts, many readings."""

import shutil
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import insert

from seed_demo import loader
from seed_demo.fleet import DemoFleet, build_demo_fleet
from service.domain.events import Event
from service.domain.roles import Scope
from service.domain.weeks import IsoWeek
from service.store.repositories import fleet
from service.store.session import Database
from service.store.tables.readings import Reading, VehicleUsage
from service.store.tables.vehicles import Vehicle
from service.usecases.access.caller import Caller
from service.usecases.access.manage_tokens import create_token
from service.usecases.deliveries.subscribe import subscribe
from service.usecases.week.publish_due_list import draft_list, publish_list
from tests.service_fixtures import START

ODD_TEXTS = (
    "Грузовик 7",
    "货车-9",
    "🚚 Ünïçødé",
    "مركبة ١",
    "=1+1",
    "O'Brien; DROP TABLE",
    'quote " back \\ slash',
    "a\u0301 combining",
    "<b>bold</b> & %s {x}",
)
READINGS_A_VEHICLE = 1_200
EVERY = 8
"""Of the invented fleet the vehicles with samples, and one in so many of the others."""


def small_fleet(now: datetime, seed: int) -> DemoFleet:
    """Part of the invented fleet."""
    whole = build_demo_fleet(now, seed)
    kept = {sample.vehicle for sample in whole.samples} | {one.vehicle for one in whole.vehicles[::EVERY]}
    parts = {
        name: tuple(one for one in getattr(whole, name) if one.vehicle in kept)
        for name in ("vehicles", "compartments", "readings", "services", "samples")
    }
    return replace(whole, **parts)


@pytest.fixture(scope="session")
def full_file(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Made once; tests work on copies."""
    path = tmp_path_factory.mktemp("full") / "full.sqlite"
    shutil.copyfile(sqlite_template, path)
    database = Database(f"sqlite:///{path}", sqlite_synchronous="NORMAL")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(loader, "build_demo_fleet", small_fleet)
        caller = loader.load_demo_fleet(database, START, lambda _text: None)
    _subscribe_and_publish(database, caller)
    with database.transaction() as session:
        depot = fleet.list_depots(session, caller.organisation_id)[0]
        for text in ODD_TEXTS:
            add_odd_vehicle(session, caller.organisation_id, depot.id or 0, text)
    with database.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    database.close()
    return path


@pytest.fixture
def full(full_file: Path, tmp_path: Path):
    """A copy that a test may change."""
    path = tmp_path / "full.sqlite"
    shutil.copyfile(full_file, path)
    database = Database(f"sqlite:///{path}", sqlite_synchronous="NORMAL")
    yield database
    database.close()


def _subscribe_and_publish(database: Database, caller: Caller) -> None:
    key = caller.organisation_id
    with database.transaction() as session:
        create_token(session, caller, START, "office 日本", list(Scope))
        subscribe(session, caller, START, "mail", "list@example.org", [Event.DUE_LIST_PUBLISHED])
    for days in (0, 7):
        now = START + timedelta(days=days)
        week = IsoWeek.of(now.date())
        with database.transaction() as session:
            publish_list(session, caller, week, now, now, "node", draft_list(session, key, week, now))


def add_odd_vehicle(session, organisation_id: int, depot_id: int, text: str) -> None:
    """A vehicle with an odd name and two years of readings, each with an odd reference."""
    vehicle = Vehicle(
        organisation_id=organisation_id,
        depot_id=depot_id,
        reference=text,
        vehicle_class="van",
        created_at=START,
    )
    session.add(vehicle)
    session.flush()
    rows = [
        {
            "organisation_id": organisation_id,
            "vehicle_id": vehicle.id,
            "taken_at": START - timedelta(days=730) + timedelta(days=place, microseconds=place),
            "odometer": 1000.1 + place / 3,
            "odometer_km": 1000.1 + place / 3,
            "used_km": 1000.1 + place / 3,
            "unit": "km",
            "source": "odd",
            "reference": f"{text} {place}",
            "outcome": "accepted",
            "received_at": START,
        }
        for place in range(READINGS_A_VEHICLE)
    ]
    session.execute(insert(Reading), rows)
    session.add(VehicleUsage(organisation_id=organisation_id, vehicle_id=vehicle.id, updated_at=START))
