"""PostgreSQL breaks a transaction off, and means it: the caller may send the same call again, and it has one effect.

Appendix A of its manual: 40P01 is a deadlock, 40001 a serialization failure. The service locks rows in one order and
asks for no serializable transactions, so that somebody else has to bring either about: a person at the database's
console, or an operator whose server makes every transaction serializable.
"""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import Connection, event, text

from service.store.session import Database
from tests.service_fixtures import Operator

pytestmark = [
    pytest.mark.postgres,
    pytest.mark.parametrize("database", ["postgres"], indirect=True),
    pytest.mark.parametrize("headers", [{}, {"Idempotency-Key": "k1"}], ids=["without a key", "with a key"]),
]
LOCK = text("SELECT 1 FROM vehicle WHERE reference = :name FOR UPDATE")
WAITING = (
    "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock' AND datname = current_database()"
)
READINGS = {
    "readings": [
        {"vehicle": name, "taken_at": "2026-04-01T07:30:00Z", "odometer": 84_000.0}
        for name in ("VAN-1", "VAN-2")
    ]
}


@pytest.fixture
def vans(operator: Operator) -> Operator:
    for name in ("VAN-1", "VAN-2"):
        assert operator.post("/v1/vehicles", {"vehicle": name, "class": "van"}).status_code == 201
    return operator


@pytest.fixture
def states(database: Database) -> list[str]:
    """What the server breaks off, by the codes it gives."""
    found: list[str] = []
    event.listen(
        database.engine, "handle_error", lambda context: found.append(context.original_exception.sqlstate)
    )
    return found


@contextmanager
def beside(call: Callable[[], Any]) -> Iterator[list[Any]]:
    """Make a call while something else happens; what it gave is in the list afterwards."""
    given: list[Any] = []
    thread = threading.Thread(target=lambda: given.append(call()))
    thread.start()
    yield given
    thread.join(30.0)
    assert not thread.is_alive()


def wait_until_somebody_waits(database: Database) -> None:
    for _ in range(400):
        # Not by a snapshot: it would give its connection back with a level of its own in place of the server's.
        with database.engine.connect() as looking:
            if looking.execute(text(WAITING)).scalar_one():
                return
        time.sleep(0.02)
    pytest.fail("nobody waits for a lock")


def set_for_new_connections(database: Database, setting: str) -> None:
    with database.engine.connect() as connection:
        connection.execution_options(isolation_level="AUTOCOMMIT")
        connection.execute(text(f"ALTER DATABASE {database.engine.url.database} SET {setting}"))
    database.engine.dispose()


def assert_was_put_off(answer: Any) -> None:
    assert answer.status_code == 503, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert int(answer.headers["Retry-After"]) > 0


def test_a_deadlock_is_put_off_and_has_one_effect(database, vans, headers, states):
    set_for_new_connections(database, "deadlock_timeout = '2s'")

    def lock(connection: Connection, name: str) -> None:
        connection.execute(LOCK, {"name": name})

    with database.engine.connect() as other:
        other.execute(text("SET deadlock_timeout = '60s'"))  # who waits the shorter time is broken off
        lock(other, "VAN-2")
        with beside(lambda: vans.post("/v1/readings", READINGS, headers=headers)) as given:
            wait_until_somebody_waits(database)
            lock(other, "VAN-1")
        other.rollback()
    assert states == ["40P01"]
    assert_was_put_off(given[0])
    assert vans.get("/v1/readings").json()["readings"] == []
    again = [vans.post("/v1/readings", READINGS, headers=headers) for _ in range(2)]
    assert [answer.status_code for answer in again] == [200, 200]
    assert again[0].json()["accepted"] == 2
    assert len(vans.get("/v1/readings").json()["readings"]) == 2


def test_a_serialization_failure_is_put_off_and_has_one_effect(database, vans, headers, states):
    before = vans.get("/v1/vehicles/VAN-1").json()["version"]
    set_for_new_connections(database, "default_transaction_isolation = 'serializable'")
    with database.engine.connect() as other:
        other.execute(text("UPDATE vehicle SET odometer_unit = 'mi' WHERE reference = 'VAN-1'"))
        with beside(lambda: vans.post("/v1/readings", READINGS, headers=headers)) as given:
            wait_until_somebody_waits(database)
            other.commit()
    assert states == ["40001"]
    assert_was_put_off(given[0])
    again = [vans.post("/v1/readings", READINGS, headers=headers) for _ in range(2)]
    assert [answer.status_code for answer in again] == [200, 200]
    assert again[0].json()["accepted"] == 2
    assert len(vans.get("/v1/readings").json()["readings"]) == 2
    assert vans.get("/v1/vehicles/VAN-1").json()["version"] == before


def test_serializable_transactions_that_cannot_all_be_done_leave_one_vehicle(database, vans, headers):
    """Two who register the same number, each after the other has looked."""
    set_for_new_connections(database, "default_transaction_isolation = 'serializable'")
    calls = [{"vehicle": "VAN-9", "class": "van"}] * 6
    barrier, answers = threading.Barrier(len(calls)), []

    def register(body: dict[str, str]) -> None:
        barrier.wait()
        answers.append(vans.post("/v1/vehicles", body, headers=headers))

    threads = [threading.Thread(target=register, args=(body,)) for body in calls]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60.0)
    statuses = {answer.status_code for answer in answers}
    assert statuses <= {201, 409, 503}
    for answer in answers:
        if answer.status_code == 503:
            assert_was_put_off(answer)
    assert vans.post("/v1/vehicles", calls[0], headers=headers).status_code in {201, 409}
    names = [one["vehicle"] for one in vans.get("/v1/vehicles").json()["vehicles"]]
    assert names.count("VAN-9") == 1
