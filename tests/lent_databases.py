"""Databases of one PostgreSQL server, lent to one test after another.

To copy a template means several hundred files and keeps a processor busy for a tenth of a second, to empty a database
that a test has used a hundredth: nine in ten tests touch a dozen of its tables, with a few rows each.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final
from uuid import uuid4

from sqlalchemy import Connection, Engine, create_engine, make_url, text

LARGEST_TABLE_BYTES: Final = 2**20
"""Deleted rows stay until they are vacuumed, and are read over; a database with more is made anew."""

TERMINATE = text(
    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
    " WHERE datname = current_database() AND pid <> pg_backend_pid()"
)
MAKE_UP = text(
    "SELECT (SELECT count(*) FROM pg_class), (SELECT count(*) FROM pg_attribute), (SELECT count(*) FROM pg_proc),"
    " (SELECT count(*) FROM pg_trigger), (SELECT count(*) FROM pg_constraint),"
    " (SELECT count(*) FROM pg_db_role_setting JOIN pg_database ON setdatabase = pg_database.oid"
    "  WHERE datname = current_database()), (SELECT string_agg(version_num, ' ') FROM alembic_version)"
)
USED_TABLES = text(
    "SELECT format('DELETE FROM %s', oid::regclass), pg_relation_size(oid) FROM pg_class"
    " WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace AND relname <> 'alembic_version'"
    " AND pg_relation_size(oid) > 0"
)
SEQUENCES = text(
    "SELECT format('SELECT setval(%L, 1, false)', format('%I.%I', schemaname, sequencename)) FROM pg_sequences"
    " WHERE schemaname = 'public'"
)
"""All of them: of one that was set but not used yet, as a restoration leaves it, the view shows no last value."""


def with_database(url: str, name: str) -> str:
    """Give the address of another database of the same server."""
    return make_url(url).set(database=name).render_as_string(hide_password=False)


class Lender:
    """Lends databases that are empty and have the schema of a template; for a superuser of the server."""

    def __init__(self, server: str, template: str) -> None:
        self._server = server
        self._template = template
        self._free: list[str] = []
        self._make_up: Any = None

    @contextmanager
    def lent(self) -> Iterator[str]:
        """Lend a database, give its address, and take it back."""
        name = self._free.pop() if self._free else self._make()
        yield with_database(self._server, name)
        if self._empty(name):
            self._free.append(name)
        else:
            self._drop(name)

    def close(self) -> None:
        """Leave nothing on a server that is not ours alone."""
        for name in self._free:
            self._drop(name)

    def _make(self) -> str:
        name = f"t{uuid4().hex[:12]}"
        with self._connected() as connection:
            connection.execute(text(f"CREATE DATABASE {name} TEMPLATE {self._template}"))
        if self._make_up is None:
            with self._connected(name) as connection:
                self._make_up = connection.execute(MAKE_UP).one()
        return name

    def _drop(self, name: str) -> None:
        with self._connected() as connection:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))

    def _empty(self, name: str) -> bool:
        """Empty a database; false if that is more work than another, or would not make it what it was."""
        with self._connected(name) as connection:
            connection.execute(TERMINATE)
            tables = connection.execute(USED_TABLES).all()
            if any(size > LARGEST_TABLE_BYTES for _, size in tables):
                return False
            if connection.execute(MAKE_UP).one() != self._make_up:
                return False
            steps = ["SET session_replication_role = replica"]  # no trigger, and no key looks for its rows
            steps += [deletion for deletion, _ in tables]
            steps += connection.execute(SEQUENCES).scalars()
            connection.exec_driver_sql("; ".join(steps))
        return True

    @contextmanager
    def _connected(self, name: str | None = None) -> Iterator[Connection]:
        url = self._server if name is None else with_database(self._server, name)
        engine: Engine = create_engine(url, isolation_level="AUTOCOMMIT")
        try:
            with engine.connect() as connection:
                yield connection
        finally:
            engine.dispose()
