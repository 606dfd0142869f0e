"""What a page, a reading or a part of a fleet asks PostgreSQL for is found by an index, among 100,000 readings.

The oracle is the server's own plan (EXPLAIN) of every statement that the service really sends.
"""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import event, text

from service.domain.roles import Scope
from service.store.repositories.contaminated import list_contaminated
from service.store.session import Database
from service.usecases.access.caller import system_caller
from service.usecases.access.manage_tokens import create_token
from service.usecases.due.project_fleet import Chunk, chunks_of, project_chunk
from tests.benchmarks.large_fleet import vehicle_name
from tests.benchmarks.large_store import load_large_fleet
from tests.service_fixtures import START, Operator

N_VEHICLES = 2_000
READINGS_EACH = 50
LARGE = 5_000
"""Rows from which reading a whole table is a fault."""

READINGS = """
INSERT INTO reading (organisation_id, vehicle_id, taken_at, utc_offset_minutes, odometer, unit, odometer_km, used_km,
                     source, reference, outcome, received_at)
SELECT v.organisation_id, v.id, CAST(:now AS timestamptz) - make_interval(days => 7 * g), 0, 90000 - 100 * g, 'km',
       90000 - 100 * g, 90000 - 100 * g, 'test', 'r' || g,
       CASE WHEN g = 50 AND v.id < 20 THEN 'held' ELSE 'accepted' END,
       CAST(:now AS timestamptz)
FROM vehicle v, generate_series(1, :each) g
"""


@pytest.fixture
def large(database: Database) -> Database:
    """A fleet with 100,000 readings, and statistics of it."""
    load_large_fleet(database, N_VEHICLES, 10, START, 480)
    with database.transaction() as session:
        session.execute(text(READINGS), {"now": START, "each": READINGS_EACH})
        for table in ("depot", "vehicle", "compartment"):
            session.execute(text(f"SELECT setval('{table}_id_seq', 1000000)"))
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("ANALYZE"))
    return database


@pytest.fixture
def operator_of(large: Database, client):
    """Speak for an organisation that is there."""

    def make(organisation_id: int) -> Operator:
        with large.transaction() as session:
            caller = system_caller(organisation_id, "test")
            _, secret = create_token(session, caller, START, "test", list(Scope))
        return Operator(organisation_id, secret, client)

    return make


class Watch:
    """Explains every statement that is sent while it looks."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.sent: list[tuple[str, Any]] = []

    def __enter__(self) -> "Watch":
        event.listen(self.database.engine, "before_cursor_execute", self._note)
        return self

    def __exit__(self, *_: object) -> None:
        event.remove(self.database.engine, "before_cursor_execute", self._note)

    def _note(self, _connection, _cursor, statement, parameters, _context, executemany) -> None:
        # What is staged for a transaction is gone when it is explained, and is read whole by design.
        is_staged = "FROM staged" in statement
        if not is_staged and statement.lstrip().upper().startswith(("SELECT", "UPDATE", "DELETE", "WITH")):
            self.sent.append((statement, parameters[0] if executemany else parameters))

    def whole_tables_read(self) -> set[str]:
        """Large tables that a plan reads from end to end, each with the statement."""
        found = set()
        with self.database.engine.connect() as connection:
            rows = connection.execute(text("SELECT relname, reltuples FROM pg_class WHERE relkind = 'r'"))
            sizes = {row[0]: row[1] for row in rows}
            for statement, parameters in self.sent:
                plan = connection.exec_driver_sql(
                    f"EXPLAIN (FORMAT JSON) {statement}", parameters
                ).scalar_one()
                for node in nodes(plan[0]["Plan"]):
                    if node["Node Type"] == "Seq Scan" and sizes.get(node["Relation Name"], 0) >= LARGE:
                        found.add(f"{node['Relation Name']}: {' '.join(statement.split())[:300]}")
        return found


def nodes(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """A plan's steps."""
    yield plan
    for child in plan.get("Plans", []):
        yield from nodes(child)


ONLY_POSTGRES = pytest.mark.parametrize(
    "database", [pytest.param("postgres", marks=pytest.mark.postgres)], indirect=True
)


@ONLY_POSTGRES
def test_no_request_about_a_vehicle_or_a_page_reads_a_large_table_whole(large: Database, clock, operator_of):
    operator = operator_of(1)
    name = vehicle_name(1_000)
    rows = [
        {"vehicle": vehicle_name(place), "taken_at": START.isoformat(), "odometer": 90_100}
        for place in range(20)
    ]
    with Watch(large) as watch:
        for path in (
            "/v1/vehicles?limit=50",
            f"/v1/vehicles/{name}",
            f"/v1/vehicles/{name}/compartments",
            f"/v1/vehicles/{name}/projection",
            f"/v1/readings?vehicle={name}&limit=100",
            "/v1/readings?limit=100",
            "/v1/readings?outcome=held&limit=50",
            f"/v1/services?vehicle={name}",
        ):
            answer = operator.get(path)
            assert answer.status_code == 200, (path, answer.text)
        answer = operator.post("/v1/readings", {"readings": rows})
        assert answer.json()["accepted"] == len(rows), answer.text
    assert len(watch.sent) > 30
    assert watch.whole_tables_read() == set()


def test_contaminated_fluids_are_found_without_a_look_at_the_others(database: Database):
    """They are asked for at every look at a list; hardly any fluid is one of them."""
    with Watch(database) as watch, database.snapshot() as session:
        assert list_contaminated(session, 1) == []
    [(statement, parameters)] = watch.sent
    with database.engine.connect() as connection:
        if not database.is_sqlite:  # of an empty table it would read all
            connection.exec_driver_sql("SET enable_seqscan = off")
        kind = "EXPLAIN QUERY PLAN" if database.is_sqlite else "EXPLAIN"
        plan = str(connection.exec_driver_sql(f"{kind} {statement}", parameters).all())
    assert "ix_compartment_state_contaminated" in plan


@ONLY_POSTGRES
def test_a_part_of_a_fleet_is_read_and_written_by_its_keys(large: Database):
    with large.snapshot() as session:
        parts = chunks_of(session, 1, START, START)
    assert len(parts) == 4
    chunk: Chunk = parts[1]
    with Watch(large) as watch, large.transaction() as session:
        assert project_chunk(session, chunk) == 3 * 500
    # A quarter of the fleet's own tables may be read either way; its readings may not.
    assert {line for line in watch.whole_tables_read() if line.startswith("reading")} == set()


@ONLY_POSTGRES
def test_readings_are_cut_by_organisation_and_only_one_part_is_looked_into(large: Database):
    with large.engine.connect() as connection:
        parts = connection.execute(
            text("SELECT count(*) FROM pg_inherits WHERE inhparent = 'reading'::regclass")
        )
        assert parts.scalar_one() == 16
        query = "SELECT * FROM reading WHERE organisation_id = 1 AND vehicle_id = 7 ORDER BY taken_at"
        plan = json.dumps(connection.execute(text(f"EXPLAIN (FORMAT JSON) {query}")).scalar_one())
    assert plan.count('"Relation Name"') == 1
