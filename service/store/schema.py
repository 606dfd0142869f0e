"""Bring a database to the present schema, or say how far behind it is."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

from service.errors import ConflictError
from service.store.session import Database, as_service_errors

MIGRATIONS: Final = Path(__file__).parent / "migrations"


def _config(connection: Connection | None = None) -> Config:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["connection"] = connection
    return config


def newest_revision() -> str:
    """Revision that this program works with."""
    revision = ScriptDirectory.from_config(_config()).get_current_head()
    assert revision is not None  # noqa: S101 - there is at least one migration
    return revision


def current_revision(database: Database) -> str | None:
    """Revision that the database is at; none if it is empty."""
    with as_service_errors(), database.engine.connect() as connection:
        # It asks with a table made for the occasion: kept, its statement would push others out of the cache.
        unkept = connection.execution_options(compiled_cache=None)
        return MigrationContext.configure(unkept).get_current_revision()


def upgrade_schema(database: Database) -> None:
    """Apply what is missing, in one transaction; killed half-way, it leaves the database as it was.

    Raises
    ------
    ConflictError
        If the database was written by a newer program, or cannot hold every text.
    UnavailableError
        If the database is away, busy or damaged.
    """
    engine = database.engine.execution_options(sqlite_begin="IMMEDIATE")
    with as_service_errors(), engine.connect() as connection, _unguarded(connection), connection.begin():
        _require_every_text(connection)
        present = MigrationContext.configure(connection).get_current_revision()
        known = {script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()}
        if present is not None and present not in known:
            raise ConflictError(f"The database is at revision {present}, which this program does not know.")
        command.upgrade(_config(connection), "head")
        if database.is_sqlite and connection.exec_driver_sql("PRAGMA foreign_key_check").first() is not None:
            raise ConflictError("Rows would point nowhere after the upgrade; nothing was changed.")


def _require_every_text(connection: Connection) -> None:
    """Refuse a database of PostgreSQL whose encoding has no place for some characters, or takes any bytes for them."""
    if connection.dialect.name == "sqlite":
        return
    encoding = connection.exec_driver_sql("SHOW server_encoding").scalar_one()
    if encoding != "UTF8":
        raise ConflictError(
            f"The database keeps texts as {encoding}; make one that holds all of them: "
            "CREATE DATABASE … TEMPLATE template0 ENCODING 'UTF8'."
        )


@contextmanager
def _unguarded(connection: Connection) -> Iterator[None]:
    """Switch SQLite's foreign keys off: making a table anew drops it, which would delete whatever refers to its rows.

    Only outside a transaction does SQLite obey, so this goes past the connection's own beginning of one.
    """
    if connection.dialect.name != "sqlite":
        yield
        return
    driver = connection.connection.driver_connection
    assert driver is not None  # noqa: S101 - just connected
    driver.execute("PRAGMA foreign_keys=OFF")
    try:
        yield
    finally:
        driver.execute("PRAGMA foreign_keys=ON")
