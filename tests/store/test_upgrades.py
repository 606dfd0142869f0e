"""Every earlier schema comes up to the present one with its data, also when it is killed on the way.

Data are put in through the tables as they were at each revision. A revision of this test's own, which no release has,
stands for the next one: it makes a table anew, changes every reading and adds a table. The oracle is what the tables
held before: all of it must be there afterwards. SQLite's trap is known: with foreign keys on, dropping a table deletes
what refers to it (sqlite.org/foreignkeys.html, section 5), so making `vehicle` anew would delete all readings.
"""

import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from alembic import command
from alembic.script import ScriptDirectory
from sqlalchemy import MetaData, Table, create_engine, insert, select, text
from typer.testing import CliRunner

from service.cli.app import app
from service.errors import ConflictError
from service.store import schema
from service.store.session import Database
from service.store.tables.all import metadata
from service.store.types import is_partition
from tests.store.conftest import ODD_TEXTS
from tests.store.upgrading import START_FAST, upgrade_with

ROOT = Path(__file__).resolve().parents[2]
REVISIONS = [script.revision for script in ScriptDirectory(str(schema.MIGRATIONS)).walk_revisions()][::-1]
N_KILLS = int(os.environ.get("FAULT_KILLS", "10"))
STEPS = (1, 2, 3, 4)
NEXT = '''"""A schema after the newest, for this test only."""

import time
from pathlib import Path

import sqlalchemy as sa
from alembic import op

revision = "next"
down_revision = {newest!r}
branch_labels = None
depends_on = None


def step(number):
    """Tell how far it is, and wait for its end where that is wanted."""
    told = Path({told!r})
    told.write_text(str(number))
    while told.with_suffix(f".{{number}}").exists():
        time.sleep(0.01)


def upgrade():
    step(1)
    recreate = "always" if op.get_bind().dialect.name == "sqlite" else "auto"
    with op.batch_alter_table("vehicle", recreate=recreate) as batch:
        batch.add_column(sa.Column("colour", sa.String(20), nullable=False, server_default="unknown"))
    step(2)
    op.execute("UPDATE reading SET odometer_km = odometer_km + 0")
    step(3)
    op.create_table("later", sa.Column("vehicle_id", sa.Integer, primary_key=True), sa.Column("name", sa.String(40)))
    op.execute("INSERT INTO later SELECT id, reference FROM vehicle")
    step(4)
'''
Rows = dict[str, list[dict[str, Any]]]


def tables_of(database: Database) -> MetaData:
    """Tables as they are in the database, not as this program knows them."""
    found = MetaData()
    found.reflect(database.engine, only=lambda name, _: not is_partition(name))
    return found


def content(database: Database) -> Rows:
    """Every row of every table, by its key."""
    rows: Rows = {}
    with database.engine.connect() as connection:
        for table in tables_of(database).sorted_tables:
            if table.name != "alembic_version":
                query = select(table).order_by(*table.primary_key.columns)
                rows[table.name] = [dict(row) for row in connection.execute(query).mappings()]
    return rows


def known(rows: Rows, before: Rows) -> Rows:
    """Of all rows, the tables and columns that there were before."""
    columns = {name: set(old[0]) if old else set() for name, old in before.items()}
    return {
        name: [{key: row[key] for key in row.keys() & columns[name]} for row in rows[name]] for name in before
    }


def at_revision(database: Database, revision: str, full_file: Path) -> Rows:
    """Bring an empty database to a revision and fill it with what fits into its tables; gives what it holds then."""
    with (
        database.engine.execution_options(sqlite_begin="IMMEDIATE").connect() as connection,
        connection.begin(),
    ):
        command.upgrade(schema._config(connection), revision)
    then = tables_of(database)
    source = Database(f"sqlite:///{full_file}")
    with source.engine.connect() as reader, database.engine.connect() as writer, writer.begin():
        for now in metadata.sorted_tables:
            table: Table | None = then.tables.get(now.name)
            if table is None:
                continue
            names = [column.name for column in now.columns if column.name in table.c]
            rows = [dict(row) for row in reader.execute(select(*(now.c[name] for name in names))).mappings()]
            if rows:
                writer.execute(insert(table), rows)
    source.close()
    return content(database)


@pytest.fixture
def empty(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """A database without a single table."""
    if request.param == "sqlite":
        database = Database(f"sqlite:///{tmp_path / 'empty.sqlite'}", sqlite_synchronous="NORMAL")
        yield database
        database.close()
        return
    from uuid import uuid4

    from tests.lent_databases import with_database

    server, name = request.getfixturevalue("postgres_url"), f"e{uuid4().hex[:12]}"
    admin = create_engine(server, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    database = Database(with_database(server, name), pool_size=2)
    yield database
    database.close()
    with admin.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    admin.dispose()


BOTH_STORES = pytest.mark.parametrize(
    "empty", ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)], indirect=True
)


def with_next(tmp_path: Path) -> Path:
    """Migrations with one more after the newest."""
    folder = tmp_path / "migrations"
    (folder / "versions").mkdir(parents=True)
    for path in schema.MIGRATIONS.rglob("*.py"):
        (folder / path.relative_to(schema.MIGRATIONS)).write_text(path.read_text(encoding="utf-8"))
    text_of_next = NEXT.format(newest=schema.newest_revision(), told=str(tmp_path / "told"))
    (folder / "versions" / "next.py").write_text(text_of_next, encoding="utf-8")
    return folder


@BOTH_STORES
@pytest.mark.parametrize("revision", REVISIONS)
def test_every_revision_upgrades_with_its_data(empty, revision, full_file, tmp_path, monkeypatch):
    before = at_revision(empty, revision, full_file)
    assert len(before["reading"]) >= 10_000
    assert {row["reference"] for row in before["vehicle"]} >= set(ODD_TEXTS)
    schema.upgrade_schema(empty)
    assert schema.current_revision(empty) == schema.newest_revision()
    assert known(content(empty), before) == before
    monkeypatch.setattr(schema, "MIGRATIONS", with_next(tmp_path))
    schema.upgrade_schema(empty)
    after = content(empty)
    assert known(after, before) == before
    assert {row["colour"] for row in after["vehicle"]} == {"unknown"}
    assert len(after["later"]) == len(before["vehicle"])


def kill_upgrade(folder: Path, url: str, told: Path, last_step: int, rng: np.random.Generator | None) -> None:
    """Kill an upgrade while it waits in a step, or at any moment between its first step and its last."""
    told.unlink(missing_ok=True)
    wait = told.with_suffix(f".{last_step}")
    wait.touch()
    child = START_FAST.Process(target=upgrade_with, args=(folder, url))
    child.start()
    first_step = last_step if rng is None else STEPS[0]
    deadline = time.monotonic() + 60.0
    while not (told.exists() and int(told.read_text() or "0") >= first_step):
        assert child.is_alive()
        assert time.monotonic() < deadline
        time.sleep(0.005)
    time.sleep(0.0 if rng is None else float(rng.uniform(0.0, 0.2)))
    child.kill()
    child.join()
    wait.unlink()


@pytest.mark.slow
@BOTH_STORES
def test_an_upgrade_that_is_killed_can_be_run_again(empty, full_file, tmp_path):
    rng = np.random.default_rng(20260504)
    before = at_revision(empty, REVISIONS[-1], full_file)
    url = empty.engine.url.render_as_string(hide_password=False)
    folder, told = with_next(tmp_path), tmp_path / "told"
    for number in range(N_KILLS):
        in_a_step = number < len(STEPS)
        kill_upgrade(folder, url, told, STEPS[number] if in_a_step else STEPS[-1], None if in_a_step else rng)
        empty.engine.dispose()
        assert schema.current_revision(empty) == REVISIONS[-1], f"kill {number + 1}"
        assert content(empty) == before
    empty.engine.dispose()
    upgrade = START_FAST.Process(target=upgrade_with, args=(folder, url))
    upgrade.start()
    upgrade.join(120.0)
    assert upgrade.exitcode == 0
    after = content(empty)
    assert known(after, before) == before
    assert len(after["later"]) == len(before["vehicle"])


@BOTH_STORES
def test_an_older_program_refuses_a_newer_database(empty, tmp_path, monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", with_next(tmp_path))
        schema.upgrade_schema(empty)
    with pytest.raises(ConflictError, match="does not know"):
        schema.upgrade_schema(empty)
    monkeypatch.setenv("SUMPWISE_DATABASE_URL", empty.engine.url.render_as_string(hide_password=False))
    for arguments, code in (
        (["serve"], 3),
        (["scheduler", "--once"], 3),
        (["migrate"], 1),
        (["migrate", "--check"], 3),
    ):
        assert CliRunner().invoke(app, arguments).exit_code == code, arguments


@BOTH_STORES
def test_the_migrations_make_the_tables_that_the_program_knows(empty):
    """Alembic's own comparison finds no difference."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    schema.upgrade_schema(empty)
    with empty.engine.connect() as connection:
        options = {"include_name": lambda name, kind, _parents: kind != "table" or not is_partition(name)}
        context = MigrationContext.configure(connection, opts=options)
        assert compare_metadata(context, metadata) == []
