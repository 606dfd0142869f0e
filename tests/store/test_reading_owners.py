"""Vehicles that a batch names: found by numbers and ids alike, and locked in one order whatever they are called."""

import threading
import time

import pytest
from sqlalchemy import text
from sqlmodel import select

from service.store.repositories import fleet
from service.store.repositories.reading_owners import lock_owners
from service.store.tables.vehicles import Vehicle

END_SIZE = 8


@pytest.fixture
def keys(operator, database):
    """Two vans in use, in the order of their ids."""
    for name in ("VAN-1", "VAN-2"):
        operator.post("/v1/vehicles", {"vehicle": name, "class": "van"})
    with database.snapshot() as session:
        return sorted(session.exec(select(Vehicle.id)).all())


def test_a_vehicle_is_found_under_its_number_and_its_id_in_one_call(operator, database, join, keys):
    foreign = join("Another")
    foreign.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"})
    with database.snapshot() as session:
        other = max(session.exec(select(Vehicle.id)).all())
    names = [
        "VAN-1",
        f"veh_{keys[0]}",
        f"veh_{keys[1]}",
        f"veh_{other}",
        "veh_9223372036854775807",
        "veh_x",
        "",
    ]
    with database.transaction() as session:
        owners = lock_owners(session, operator.organisation_id, names, END_SIZE)
    found = dict(zip(owners.names, owners.keys, strict=True))
    assert {name: found.get(name) for name in names} == {
        **dict.fromkeys(names, None),
        "VAN-1": keys[0],
        f"veh_{keys[0]}": keys[0],
        f"veh_{keys[1]}": keys[1],
    }


@pytest.mark.parametrize("database", [pytest.param("postgres", marks=pytest.mark.postgres)], indirect=True)
def test_who_waits_for_a_vehicle_holds_none_with_a_higher_id(operator, database, keys):
    """Else two batches that name their vehicles in different ways would wait for each other."""
    first, second = keys

    def wait_for_both():
        with database.transaction() as session:
            lock_owners(session, operator.organisation_id, ["VAN-1", f"veh_{second}"], END_SIZE)

    waiting = "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock' AND datname = current_database()"
    thread = threading.Thread(target=wait_for_both)
    with database.transaction() as session:
        fleet.lock_vehicles(session, operator.organisation_id, [first])
        thread.start()
        for _ in range(200):
            with database.snapshot() as looking:
                if looking.execute(text(waiting)).scalar_one():
                    break
            time.sleep(0.05)
        else:
            pytest.fail("nobody waits")
        session.execute(text("SELECT 1 FROM vehicle WHERE id = :id FOR NO KEY UPDATE NOWAIT"), {"id": second})
    thread.join(30.0)
    assert not thread.is_alive()
