"""How long it takes to take readings in: 10,000 of them in one call, validated, screened and stored.

The raw baseline is what the driver does best, `executemany` or COPY, with as many of the same rows into the same table
with the same keys, checks and indexes, in one transaction that reaches the disk. The figure to watch is the ratio.
"""

import gc
import json
import statistics
import time
from datetime import timedelta

import pytest
from sqlalchemy import Connection, event, insert

from service.store.session import Database
from service.store.tables.organisation import Depot
from service.store.tables.readings import Reading
from service.store.tables.vehicles import Vehicle
from tests.service_fixtures import START

pytestmark = pytest.mark.bench

N_READINGS = 10_000
ROUNDS = 5


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


def store_raw(database: Database) -> float:
    """Seconds to put as many rows into an empty table with the same columns, keys, checks and indexes, and commit."""
    with database.engine.connect() as connection:
        connection.exec_driver_sql("DROP TABLE IF EXISTS raw_reading")
        for statement in raw_table(connection):
            connection.exec_driver_sql(statement)
        names = [column.name for column in Reading.__table__.columns if column.name != "id"]
        listed = ", ".join(names)
        rows = connection.exec_driver_sql(f"SELECT {listed} FROM reading LIMIT {N_READINGS}").fetchall()
        rows = [tuple(row) for row in rows]
        connection.commit()
        began = time.perf_counter()
        if database.is_sqlite:
            marks = ", ".join("?" * len(names))
            driver = connection.connection.cursor()
            driver.execute("BEGIN IMMEDIATE")
            driver.executemany(f"INSERT INTO raw_reading ({listed}) VALUES ({marks})", rows)
            driver.execute("COMMIT")
        else:
            with connection.connection.cursor().copy(f"COPY raw_reading ({listed}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
            connection.connection.commit()
        return time.perf_counter() - began


def raw_table(connection: Connection) -> list[str]:
    """Statements that make a copy of the table of readings under another name."""
    if connection.dialect.name == "sqlite":
        found = connection.exec_driver_sql(
            "SELECT sql FROM sqlite_master WHERE tbl_name = 'reading' AND sql IS NOT NULL ORDER BY type DESC"
        )
        renamed = [
            sql.replace("ix_reading", "ix_raw").replace("ON reading ", "ON raw_reading ") for (sql,) in found
        ]
        return [sql.replace("CREATE TABLE reading", "CREATE TABLE raw_reading") for sql in renamed]
    return [
        "CREATE TABLE raw_reading (LIKE reading INCLUDING ALL)",
        "ALTER TABLE raw_reading ADD FOREIGN KEY (organisation_id, vehicle_id)"
        " REFERENCES vehicle (organisation_id, id)",
    ]


@pytest.mark.parametrize("database", ["sqlite", "postgres"], indirect=True)
@pytest.mark.parametrize("n_vehicles", [100, 10_000])
def test_ten_thousand_readings_in_one_call(operator, database, n_vehicles, capsys):
    """Print the seconds of a call and its ratio to the raw path, measured in turns, the middle of a few each."""
    if database.is_sqlite:
        event.listen(database.engine, "connect", lambda one, _: one.execute("PRAGMA synchronous=FULL"))
        database.engine.dispose()
    add_vehicles(database, operator.organisation_id, n_vehicles)
    gc.freeze()  # as the server does when it starts
    seconds, raw = [], []
    for lap in range(ROUNDS):
        body = batch(n_vehicles, lap)
        began = time.perf_counter()
        answer = operator.client.post(
            "/v1/readings", content=body, headers=operator.headers | {"Content-Type": "application/json"}
        )
        seconds.append(time.perf_counter() - began)
        assert answer.json()["accepted"] == N_READINGS
        raw.append(store_raw(database))
    gc.unfreeze()
    call, insert_alone = statistics.median(seconds), statistics.median(raw)
    with capsys.disabled():
        print(
            f"\n{database.engine.dialect.name}, {N_READINGS} readings of {n_vehicles} vehicles: {call:.3f} s a call, "
            f"raw {insert_alone:.3f} s, ratio {call / insert_alone:.1f}; first call {seconds[0] / raw[0]:.1f}"
        )
