"""Histories of whole fleets are read without a Python object for every number that is stored."""

import tracemalloc
from datetime import timedelta

from service.store.repositories.meter_histories import meter_histories
from tests.service_fixtures import START

N_ROWS = 10_000
MOST_BYTES_A_ROW = 120
"""Four numbers, and as much again while the array grows or is cut; as tuples they took 190 beside it."""


def test_a_long_history_takes_little_more_room_than_its_numbers(database, operator):
    vehicle = operator.post("/v1/vehicles", {"vehicle": "BUS-1", "class": "bus"}).json()["id"]
    first = START - timedelta(days=N_ROWS / 24)
    rows = [
        {
            "vehicle": "BUS-1",
            "taken_at": (first + timedelta(hours=n)).isoformat(),
            "odometer": 1000.5 + 9.0 * n,
        }
        for n in range(N_ROWS)
    ]
    assert operator.post("/v1/readings", {"readings": rows}).json()["accepted"] == N_ROWS
    key = int(vehicle.removeprefix("veh_"))
    with database.snapshot() as session:
        meter_histories(session, operator.organisation_id, [key])  # what is loaded once
        tracemalloc.start()
        km, hours = meter_histories(session, operator.organisation_id, [key])
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert km.value.size == N_ROWS
    assert hours.value.size == 0
    assert peak < MOST_BYTES_A_ROW * N_ROWS
