"""Many rows at once, below the object layer, at the speed at which the database's driver takes them."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Final

from sqlalchemy import Connection, Table
from sqlmodel import Session

COPY_FROM_ROWS: Final = 200
"""On PostgreSQL this many rows are worth a stream of their own."""


def insert_rows(session: Session, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Store rows that all have the same keys, and every column that must not be null."""
    if not rows:
        return
    connection = session.connection()
    names = list(rows[0])
    values = _columns(connection, table, names, rows)
    write_tuples(connection, table.name, names, zip(*values, strict=True), len(rows))


def write_tuples(
    connection: Connection, table: str, names: Sequence[str], rows: Iterator[tuple[Any, ...]], n_rows: int
) -> None:
    """Write values as the driver takes them; names of table and columns are our own."""
    listed = ", ".join(names)
    if connection.dialect.name == "postgresql" and n_rows >= COPY_FROM_ROWS:
        with connection.connection.cursor().copy(f"COPY {table} ({listed}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        return
    mark = "?" if connection.dialect.name == "sqlite" else "%s"
    marks = ", ".join([mark] * len(names))
    connection.exec_driver_sql(f"INSERT INTO {table} ({listed}) VALUES ({marks})", list(rows))  # noqa: S608


def _columns(
    connection: Connection, table: Table, names: Sequence[str], rows: Sequence[Mapping[str, Any]]
) -> Iterator[list[Any]]:
    """Turn each column into what the driver takes, as the column's type says."""
    dialect = connection.dialect
    for name in names:
        process: Callable[[Any], Any] | None = (
            table.c[name].type.dialect_impl(dialect).bind_processor(dialect)
        )
        values = [row[name] for row in rows]
        yield values if process is None else [process(value) for value in values]
