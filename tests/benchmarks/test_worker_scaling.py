"""How a fleet's projection scales with workers on PostgreSQL: three compartments a vehicle, stored usage states.

The baseline is one worker in the same run. `BENCH_VEHICLES` chooses the size of the fleet, `BENCH_WORKERS` the numbers
of workers.
"""

import os
import signal
import time
from pathlib import Path

import pytest
from sqlalchemy import delete, func, select, text

from service.jobs.chunk_queue import SCHEMA, ChunkQueue, prepare_queue
from service.jobs.fleet_projection import FleetProjection
from service.store.tables.projections import Projection
from tests.benchmarks.large_store import load_large_fleet
from tests.faults.nodes import Node, Store
from tests.service_fixtures import START

pytestmark = pytest.mark.bench

N_VEHICLES = int(os.environ.get("BENCH_VEHICLES", "20000"))
WORKERS = [int(number) for number in os.environ.get("BENCH_WORKERS", "1,2,3").split(",")]


def count(database, statement: str) -> int:
    with database.engine.connect() as connection:
        return connection.execute(text(statement)).scalar_one()


def processor_seconds(node: Node) -> float:
    """What a process has used of the processors, which other programs on the machine do not change much."""
    fields = Path(f"/proc/{node.process.pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def seconds_with(store: Store, organisation_id: int, n_workers: int, clock) -> tuple[float, float]:
    """Elapsed, from parts in the queue and all workers waiting until the last is done, and used by workers."""
    environment = {"WORKERS": "true", "LOG_LEVEL": "WARNING"}
    nodes = [Node(store, ("worker",), environment, number + 1) for number in range(n_workers)]
    n_before = count(store.database, f"SELECT count(*) FROM {SCHEMA}.procrastinate_workers")
    for node in nodes:
        node.start()
    try:
        while (
            count(store.database, f"SELECT count(*) FROM {SCHEMA}.procrastinate_workers")
            < n_before + n_workers
        ):
            time.sleep(0.1)
        FleetProjection(store.database, clock, "bench", ChunkQueue(store.url).share).project(
            organisation_id, START
        )
        used = sum(map(processor_seconds, nodes))
        began = time.perf_counter()
        while count(
            store.database,
            f"SELECT count(*) FROM {SCHEMA}.procrastinate_jobs WHERE task_name = 'project_chunk'",
        ):
            time.sleep(0.1)
        return time.perf_counter() - began, sum(map(processor_seconds, nodes)) - used
    finally:
        for node in nodes:
            node.stop(signal.SIGTERM)


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_workers_share_a_fleet(database, clock, tmp_path, capsys):
    """Print the seconds with one, two and three workers, and the efficiency against one."""
    organisation_id = load_large_fleet(database, N_VEHICLES, 10, START, 480)
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("ANALYZE"))
    store = Store(database.engine.url.render_as_string(hide_password=False), database, tmp_path)
    prepare_queue(store.url)
    alone = None
    for n_workers in WORKERS:
        with database.transaction() as session:
            session.execute(delete(Projection))
        seconds, used = seconds_with(store, organisation_id, n_workers, clock)
        alone = alone or seconds * n_workers
        with database.snapshot() as session:
            n_rows = session.execute(select(func.count()).select_from(Projection)).scalar_one()
        assert n_rows == 3 * N_VEHICLES
        with capsys.disabled():
            print(
                f"\n{N_VEHICLES} vehicles, {n_workers} workers: {seconds:.1f} s, {N_VEHICLES / seconds:.0f} a second, "
                f"efficiency {alone / seconds / n_workers:.2f}; {N_VEHICLES / used:.0f} a processor second"
            )
