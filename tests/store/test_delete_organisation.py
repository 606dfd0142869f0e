"""An organisation that leaves is gone whole, and its neighbour keeps every row.

The oracle is the exported text of the neighbour, the same before and after, and counts over every table.
"""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import pytest
from sqlalchemy import func, select, text
from sqlmodel import Session
from typer.testing import CliRunner

from service.cli.app import app
from service.store.session import Database
from service.store.tables.all import metadata
from service.usecases.access.delete_organisation import delete_for_good, delete_organisation
from tests.faults.test_broken_off import wait_until_somebody_waits
from tests.service_fixtures import Operator
from tests.store.test_move_organisation import exported, members, restored
from tests.store.test_renumbering import occupied


def n_rows_of(database: Database, organisation_id: int) -> dict[str, int]:
    """Rows that name the organisation, in every table of the schema."""
    counts = {}
    with database.snapshot() as session:
        for table in metadata.sorted_tables:
            name = "id" if table.name == "organisation" else "organisation_id"
            if name in table.c:
                query = select(func.count()).where(table.c[name] == organisation_id)
                counts[table.name] = session.execute(query).scalar_one()
    return counts


def test_nothing_of_it_is_left_and_its_neighbour_is_as_it_was(full: Database, database: Database):
    occupied(database)
    neighbour = members(exported(database))
    restored(database, exported(full), under_new_ids=True)
    before = n_rows_of(database, 2)
    assert before["reading"] > 10_000
    assert sum(count > 0 for count in before.values()) > 20
    with database.transaction() as session:
        assert delete_organisation(session, 2) == sum(before.values())
    assert set(n_rows_of(database, 2).values()) == {0}
    assert members(exported(database)) == neighbour


def test_the_command_deletes_what_is_named_and_confirmed_only(sqlite_template, tmp_path, monkeypatch):
    monkeypatch.setenv("SUMPWISE_DATABASE_URL", f"sqlite:///{tmp_path}/fleet.sqlite")
    run = CliRunner().invoke
    assert run(app, ["migrate"]).exit_code == 0
    for name in ("Stays", "Leaves"):
        assert run(app, ["organisations", "create", name]).exit_code == 0
        login = f"kim@{name}.example.org"
        assert run(app, ["people", "add", login, "Kim", "--organisation", name]).exit_code == 0
    unconfirmed = run(app, ["organisations", "delete", "Leaves"])
    assert (unconfirmed.exit_code, "--yes" in unconfirmed.output) == (1, True)
    assert run(app, ["organisations", "delete", "Nobody", "--yes"]).exit_code == 1
    assert run(app, ["organisations", "list"]).output.count("\n") == 2
    assert run(app, ["organisations", "delete", "Leaves", "--yes"]).exit_code == 0
    assert run(app, ["organisations", "list"]).output == "Stays\tUTC\n"
    assert run(app, ["people", "list"]).output.count("Kim") == 1


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_whoever_is_at_work_for_it_does_not_keep_it(database: Database, operator: Operator, clock):
    """PostgreSQL, 13.3.4: of two that wait for each other, the one that has waited for a second is broken off."""
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    tries: list[int] = []

    @contextmanager
    def transact() -> Iterator[Session]:
        tries.append(1)
        with database.transaction() as session:
            yield session

    with database.engine.connect() as writer, ThreadPoolExecutor() as pool:
        writer.execute(text("SELECT 1 FROM vehicle FOR UPDATE"))
        deletion = pool.submit(delete_for_good, transact, operator.organisation_id, clock.now())
        wait_until_somebody_waits(database)
        # As any writer does after it locked the vehicle: the new row's foreign key asks for the organisation's.
        writer.execute(text("SELECT 1 FROM organisation FOR KEY SHARE"))
        writer.rollback()
        assert deletion.result(timeout=30.0) > 0
    assert len(tries) == 3
    assert operator.get("/v1/vehicles").status_code == 401


@pytest.mark.parametrize("organisation_id", [7])
def test_deleting_nobody_deletes_nothing(database: Database, organisation_id: int):
    occupied(database)
    before = members(exported(database))
    with database.transaction() as session:
        assert delete_organisation(session, organisation_id) == 0
    assert members(exported(database)) == before
