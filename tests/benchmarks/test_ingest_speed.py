"""How long it takes to take readings in: 10,000 of them in one call, validated, screened and stored.

The raw baseline is the driver's own way with many rows, `executemany` or binary COPY, with the same rows in the
same order into the same table, for an organisation whose fleet and earlier readings are the same: every key, check
and index, the same fill of the trees, one transaction that reaches the disk on SQLite (the server of the tests
syncs for neither side). It gets the rows as the driver takes them. On SQLite it is not the fastest there is: a
hundred rows a statement, as the service stores them, take two thirds to three quarters of its time. Reading a body,
finding vehicles, screening and answering are the service's own, so all of that counts against it, and so does HTTP
within this process. The figure to watch is the ratio.
"""

import gc
import json
import statistics
import time
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import event, insert, text

from service.store.session import Database
from service.store.tables.organisation import Depot
from service.store.tables.readings import Reading
from service.store.tables.vehicles import Vehicle
from tests.service_fixtures import START

pytestmark = pytest.mark.bench

N_READINGS = 10_000
ROUNDS = 5
TYPE_NAMES = {
    "Integer": "int4",
    "BigInteger": "int8",
    "Float": "float8",
    "AutoString": "text",
    "UtcDateTime": "timestamptz",
}
TWIN_SHIFT = text(
    "SELECT (SELECT min(id) FROM vehicle WHERE organisation_id = :twin)"
    " - (SELECT min(id) FROM vehicle WHERE organisation_id = :one)"
)


def add_vehicles(database: Database, organisation_id: int, n_vehicles: int) -> None:
    """Register invented vans in bulk."""
    with database.transaction() as session:
        depot = Depot(
            organisation_id=organisation_id, reference="Main", bay_minutes=[480] * 7, created_at=START
        )
        session.add(depot)
        session.flush()
        rows = [
            {
                "organisation_id": organisation_id,
                "depot_id": depot.id,
                "reference": f"VAN-{number}",
                "vehicle_class": "van",
                "duty": "normal",
                "odometer_unit": "km",
                "available_weekdays": 127,
                "version": 1,
                "created_at": START,
            }
            for number in range(n_vehicles)
        ]
        session.execute(insert(Vehicle), rows)


def batch(n_vehicles: int, lap: int) -> bytes:
    """One call's body: every vehicle the same number of days, 60 km apart."""
    per_vehicle = N_READINGS // n_vehicles
    first_day = START - timedelta(days=900) + timedelta(days=lap * per_vehicle)
    rows = [
        {
            "vehicle": f"VAN-{number}",
            "taken_at": (first_day + timedelta(days=day)).isoformat(),
            "odometer": 1000.0 + number + 60.0 * (lap * per_vehicle + day),
            "unit": "km",
            "source": "driver",
            "reference": f"{lap}-{number}-{day}",
        }
        for number in range(n_vehicles)
        for day in range(per_vehicle)
    ]
    return json.dumps({"readings": rows}).encode()


def store_raw(database: Database, organisation_id: int, twin_id: int) -> float:
    """Seconds in which the driver stores the rows of the latest call for the twin, and commits."""
    names = [column.name for column in Reading.__table__.columns if column.name != "id"]
    owner, vehicle = names.index("organisation_id"), names.index("vehicle_id")
    with database.engine.connect() as connection:
        shift = connection.execute(TWIN_SHIFT, {"one": organisation_id, "twin": twin_id}).scalar_one()
        query = f"SELECT {', '.join(names)} FROM reading WHERE organisation_id = :one ORDER BY id DESC LIMIT :limit"
        found = connection.execute(text(query), {"one": organisation_id, "limit": N_READINGS}).all()
        rows = [list(row) for row in reversed(found)]
        for row in rows:
            row[owner], row[vehicle] = twin_id, row[vehicle] + shift
        connection.commit()
        driver = connection.connection.driver_connection
        return insert_rows(driver, names, rows) if database.is_sqlite else copy_rows(driver, names, rows)


def insert_rows(driver: Any, names: list[str], rows: list[list[Any]]) -> float:
    """What a loader does on SQLite."""
    statement = f"INSERT INTO reading ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"
    began = time.perf_counter()
    driver.execute("BEGIN IMMEDIATE")
    driver.executemany(statement, rows)
    driver.execute("COMMIT")
    return time.perf_counter() - began


def copy_rows(driver: Any, names: list[str], rows: list[list[Any]]) -> float:
    """What a careful loader does on PostgreSQL; the binary form was no slower than the one in texts."""
    types = [
        TYPE_NAMES[column.type.__class__.__name__]
        for column in Reading.__table__.columns
        if column.name in names
    ]
    began = time.perf_counter()
    statement = f"COPY reading ({', '.join(names)}) FROM STDIN (FORMAT BINARY)"
    with driver.cursor() as cursor, cursor.copy(statement) as copy:
        copy.set_types(types)
        for row in rows:
            copy.write_row(row)
    driver.commit()
    return time.perf_counter() - began


@pytest.mark.parametrize("database", ["sqlite", "postgres"], indirect=True)
@pytest.mark.parametrize(("n_vehicles", "n_earlier"), [(100, 0), (10_000, 0), (10_000, 30)])
def test_ten_thousand_readings_in_one_call(operator, join, database, n_vehicles, n_earlier, capsys):
    """Print the seconds of a call and its ratio to the raw path, measured in turns, the middle of a few each.

    `n_earlier` calls and as many raw ones come before: trees of a few pages favour the raw path, which writes to
    them alone.
    """
    if database.is_sqlite:
        event.listen(database.engine, "connect", lambda one, _: one.execute("PRAGMA synchronous=FULL"))
        database.engine.dispose()
    twin = join("Twin Haulage")
    for key in (operator.organisation_id, twin.organisation_id):
        add_vehicles(database, key, n_vehicles)
    gc.freeze()  # as the server does when it starts
    seconds, raw = [], []
    for lap in range(n_earlier + ROUNDS):
        body = batch(n_vehicles, lap)
        began = time.perf_counter()
        answer = operator.client.post(
            "/v1/readings", content=body, headers=operator.headers | {"Content-Type": "application/json"}
        )
        seconds.append(time.perf_counter() - began)
        assert answer.json()["accepted"] == N_READINGS
        raw.append(store_raw(database, operator.organisation_id, twin.organisation_id))
    gc.unfreeze()
    call, insert_alone = statistics.median(seconds[n_earlier:]), statistics.median(raw[n_earlier:])
    with capsys.disabled():
        print(
            f"\n{database.engine.dialect.name}, {N_READINGS} readings of {n_vehicles} vehicles "
            f"after {n_earlier * N_READINGS}: {call:.3f} s a call, "
            f"raw {insert_alone:.3f} s, ratio {call / insert_alone:.1f}; first call {seconds[0] / raw[0]:.1f}"
        )
