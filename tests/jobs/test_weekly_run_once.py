"""Exactly one list an organisation and week, however many nodes run at the same moment."""

import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from threading import Barrier

import pytest
from sqlalchemy import text
from sqlmodel import select

from service.domain.weeks import IsoWeek
from service.errors import UnavailableError
from service.jobs.weekly_run import run_weekly
from service.store.session import Database
from service.store.tables.access import AuditEntry
from service.store.tables.due_lists import DueList, DueListLine
from service.store.tables.operations import JobFailure, JobRun
from service.usecases.access.caller import system_caller
from service.usecases.week.publish_due_list import JOB, draft_list, publish_list
from tests.jobs.vans import add_due_van

FRIDAY = datetime(2026, 5, 1, 6, 0, tzinfo=UTC)
N_NODES = 3


@pytest.fixture
def nodes(database):
    """Each node has its own connections to the same database, as separate processes would."""
    url = database.engine.url.render_as_string(hide_password=False)
    nodes = [Database(url, pool_size=2) for _ in range(N_NODES)]
    yield nodes
    for node in nodes:
        node.close()


def run_at_once(nodes: list[Database], now: datetime) -> list[int]:
    """Let all nodes begin together; how many lists each published."""
    barrier = Barrier(len(nodes))

    def run(number: int) -> int:
        barrier.wait()
        return run_weekly(nodes[number], now, f"node-{number}")

    with ThreadPoolExecutor(len(nodes)) as pool:
        return list(pool.map(run, range(len(nodes))))


def everything(database: Database, table: type) -> list:
    with database.snapshot() as session:
        return list(session.exec(select(table)))


def test_three_nodes_at_once_publish_every_list_once(join, database, nodes, clock):
    clock.present = FRIDAY
    operators = [join(f"Invented Operator {number}") for number in range(3)]
    for operator in operators:
        for number in range(4):
            add_due_van(operator, f"VAN-{number}", "2026-05-06")
    assert sum(run_at_once(nodes, FRIDAY)) == 3
    assert sum(run_at_once(nodes, FRIDAY)) == 0
    assert Counter(row.organisation_id for row in everything(database, DueList)) == {
        operator.organisation_id: 1 for operator in operators
    }
    lines = [(row.organisation_id, row.compartment_id) for row in everything(database, DueListLine)]
    assert len(lines) == len(set(lines)) == 12
    published = [row for row in everything(database, AuditEntry) if row.action == "published"]
    assert (len(published), len(everything(database, JobRun))) == (3, 3)
    assert everything(database, JobFailure) == []


def test_weeks_that_were_missed_are_caught_up_once_by_three_nodes_at_once(operator, database, nodes, clock):
    clock.present = FRIDAY
    add_due_van(operator, "VAN-1", "2026-05-06")
    assert run_weekly(database, FRIDAY, "node") == 1
    assert sum(run_at_once(nodes, FRIDAY + timedelta(weeks=3))) == 3
    weeks = sorted(row.iso_week for row in everything(database, DueList))
    assert weeks == ["2026-W19", "2026-W20", "2026-W21", "2026-W22"]
    changes = {(row.due_list_id, row.change) for row in everything(database, DueListLine)}
    assert Counter(change for _, change in changes) == {"new": 1, "carried_over": 3}
    assert everything(database, JobFailure) == []


@pytest.mark.parametrize("database", [pytest.param("postgres", marks=pytest.mark.postgres)], indirect=True)
def test_a_node_that_stands_still_in_the_middle_loses_its_turn(join, database, nodes, clock):
    """Stopped by its machine or cut off with its claim made: others do without it, and what it writes is refused."""
    clock.present = FRIDAY
    held, free = join("Held"), join("Free")
    for operator in (held, free):
        add_due_van(operator, "VAN-1", "2026-05-06")
    week, caller = IsoWeek(2026, 19), system_caller(held.organisation_id, JOB)
    hasty = Database(database.engine.url.render_as_string(hide_password=False), timeout_seconds=0.2)

    def stand_still() -> None:
        with nodes[0].snapshot() as session:
            draft = draft_list(session, held.organisation_id, week, FRIDAY)
        with nodes[0].transaction() as session:
            session.execute(text("SET LOCAL idle_in_transaction_session_timeout = '1500ms'"))
            assert publish_list(session, caller, week, FRIDAY, FRIDAY, "still", draft) is not None
            assert run_weekly(hasty, FRIDAY, "hasty") == 1
            assert [row.organisation_id for row in everything(database, DueList)] == [free.organisation_id]
            deadline = time.monotonic() + 20.0
            while run_weekly(hasty, FRIDAY, "hasty") == 0:
                assert time.monotonic() < deadline
                time.sleep(0.1)

    with pytest.raises(UnavailableError):
        stand_still()
    hasty.close()
    lists = [row.organisation_id for row in everything(database, DueList)]
    assert sorted(lists) == sorted([held.organisation_id, free.organisation_id])
    assert [row.node for row in everything(database, JobRun)] == ["hasty", "hasty"]


@pytest.mark.parametrize("database", [pytest.param("postgres", marks=pytest.mark.postgres)], indirect=True)
def test_nobody_stands_still_for_ever(database):
    with database.snapshot() as session:
        assert session.execute(text("SHOW idle_in_transaction_session_timeout")).scalar_one() == "10min"
