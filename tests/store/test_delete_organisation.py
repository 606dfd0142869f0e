"""An organisation that leaves is gone whole, and its neighbour keeps every row.

The oracle is the exported text of the neighbour, the same before and after, and counts over every table.
"""

import pytest
from sqlalchemy import func, select
from typer.testing import CliRunner

from service.cli.app import app
from service.store.session import Database
from service.store.tables.all import metadata
from service.usecases.access.delete_organisation import delete_organisation
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


@pytest.mark.parametrize("organisation_id", [7])
def test_deleting_nobody_deletes_nothing(database: Database, organisation_id: int):
    occupied(database)
    before = members(exported(database))
    with database.transaction() as session:
        assert delete_organisation(session, organisation_id) == 0
    assert members(exported(database)) == before
