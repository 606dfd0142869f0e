"""An answer of success leaves after the disk has what it promises: kills alone cannot show it, a trace can.

A killed program's writes survive in the kernel's memory; only a power cut loses what was not synced. SQLite syncs its
log at each commit with synchronous=FULL and not with NORMAL (sqlite.org/pragma.html#pragma_synchronous); PostgreSQL
flushes its log before a commit returns unless fsync is off (postgresql.org/docs, wal-reliability, wal-configuration).
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy import create_engine, text

from tests.faults.ingest import N_VEHICLES, Book, register_fleet, sender
from tests.faults.nodes import Node, Store, serving
from tests.faults.syscalls import Trace, require_tracer, traced

N_BATCHES = 40
N_SYNCLESS = 6


def _send(node: Node, secret: str, book: Book, n_batches: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    with sender(node.url, secret) as client:
        for number in range(n_batches):
            batch = book.new_batch(rng, n_rows=20, is_csv=number % 4 == 3)
            book.deliver(client, batch)
            assert batch.is_stored, book.statuses


@contextmanager
def _traced_node(
    store: Store, file: Path, others: list[int], **environment: str
) -> Iterator[tuple[Node, Trace]]:
    with serving(store, **environment) as node:
        assert node.process is not None
        with traced(file, [node.process.pid, *others]) as trace:
            yield node, trace


def _sqlite(store: Store, tmp_path: Path) -> tuple[list[bool], list[bool]]:
    """With the default setting, and with one that leaves the syncs out."""
    found = []
    _, secret = store.found()
    book = Book()
    for setting, n_batches in (("FULL", N_BATCHES), ("NORMAL", N_SYNCLESS)):
        environment = {"SQLITE_SYNCHRONOUS": setting} if setting != "FULL" else {}
        with _traced_node(store, tmp_path / setting, [], **environment) as (node, trace):
            if setting == "FULL":
                register_fleet(node.url, secret)
            _send(node, secret, book, n_batches, len(found))
        found.append(trace.answers_without_sync(".sqlite-wal"))
    return found[0], found[1]


def _postgres(store: Store, tmp_path: Path, server_url: str) -> tuple[list[bool], list[bool]]:
    """With a server that syncs as servers do, and with one that does not."""
    _, secret = store.found()
    book = Book()
    admin = create_engine(server_url, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        folder = Path(str(connection.execute(text("SHOW data_directory")).scalar_one()))
        postmaster = int((folder / "postmaster.pid").read_text().split()[0])

        def set_fsync(value: str) -> None:
            connection.execute(text(f"ALTER SYSTEM SET fsync = {value}"))
            connection.execute(text("SELECT pg_reload_conf()"))

        try:
            set_fsync("on")
            with (
                traced(tmp_path / "server", [postmaster]) as server,
                _traced_node(store, tmp_path / "node", []) as (node, trace),
            ):
                register_fleet(node.url, secret)
                _send(node, secret, book, N_BATCHES, 0)
                set_fsync("off")
                _send(node, secret, book, N_SYNCLESS, 1)
        finally:
            set_fsync("off")
    admin.dispose()
    both = tmp_path / "both"
    both.write_text(trace.file.read_text(errors="replace") + server.file.read_text(errors="replace"))
    found = Trace(both).answers_without_sync("/pg_wal/")
    return found[:-N_SYNCLESS], found[-N_SYNCLESS:]


def test_a_sync_ends_before_each_answer_of_success(
    store: Store, tmp_path: Path, request: pytest.FixtureRequest, record_property: Any
):
    require_tracer(tmp_path)
    if not store.is_sqlite and os.environ.get("TEST_DATABASE_URL"):
        pytest.skip("somebody else's server is not traced")
    if store.is_sqlite:
        synced, control = _sqlite(store, tmp_path)
    else:
        synced, control = _postgres(store, tmp_path, request.getfixturevalue("postgres_url"))
    assert len(synced) == N_VEHICLES + N_BATCHES
    assert sum(synced) == 0, f"{sum(synced)} of {len(synced)} answers without a sync"
    assert len(control) == N_SYNCLESS
    assert sum(control) >= N_SYNCLESS - 1, "without syncs the trace has to say so"
    record_property("acknowledged answers, without a sync", f"{len(synced)}, {sum(synced)}")
