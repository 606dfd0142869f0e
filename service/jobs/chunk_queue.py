"""Parts of fleets handed from schedulers to workers, through procrastinate's tables in the same PostgreSQL.

A worker that dies leaves its part marked as being done; once its heartbeat is old, another worker takes the part over.
A part may be done twice (`project_chunk` sees that it was), never half: it is one transaction.
"""

import asyncio
import hashlib
import signal
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, Final

import procrastinate
import psycopg
import structlog
from procrastinate.schema import SchemaManager
from psycopg.conninfo import make_conninfo
from sqlalchemy import make_url

from service.errors import UnavailableError
from service.store.repositories.fleet_ranges import VehicleRange
from service.usecases.due.project_fleet import Chunk

log = structlog.get_logger("worker")

Work = Callable[[Chunk], int]

SCHEMA: Final = "work_queue"
"""PostgreSQL schema of the queue's tables, apart from ours."""

QUEUE: Final = "projection"
TASK: Final = "project_chunk"
CHUNKS_A_CALL: Final = 1_000
TRIES: Final = 5
WAIT_SECONDS: Final = 4
HEARTBEATS: Final = 4
"""How many heartbeats fit into the time after which a silent worker is taken for dead."""

GRACE_SECONDS: Final = 25.0
LOST: Final = "The connection to the database was lost; start the worker again."
RESCUE_FIRST: Final = 1_000_000
"""Priority of looking for dead workers; of a chunk it is the day's number, so that the newest run goes first."""

_PREPARE_LOCK: Final = 7_861_009_412
"""Any number, the same on every node: PostgreSQL's advisory lock while the tables are made."""


def prepare_queue(database_url: str) -> bool:
    """Make the queue's tables, anew where the library's are others now; returns whether anything was done.

    Parts that wait in old tables are dropped with them: the next night's run projects their vehicles.
    """
    wanted = SchemaManager.get_schema()
    digest = hashlib.sha256(wanted.encode()).hexdigest()
    with psycopg.connect(driver_address(database_url)) as connection:
        connection.execute("SELECT pg_advisory_xact_lock(%s)", (_PREPARE_LOCK,))
        row = connection.execute(
            "SELECT obj_description(oid, 'pg_namespace') FROM pg_namespace WHERE nspname = %s", (SCHEMA,)
        ).fetchone()
        if row == (digest,):
            return False
        connection.execute(f"DROP SCHEMA IF EXISTS {SCHEMA} CASCADE")
        connection.execute(f"CREATE SCHEMA {SCHEMA}")
        connection.execute(f"SET LOCAL search_path = {SCHEMA}")
        connection.execute(wanted)
        connection.execute(f"COMMENT ON SCHEMA {SCHEMA} IS '{digest}'")
    return True


class ChunkQueue:
    """The queue, for those who put parts in and, with `work`, for those who do them."""

    def __init__(self, database_url: str, work: Work | None = None, silence_seconds: float = 30.0) -> None:
        self._work = work
        self._silence_seconds = silence_seconds
        options = f"-c search_path={SCHEMA} -c timezone=UTC"
        connector = procrastinate.PsycopgConnector(
            conninfo=driver_address(database_url), min_size=1, max_size=4, kwargs={"options": options}
        )
        self._app = procrastinate.App(connector=connector)
        retry = procrastinate.RetryStrategy(max_attempts=TRIES, exponential_wait=WAIT_SECONDS)
        self._task = self._app.task(name=TASK, queue=QUEUE, retry=retry)(self._do)
        every = f"*/{max(1, min(30, int(silence_seconds / HEARTBEATS)))}"
        rescue = self._app.task(name="rescue", queue=QUEUE, queueing_lock="rescue")(self._rescue)
        self._app.periodic(cron=f"* * * * * {every}", priority=RESCUE_FIRST)(rescue)

    def share(self, chunks: Sequence[Chunk]) -> None:
        """Put parts into the queue, many at a time."""
        with self._app.open():
            for start in range(0, len(chunks), CHUNKS_A_CALL):
                some = chunks[start : start + CHUNKS_A_CALL]
                deferrer = self._task.configure(priority=some[0].as_of.toordinal())
                deferrer.batch_defer(*map(_packed, some))

    def run(self, *, name: str, until_empty: bool = False) -> None:
        """Do parts until told to stop by SIGTERM or SIGINT, or until none is left.

        Raises
        ------
        UnavailableError
            If the connection to the database was lost: the library's worker ends then as if it had been told to.
        """
        try:
            is_as_told = asyncio.run(self._work_on(name, until_empty))
        except procrastinate.exceptions.ConnectorException as error:
            raise UnavailableError(LOST) from error
        if not is_as_told:
            raise UnavailableError(LOST)

    async def _work_on(self, name: str, until_empty: bool) -> bool:
        """Return whether the end was asked for."""
        async with self._app.open_async():
            worker = asyncio.create_task(
                self._app.run_worker_async(
                    queues=[QUEUE],
                    name=name,
                    concurrency=1,
                    wait=not until_empty,
                    delete_jobs="successful",
                    fetch_job_polling_interval=2.0,
                    update_heartbeat_interval=self._silence_seconds / HEARTBEATS,
                    stalled_worker_timeout=self._silence_seconds,
                    shutdown_graceful_timeout=GRACE_SECONDS,
                    install_signal_handlers=False,
                )
            )
            for number in (signal.SIGTERM, signal.SIGINT):
                asyncio.get_running_loop().add_signal_handler(number, worker.cancel)
            try:
                await worker
            except asyncio.CancelledError:
                return True
            return until_empty

    def _do(self, **packed: Any) -> int:
        if self._work is None:
            message = "this queue only takes parts in"
            raise RuntimeError(message)
        chunk = _unpacked(packed)
        try:
            n_compartments = self._work(chunk)
        except Exception:
            log.exception("chunk_failed", **packed)
            raise
        log.info("chunk_done", n_compartments=n_compartments, **packed)
        return n_compartments

    async def _rescue(self, timestamp: int) -> None:
        """Give back what dead workers held."""
        manager = self._app.job_manager
        for job in await manager.get_stalled_jobs(queue=QUEUE, seconds_since_heartbeat=self._silence_seconds):
            await manager.retry_job(job)
            log.warning("chunk_taken_over", job=job.id, task=job.task_name, at=timestamp)


def driver_address(database_url: str) -> str:
    """Write the address as the driver wants it: its own reader takes fewer passwords than the store's."""
    url = make_url(database_url)
    _, parts = url.get_dialect()().create_connect_args(url)
    return make_conninfo("", **parts)


def _packed(chunk: Chunk) -> dict[str, Any]:
    return {
        **chunk.part._asdict(),
        "since": chunk.since.isoformat(),
        "as_of": chunk.as_of.isoformat(),
    }


def _unpacked(packed: dict[str, Any]) -> Chunk:
    part = VehicleRange(*(int(packed[name]) for name in VehicleRange._fields))
    since, as_of = (datetime.fromisoformat(packed[name]) for name in ("since", "as_of"))
    return Chunk(part=part, since=since, as_of=as_of)
