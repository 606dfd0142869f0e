"""Workers share a fleet, one of them is killed with its part half done, and the figures are those of one machine.

What one machine computes, part after part in one process, is the oracle. That a job of a silent worker is given to
another one is what procrastinate's documentation promises ("Retry stalled jobs").
"""

import time
from datetime import timedelta
from typing import Any

import psycopg
import pytest
from sqlalchemy import delete, make_url, select, text

from service.cli.context import EXIT_UNAVAILABLE
from service.jobs.chunk_queue import SCHEMA, ChunkQueue, prepare_queue
from service.jobs.fleet_projection import NightlyProjection, do_chunk
from service.store.session import Database
from service.store.tables.projections import Projection
from service.usecases.due import project_fleet
from tests.faults.nodes import Node, Store
from tests.service_fixtures import START

N_VEHICLES = 24
VEHICLES_A_PART = 4
SILENCE_SECONDS = "4"


@pytest.fixture
def fleet(operator: Any, monkeypatch: pytest.MonkeyPatch) -> int:
    """Vehicles with readings and a compartment each; cut into small parts."""
    monkeypatch.setattr(project_fleet, "VEHICLES_A_CHUNK", VEHICLES_A_PART)
    for number in range(N_VEHICLES):
        name = f"V{number:02d}"
        assert operator.post("/v1/vehicles", {"vehicle": name, "class": "van"}).status_code == 201
        body = {
            "kind": "brake_fluid",
            "compartment": "brakes",
            "interval_km": 20_000,
            "last_service_on": "2026-01-05",
        }
        answer = operator.post(f"/v1/vehicles/{name}/compartments", body)
        assert answer.status_code == 201, answer.text
    rows = [
        {
            "vehicle": f"V{number:02d}",
            "taken_at": (START - timedelta(days=7 * (8 - week))).isoformat(),
            "odometer": 10_000 * (number + 1) + week * (300 + 20 * number),
        }
        for number in range(N_VEHICLES)
        for week in range(8)
    ]
    assert operator.post("/v1/readings", {"readings": rows}).json()["accepted"] == len(rows)
    return int(operator.organisation_id)


def projected(database: Database) -> list[tuple[Any, ...]]:
    with database.engine.connect() as connection:
        query = select(Projection.__table__).order_by(Projection.__table__.c.vehicle_id)
        return [tuple(row) for row in connection.execute(query)]


def forget(database: Database) -> None:
    with database.transaction() as session:
        session.execute(delete(Projection))
        session.execute(text("UPDATE vehicle_usage SET is_stale = true, usage_state = NULL"))


def on_one_machine(database: Database, clock: Any, organisation_id: int) -> list[tuple[Any, ...]]:
    """Project here, remember the result and make it undone."""
    NightlyProjection(database, clock, "here").project(organisation_id, START)
    result = projected(database)
    assert len(result) == N_VEHICLES
    forget(database)
    return result


def jobs_left(database: Database) -> dict[str, int]:
    table = f"{SCHEMA}.procrastinate_jobs"
    counts = f"SELECT status::text, count(*) FROM {table} WHERE task_name = 'project_chunk' GROUP BY 1"  # noqa: S608
    with database.engine.connect() as connection:
        return {row[0]: row[1] for row in connection.execute(text(counts))}


def wait_until(condition: Any, what: str, seconds: float = 120.0) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return
        time.sleep(0.1)
    raise AssertionError(f"not within {seconds:.0f} s: {what}")


def worker(store: Store, number: int, *options: str) -> Node:
    environment = {"WORKERS": "true", "WORKER_SILENCE_SECONDS": SILENCE_SECONDS}
    return Node(store, ("worker", *options), environment, number)


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_a_killed_workers_part_is_done_by_another(fleet: int, database: Database, clock: Any, store: Store):
    wanted = on_one_machine(database, clock, fleet)
    assert prepare_queue(store.url)
    assert not prepare_queue(store.url), "made once"
    n_parts = NightlyProjection(database, clock, "here", ChunkQueue(store.url).share).project(fleet, START)
    assert n_parts == N_VEHICLES // VEHICLES_A_PART
    first, second = worker(store, 1), worker(store, 2)
    try:
        with database.transaction() as session:
            # Whoever takes the first part waits here for its vehicles, in the middle of its transaction.
            session.execute(text("SELECT id FROM vehicle ORDER BY id LIMIT 1 FOR UPDATE"))
            first.start()
            wait_until(lambda: jobs_left(database).get("doing") == 1, "the first worker holds a part")
            second.start()
            wait_until(lambda: jobs_left(database) == {"doing": 1}, "the second did all the others")
            first.stop()
            assert jobs_left(database) == {"doing": 1}, "nobody knows yet that its worker is dead"
        wait_until(lambda: jobs_left(database) == {}, "the dead worker's part was taken over")
        assert second.stop(15) == 0, "told to stop, a worker ends well"
    finally:
        first.stop()
        second.stop()
    assert projected(database) == wanted
    assert "chunk_taken_over" in second.log.read_text()


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_a_worker_whose_database_went_away_ends_as_failed_so_that_it_is_started_again(
    database: Database, store: Store
):
    """A supervisor that restarts on failure, as our unit does, lets whatever ended with 0 rest (systemd.service(5))."""
    prepare_queue(store.url)
    lonely = worker(store, 1)
    lonely.start()
    wait_until(
        lambda: store.execute("SELECT 1 FROM pg_stat_activity WHERE query LIKE 'LISTEN%'"), "it listens"
    )
    server = make_url(store.url).set(drivername="postgresql")
    address = server.set(database="postgres").render_as_string(hide_password=False)
    store.database.close()
    try:
        with psycopg.connect(address, autocommit=True) as outside:
            outside.execute(f'ALTER DATABASE "{server.database}" ALLOW_CONNECTIONS false')
            outside.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s",
                (server.database,),
            )
            wait_until(lambda: "stopping worker" in lonely.log.read_text(), "it gave up")
            outside.execute(f'ALTER DATABASE "{server.database}" ALLOW_CONNECTIONS true')
        assert lonely.process is not None
        assert lonely.process.wait(60.0) == EXIT_UNAVAILABLE
    finally:
        lonely.stop()
    assert "start the worker again" in lonely.log.read_text()


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_a_part_given_twice_is_done_once(fleet: int, database: Database, clock: Any, store: Store):
    prepare_queue(store.url)
    done: list[int] = []
    queue = ChunkQueue(store.url, lambda chunk: done.append(do_chunk(database, chunk)) or 0)
    shared = NightlyProjection(database, clock, "here", queue.share)
    shared.project(fleet, START)
    shared.project(fleet, START)
    queue.run(name="here", until_empty=True)
    assert sorted(done) == [0] * 6 + [VEHICLES_A_PART] * 6


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_a_part_that_fails_is_tried_again(
    fleet: int, database: Database, clock: Any, store: Store, monkeypatch: pytest.MonkeyPatch
):
    from service.jobs import chunk_queue

    monkeypatch.setattr(chunk_queue, "WAIT_SECONDS", 0)
    prepare_queue(store.url)
    tries: list[int] = []

    def work(chunk: Any) -> int:
        tries.append(chunk.part.after_id)
        if len(tries) == 1:
            raise RuntimeError("broken")
        return do_chunk(database, chunk)

    queue = ChunkQueue(store.url, work)
    NightlyProjection(database, clock, "here", queue.share).project(fleet, START)
    queue.run(name="here", until_empty=True)
    assert len(projected(database)) == N_VEHICLES
    assert len(tries) == N_VEHICLES // VEHICLES_A_PART + 1
