"""No room left: writes are refused with a reason, reads go on, and with room all is well again.

SQLite calls this SQLITE_FULL or, where the file system refuses the write, an I/O error (sqlite.org/rescode.html).
"""

import resource
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import event

from service.store.schema import upgrade_schema
from service.store.session import Database
from tests.faults.ingest import Book, register_fleet, sender
from tests.faults.nodes import Store, serving


@pytest.fixture
def full_at() -> dict[str, int]:
    """Pages that the database may have; zero for as many as it likes."""
    return {"pages": 0}


@pytest.fixture
def database(tmp_path: Path, full_at: dict[str, int]) -> Iterator[Database]:
    """SQLite with as many pages as the test allows."""
    database = Database(f"sqlite:///{tmp_path / 'full.sqlite'}", sqlite_synchronous="NORMAL")
    upgrade_schema(database)

    @event.listens_for(database.engine, "begin", insert=True)
    def _limit(connection) -> None:
        connection.connection.execute(f"PRAGMA max_page_count={full_at['pages'] or 1_000_000}")

    yield database
    database.close()


def _rows(first: int) -> dict[str, object]:
    rows = [
        {
            "vehicle": "V",
            "taken_at": f"2026-04-{1 + n // 1440:02d}T{n // 60 % 24:02d}:{n % 60:02d}:00Z",
            "odometer": 5.0,
        }
        for n in range(first, first + 500)
    ]
    return {"readings": rows}


def test_a_full_disk_refuses_writes_and_answers_reads(operator, database, full_at):
    assert operator.post("/v1/vehicles", {"vehicle": "V", "class": "van"}).status_code == 201
    assert operator.post("/v1/readings", _rows(0)).status_code == 200
    with database.engine.connect() as connection:
        full_at["pages"] = int(connection.exec_driver_sql("PRAGMA page_count").scalar_one()) + 1
    refused = operator.post("/v1/readings", _rows(500))
    assert refused.status_code == 503
    assert refused.headers["content-type"] == "application/problem+json"
    assert int(refused.headers["Retry-After"]) >= 60
    assert "full" in refused.json()["detail"]
    assert len(operator.get("/v1/readings?limit=500").json()["readings"]) == 500, "nothing of it was stored"
    full_at["pages"] = 0
    assert operator.post("/v1/readings", _rows(500)).status_code == 200
    with database.engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalar_one() == "ok"


def test_a_file_that_may_not_grow_costs_writes_only(tmp_path: Path):
    """The running server is forbidden to write beyond the present end of its files, then allowed again."""
    database = Database(f"sqlite:///{tmp_path / 'bound.sqlite'}")
    upgrade_schema(database)
    store = Store(database.engine.url.render_as_string(hide_password=False), database, tmp_path)
    _, secret = store.found()
    book = Book()
    rng_batches = [book.new_batch(_rng(), n_rows=800) for _ in range(12)]
    with serving(store) as node, sender(node.url, secret) as client:
        register_fleet(node.url, secret)
        assert rng_batches[0].send(client).status_code == 200
        assert node.process is not None
        soft = max(path.stat().st_size for path in tmp_path.iterdir()) + 4_096
        resource.prlimit(node.process.pid, resource.RLIMIT_FSIZE, (soft, resource.RLIM_INFINITY))
        statuses = [batch.send(client).status_code for batch in rng_batches[1:]]
        assert 503 in statuses
        assert set(statuses) <= {200, 503}
        assert client.get("/v1/readings?limit=500").status_code == 200
        resource.prlimit(
            node.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
        )
        assert {batch.send(client).status_code for batch in rng_batches} == {200}
        node.stop()
    assert store.is_sound()
    n_rows = store.execute("SELECT count(*), count(DISTINCT reference) FROM reading")
    assert n_rows == [(12 * 800, 12 * 800)]
    database.close()


def _rng() -> np.random.Generator:

    return np.random.default_rng(7)
