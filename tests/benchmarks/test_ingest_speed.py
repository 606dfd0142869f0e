"""How long it takes to take readings in: 10,000 of them in one call, validated, screened and stored.

The raw baseline is `executemany` of the same rows into the same table with the same indexes, in one transaction.
The figure to watch is the ratio to it.
"""

import json
import sqlite3
import time
from datetime import timedelta

import pytest
from sqlalchemy import insert

from service.store.session import Database
from service.store.tables.organisation import Depot
from service.store.tables.vehicles import Vehicle
from tests.service_fixtures import START

pytestmark = pytest.mark.bench

N_READINGS = 10_000
ROUNDS = 3


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
    """Seconds to put as many rows into a copy of the table with its indexes and nothing else."""
    path = database.engine.url.database
    assert path is not None
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA synchronous=NORMAL")
    indexes = connection.execute(
        "SELECT sql FROM sqlite_master WHERE tbl_name='reading' AND type='index' AND sql IS NOT NULL"
    ).fetchall()
    rows = connection.execute(f"SELECT * FROM reading LIMIT {N_READINGS}").fetchall()
    connection.execute("DROP TABLE IF EXISTS raw_reading")
    connection.execute("CREATE TABLE raw_reading AS SELECT * FROM reading WHERE 0")
    for (sql,) in indexes:
        connection.execute(sql.replace("ix_reading", "ix_raw").replace("ON reading", "ON raw_reading"))
    connection.execute(
        "CREATE UNIQUE INDEX uq_raw ON raw_reading (organisation_id, vehicle_id, source, reference)"
    )
    marks = ", ".join("?" * len(rows[0]))
    began = time.perf_counter()
    connection.execute("BEGIN IMMEDIATE")
    connection.executemany(f"INSERT INTO raw_reading VALUES ({marks})", rows)
    connection.execute("COMMIT")
    seconds = time.perf_counter() - began
    connection.close()
    return seconds


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
@pytest.mark.parametrize("n_vehicles", [100, 10_000])
def test_ten_thousand_readings_in_one_call(operator, database, n_vehicles, capsys):
    """Print the seconds of a call and its ratio to the raw insert, the best of a few each."""
    add_vehicles(database, operator.organisation_id, n_vehicles)
    seconds = []
    for lap in range(ROUNDS):
        body = batch(n_vehicles, lap)
        began = time.perf_counter()
        answer = operator.client.post(
            "/v1/readings", content=body, headers=operator.headers | {"Content-Type": "application/json"}
        )
        seconds.append(time.perf_counter() - began)
        assert answer.json()["accepted"] == N_READINGS
    raw = min(store_raw(database) for _ in range(ROUNDS))
    with capsys.disabled():
        print(
            f"\n{N_READINGS} readings of {n_vehicles} vehicles: {seconds[0]:.2f} s first, {min(seconds):.2f} s best, "
            f"raw {raw:.3f} s, ratio {min(seconds) / raw:.1f}"
        )
