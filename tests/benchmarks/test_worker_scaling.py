"""How a fleet's projection scales with workers on PostgreSQL: three compartments a vehicle, stored usage states.

As on every night, each has a projection of the night before. The baseline is the first number of workers in the same
run. `BENCH_VEHICLES` chooses the size of the fleet, `BENCH_WORKERS` the numbers of workers; a million vehicles need
some 10 GB of disk and take about twenty minutes. Processor seconds of workers and of the database are told apart.
"""

import os
import resource
import signal
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import text

from service.jobs.chunk_queue import SCHEMA, ChunkQueue, prepare_queue
from service.jobs.fleet_projection import NightlyProjection
from service.store.records import FIGURES
from service.store.session import Database
from tests.benchmarks.large_store import load_large_fleet
from tests.faults.nodes import Node, Store
from tests.service_fixtures import START

pytestmark = pytest.mark.bench

N_VEHICLES = int(os.environ.get("BENCH_VEHICLES", "20000"))
WORKERS = [int(number) for number in os.environ.get("BENCH_WORKERS", "1,2,3").split(",")]
MEGABYTE = 1e6
FILL = f"""
INSERT INTO projection (vehicle_id, organisation_id, as_of, figures)
SELECT vehicle_id, organisation_id, CAST(:at AS timestamptz), decode(repeat('00', {3 * FIGURES.itemsize}), 'hex')
FROM vehicle_usage
"""


def count(database: Database, statement: str, **values: object) -> int:
    with database.engine.connect() as connection:
        return connection.execute(text(statement), values).scalar_one()


def disk_bytes(database: Database) -> int:
    """What all tables take with their indexes, readings apart."""
    return count(
        database,
        "SELECT coalesce(sum(pg_total_relation_size(oid)), 0)::bigint FROM pg_class"
        " WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace AND relname !~ '^reading_part'",
    )


def log_bytes(database: Database) -> int:
    """Where the write-ahead log stands."""
    return count(database, "SELECT pg_wal_lsn_diff(pg_current_wal_lsn(), '0/0')::bigint")


def do_alone(database: Database, *statements: str) -> None:
    """Run statements that begin their own transactions."""
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("SET statement_timeout = 0"))
        for statement in statements:
            connection.execute(text(statement))
        connection.execute(text("RESET statement_timeout"))


def ticks_of(process: int, *, with_ended_children: bool = False) -> int:
    """What a process has used of the processors, which other programs on the machine do not change much."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    except FileNotFoundError:
        return 0
    return sum(map(int, fields[11 : 15 if with_ended_children else 13]))


def children_of(process: int) -> Iterator[int]:
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rsplit(")", 1)[1].split()
        except (FileNotFoundError, ProcessLookupError):
            continue
        if int(fields[1]) == process:
            yield int(stat.parent.name)


def database_ticks(database: Database) -> int:
    """The same of the whole server, which runs on this machine."""
    backend = count(database, "SELECT pg_backend_pid()")
    server = int(Path(f"/proc/{backend}/stat").read_text().rsplit(")", 1)[1].split()[1])
    return ticks_of(server, with_ended_children=True) + sum(map(ticks_of, children_of(server)))


def peak_megabytes(node: Node) -> float:
    """The most memory that a process had."""
    status = Path(f"/proc/{node.process.pid}/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) * 1024 / MEGABYTE


class Night:
    """One projection of the fleet by some workers: seconds, of processors too, the log, and the largest worker."""

    def __init__(self, store: Store, organisation_id: int, n_workers: int, clock) -> None:
        environment = {"WORKERS": "true", "LOG_LEVEL": "WARNING"}
        nodes = [Node(store, ("worker",), environment, number + 1) for number in range(n_workers)]
        waiting = f"SELECT count(*) FROM {SCHEMA}.procrastinate_workers"
        again = f"SELECT count(*) FROM {SCHEMA}.procrastinate_jobs WHERE attempts > 0 AND status = 'todo'"
        parts = f"SELECT count(*) FROM {SCHEMA}.procrastinate_jobs WHERE task_name = 'project_chunk'"
        n_before = count(store.database, waiting)
        for node in nodes:
            node.start()
        try:
            while count(store.database, waiting) < n_before + n_workers:
                time.sleep(0.1)
            NightlyProjection(store.database, clock, "bench", ChunkQueue(store.url).share).project(
                organisation_id, clock.now()
            )
            used, written = (self._ticks(nodes), database_ticks(store.database)), log_bytes(store.database)
            began = time.perf_counter()
            while count(store.database, parts):
                assert count(store.database, again) == 0, "a part failed: see the log of its worker"
                time.sleep(0.1)
            self.seconds = time.perf_counter() - began
            hertz = os.sysconf("SC_CLK_TCK")
            self.worker_seconds = (self._ticks(nodes) - used[0]) / hertz
            self.database_seconds = (database_ticks(store.database) - used[1]) / hertz
            self.log_bytes = log_bytes(store.database) - written
            self.peak_megabytes = max(map(peak_megabytes, nodes))
        finally:
            for node in nodes:
                node.stop(signal.SIGTERM)

    @staticmethod
    def _ticks(nodes: list[Node]) -> int:
        return sum(ticks_of(node.process.pid) for node in nodes)


def fill(database: Database, before: datetime) -> int:
    """Load the fleet and its projections of the night before; gives the organisation's key."""
    organisation_id = load_large_fleet(database, N_VEHICLES, 10, before, 480)
    do_alone(database, FILL.replace(":at", f"'{before.isoformat()}'"), "VACUUM ANALYZE")
    return organisation_id


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_workers_share_a_fleet(database, clock, tmp_path, capsys):
    """Print the seconds with one, two and three workers, and the efficiency against the first number of them."""
    began = time.perf_counter()
    organisation_id = fill(database, START)
    loaded = time.perf_counter() - began
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / MEGABYTE
    with capsys.disabled():
        print(
            f"\n{N_VEHICLES} vehicles loaded in {loaded:.0f} s, peak {own:.0f} MB; "
            f"{disk_bytes(database) / N_VEHICLES / 1e3:.1f} kB on disk a vehicle without its readings"
        )
    store = Store(database.engine.url.render_as_string(hide_password=False), database, tmp_path)
    prepare_queue(store.url)
    alone = None
    for n_workers in WORKERS:
        clock.advance(timedelta(days=1))
        night = Night(store, organisation_id, n_workers, clock)
        alone = alone or night.seconds * n_workers
        n_rows = count(database, "SELECT count(*) FROM projection WHERE as_of = :at", at=clock.now())
        assert n_rows == N_VEHICLES
        with capsys.disabled():
            print(
                f"{n_workers} workers: {night.seconds:.1f} s, {N_VEHICLES / night.seconds:.0f} vehicles a second, "
                f"efficiency {alone / night.seconds / n_workers:.2f}; {N_VEHICLES / night.worker_seconds:.0f} a "
                f"processor second of workers, {N_VEHICLES / night.database_seconds:.0f} of the database; "
                f"largest worker {night.peak_megabytes:.0f} MB; "
                f"{night.log_bytes / N_VEHICLES / 1e3:.1f} kB of log a vehicle"
            )
        do_alone(database, "VACUUM ANALYZE projection")
