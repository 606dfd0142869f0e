"""The service under calls at a constant rate, on either store, as ratios to a bare endpoint of the same run.

Open loop, 60 calls a second: 14 of 20 post a reading, the rest read readings, vehicles, a projection and, once a
second, the present list. Then one
organisation makes ten times as many calls as another one: the other's percentiles against its quiet ones.
`LOAD_SECONDS` asks for longer runs.
"""

import asyncio
import json
import os
from datetime import timedelta
from pathlib import Path

import httpx
import pytest

from service.store.session import Database
from tests.faults.nodes import Store, serving
from tests.faults.open_loop import Load, http, run_load
from tests.service_fixtures import START

pytestmark = pytest.mark.bench

PER_SECOND = 60.0
SECONDS = float(os.environ.get("LOAD_SECONDS", "15"))
N_VEHICLES = 40
FLOOD = 10
QUIET = 5.0
"""Calls a second of an organisation that keeps to its share; the quota is twice that."""

QUOTA = {"QUOTA_CALLS_PER_SECOND": "10"}


@pytest.fixture
def store(database: Database, tmp_path: Path) -> Store:
    """Empty store whose address is what the server is given."""
    return Store(database.engine.url.render_as_string(hide_password=False), database, tmp_path)


class Organisation:
    """One that has a fleet, and makes calls of every usual kind."""

    def __init__(self, store: Store, url: str, name: str) -> None:
        _, self.secret = store.found(name)
        headers = {"Authorization": f"Bearer {self.secret}"}
        with httpx.Client(base_url=url, headers=headers, timeout=60) as client:
            for number in range(N_VEHICLES):
                vehicle = f"VAN-{number}"
                client.post("/v1/vehicles", json={"vehicle": vehicle, "class": "van"}).raise_for_status()
                told = {"kind": "engine_oil_diesel_heavy", "last_service_on": "2026-01-08"}
                client.post(f"/v1/vehicles/{vehicle}/compartments", json=told).raise_for_status()
            rows = [
                self.reading(f"VAN-{number}", day * 1440) for number in range(N_VEHICLES) for day in range(60)
            ]
            client.post("/v1/readings", json={"readings": rows}).raise_for_status()
            client.get("/v1/due-lists/current").raise_for_status()

    @staticmethod
    def reading(vehicle: str, minutes: int) -> dict[str, object]:
        at = START - timedelta(days=70) + timedelta(minutes=minutes)
        return {"vehicle": vehicle, "taken_at": at.isoformat(), "odometer": round(50_000 + minutes * 0.05, 2)}

    def call(self, number: int) -> bytes:
        """The usual mixture."""
        vehicle = f"VAN-{number % N_VEHICLES}"
        if number % 60 == 59:
            return http("GET", "/v1/due-lists/current", self.secret)
        kind = number % 20
        if kind < 14:
            return self.post(number, vehicle)
        if kind < 17:
            return http("GET", f"/v1/vehicles/{vehicle}/readings?limit=50", self.secret)
        if kind < 19:
            return http("GET", "/v1/vehicles?limit=50", self.secret)
        return http("GET", f"/v1/vehicles/{vehicle}/projection", self.secret)

    def post(self, number: int, vehicle: str) -> bytes:
        """One reading, later than all before."""
        body = {"readings": [self.reading(vehicle, 60 * 1440 + number // 20)]}
        return http("POST", "/v1/readings", self.secret, json.dumps(body).encode())


def bare(_number: int) -> bytes:
    """The same server, doing nothing."""
    return http("GET", "/livez")


def _share_without_success(load: Load) -> float:
    return 1.0 - load.statuses[200] / len(load.latencies)


def test_a_constant_rate_of_calls(store: Store) -> None:
    with serving(store, LOG_LEVEL="WARNING", TEST_CLOCK_START=START.isoformat()) as node:
        fleet = Organisation(store, node.url, "Invented Haulage")
        nothing = asyncio.run(run_load(node.port, PER_SECOND, SECONDS, bare))
        usual = asyncio.run(run_load(node.port, PER_SECOND, SECONDS, fleet.call))
        double = asyncio.run(run_load(node.port, 2 * PER_SECOND, SECONDS, fleet.call, 50_000))
        after = asyncio.run(run_load(node.port, PER_SECOND, SECONDS, fleet.call, 100_000))
    kind = "SQLite" if store.is_sqlite else "PostgreSQL"
    for name, load in (("bare", nothing), ("60/s", usual), ("120/s", double), ("60/s again", after)):
        print(f"\n{kind} {load.line(name, None if load is nothing else nothing)}", end="")
    assert _share_without_success(usual) < 0.001
    assert set(double.statuses) <= {200, 429, 503}, "at overload nothing else is said"
    assert _share_without_success(after) < 0.001, "and afterwards all is well"


def test_an_organisation_at_ten_times_its_share_slows_no_other(store: Store) -> None:
    async def both(port: int, loud: Organisation, other: Organisation) -> tuple[Load, Load]:
        flood = asyncio.create_task(run_load(port, FLOOD * QUIET, SECONDS, loud.call, 100_000))
        heard = await run_load(port, QUIET, SECONDS, other.call, 100_000)
        return await flood, heard

    with serving(store, LOG_LEVEL="WARNING", TEST_CLOCK_START=START.isoformat(), **QUOTA) as node:
        loud, other = (Organisation(store, node.url, name) for name in ("Loud Haulage", "Quiet Haulage"))
        quiet = asyncio.run(run_load(node.port, QUIET, SECONDS, other.call))
        flood, heard = asyncio.run(both(node.port, loud, other))
    kind = "SQLite" if store.is_sqlite else "PostgreSQL"
    print(
        f"\n{kind} {quiet.line('B alone')}\n{kind} {heard.line('B beside A', quiet)}\n{kind} {flood.line('A')}",
        end="",
    )
    assert _share_without_success(heard) < 0.001
    assert set(flood.statuses) <= {200, 429}
