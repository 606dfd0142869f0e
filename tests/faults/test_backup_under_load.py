"""Backups made while readings pour in are whole, hold all that was acknowledged before, and a service starts on them.

The oracle is the senders' book: of every batch it is known whether it had been acknowledged when the backup began.
"""

import os
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from sqlalchemy import create_engine, make_url, text

from deploy.backup import back_up
from deploy.restore import restore
from service.store.session import Database
from service.usecases.readings.import_readings import CHUNK_ROWS
from tests.deploy.test_backup import postgresql_programs
from tests.faults.ingest import Book, Load, differences, n_torn, register_fleet, sender, stored_references
from tests.faults.nodes import Store, serving

N_BACKUPS = int(os.environ.get("FAULT_BACKUPS", "4"))
NOW = datetime(2026, 5, 4, 2, 15, tzinfo=UTC)


@pytest.fixture
def second(store: Store, tmp_path: Path) -> Iterator[Store]:
    """An address of the same kind where nothing is yet."""
    if store.is_sqlite:
        url = f"sqlite:///{tmp_path / 'second.sqlite'}"
        yield Store(url, Database(url), tmp_path)
        return
    name = f"second{uuid4().hex[:8]}"
    admin = create_engine(store.url, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    url = make_url(store.url).set(database=name).render_as_string(hide_password=False)
    database = Database(url)
    yield Store(url, database, tmp_path)
    database.close()
    with admin.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    admin.dispose()


@pytest.mark.slow
def test_every_backup_under_load_is_whole(
    store: Store, second: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, record_property: Any
):
    monkeypatch.setenv("PATH", f"{postgresql_programs()}{os.pathsep}{os.environ['PATH']}")
    organisation_id, secret = store.found()
    book = Book()
    restore_seconds: list[float] = []
    with serving(store) as node:
        register_fleet(node.url, secret)
        with Load(node.url, secret, book, seed=5):
            for number in range(N_BACKUPS):
                n_before = book.n_acknowledged()
                _wait_for_more(book, n_before)
                acknowledged = {
                    key for batch in list(book.batches) if batch.is_stored for key in batch.references
                }
                copy = back_up(store.url, tmp_path / "backups", 2, NOW + timedelta(seconds=number))
                second.database.engine.dispose()
                began = time.monotonic()
                restore(second.url, copy, replace=True)
                restore_seconds.append(time.monotonic() - began)
                assert second.is_sound()
                stored = stored_references(second, organisation_id)
                second.database.engine.dispose()
                found = differences(Book(batches=list(book.batches)), stored, CHUNK_ROWS)
                assert acknowledged - set(stored) == set(), f"backup {number + 1} lacks what was acknowledged"
                assert (found["doubled"], found["phantom"]) == (0, 0)
                assert n_torn(list(book.batches), set(stored), CHUNK_ROWS) == 0, (
                    f"backup {number + 1} holds part of a batch"
                )
    with serving(second) as node, sender(node.url, secret) as client:
        assert client.get("/v1/vehicles", params={"limit": 1}).status_code == 200
        answer = client.get("/v1/due-lists")
        assert answer.status_code == 200, answer.text
    record_property("backups, readings in the last", f"{N_BACKUPS} {len(stored)}")
    record_property("seconds to restore, longest", round(max(restore_seconds), 2))


def _wait_for_more(book: Book, n_before: int) -> None:
    end = time.monotonic() + 60.0
    while book.n_acknowledged() == n_before and time.monotonic() < end:
        time.sleep(0.01)
    assert book.n_acknowledged() > n_before, "the senders were at work"
