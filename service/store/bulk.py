"""Many rows at once, below the object layer, at the speed at which the database's driver takes them.

Columns are lists, or arrays whose NaN and NaT are stored as null.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import chain
from math import isnan
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Executable, Table
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from service.store.binary_rows import binary_rows
from service.store.instants import aware_instants, sqlite_instants
from service.store.packed_rows import packed_inserts

COPY_FROM_ROWS: Final = 200
"""On PostgreSQL this many rows are worth a stream of their own."""

ROWS_A_PART: Final = 500

BINARY_OPTION: Final = "binary_rows"
"""Of a statement whose rows are wanted in binary."""

_POSTGRESQL_NAMES: Final = {
    "BIGINT": "int8",
    "BOOLEAN": "bool",
    "BYTEA": "bytea",
    "DATE": "date",
    "FLOAT": "float8",
    "INTEGER": "int4",
    "JSON": "json",
    "TIMESTAMP WITH TIME ZONE": "timestamptz",
}
"""What the driver calls a column's type; all others are texts."""

Columns = Mapping[str, Sequence[Any] | NDArray[Any]]


def insert_columns(session: Session, table: Table, columns: Columns) -> None:
    """Store new rows, a column each."""
    connection = session.connection()
    n_rows = len(next(iter(columns.values())))
    if n_rows == 0:
        return
    if connection.dialect.name == "sqlite":
        ready = dict(zip(columns, _driver_columns(connection, table, columns), strict=True))
        for statement, values in packed_inserts(table.name, ready):
            connection.exec_driver_sql(statement, values)
    elif n_rows >= COPY_FROM_ROWS:
        _copy_columns(connection, table, table.name, columns)
    else:
        rows = zip(*_driver_columns(connection, table, columns), strict=True)
        connection.exec_driver_sql(_insert(connection, table, list(columns)), list(rows))


def listed(values: Sequence[Any] | NDArray[Any]) -> Sequence[Any]:
    """Give a column as a list, NaN as null."""
    if not isinstance(values, np.ndarray):
        return values
    every: list[Any] = values.tolist()
    if values.dtype.kind == "f":
        is_missing = np.isnan(values)
        if is_missing.all():
            return [None] * values.size
        if is_missing.any():
            return [None if isnan(one) else one for one in every]
    return every


def rows_as_bytes(table: NDArray[Any]) -> NDArray[np.void]:
    """Give a table as a column, the numbers of each row as they lie in memory."""
    rows = np.ascontiguousarray(table)
    return rows.view(np.dtype((np.void, rows.shape[1] * rows.itemsize)))[:, 0]


def put_columns(
    session: Session, table: Table, fixed: Sequence[str], columns: Columns, same: Mapping[str, Any]
) -> None:
    """Overwrite the rows that are there and add those that are missing.

    The first name in `fixed` is the key; the others never change either, so that nothing that points at them and no
    index on them is looked at again. `same` holds what all rows say.
    """
    connection = session.connection()
    n_rows = len(columns[fixed[0]])
    shared = {name: _driver_values(connection, table, name, [value])[0] for name, value in same.items()}
    if connection.dialect.name == "postgresql" and n_rows >= COPY_FROM_ROWS:
        _put_staged(connection, table, fixed, columns, shared)
    elif n_rows:
        own = dict(zip(columns, _driver_columns(connection, table, columns), strict=True))
        _put_each(connection, table, fixed, {**own, **{name: [one] * n_rows for name, one in shared.items()}})


def fetch_tuples(session: Session, statement: str, values: tuple[Any, ...]) -> list[tuple[Any, ...]]:
    """Read rows as the driver gives them; from PostgreSQL in binary, which costs half of texts."""
    session.flush()
    connection = session.connection()
    result = connection.exec_driver_sql(statement, values, {BINARY_OPTION: True})
    cursor: Any = result.cursor
    with _as_database_error(connection, statement):
        rows: list[tuple[Any, ...]] = cursor.fetchall()
    result.close()
    return rows


def fetch_numbers(session: Session, statement: str, values: tuple[Any, ...]) -> NDArray[np.float64]:
    """Read rows of numbers a part at a time: as objects all at once they would take several times the room."""
    session.flush()
    connection = session.connection()
    result = connection.exec_driver_sql(statement, values, {BINARY_OPTION: True})
    cursor: Any = result.cursor
    n_columns = len(cursor.description)
    parts = iter(lambda: cursor.fetchmany(ROWS_A_PART), [])
    with _as_database_error(connection, statement):
        numbers = np.fromiter(chain.from_iterable(chain.from_iterable(parts)), np.float64)
    result.close()
    return numbers.reshape(-1, n_columns)


def fetch_parts(session: Session, query: Executable) -> Iterator[list[tuple[Any, ...]]]:
    """Read a query's rows as the driver gives them, a part at a time.

    A whole fleet's rows at once would set the collector to work on all objects there are.
    """
    session.flush()
    connection = session.connection()
    result = connection.execute(query, execution_options={BINARY_OPTION: True})
    cursor: Any = result.cursor
    with _as_database_error(connection, str(result.context.statement)):
        while rows := cursor.fetchmany(ROWS_A_PART):
            yield rows
    result.close()


def _put_each(
    connection: Connection, table: Table, fixed: Sequence[str], values: Mapping[str, Sequence[Any]]
) -> None:
    mark, key = _mark(connection), fixed[0]
    changing = [name for name in values if name not in fixed]
    changes = ", ".join(f"{name} = {mark}" for name in changing)
    update = f"UPDATE {table.name} SET {changes} WHERE {key} = {mark}"  # noqa: S608
    cursor: Any = connection.connection.cursor()
    with _as_database_error(connection, update):
        # Row after row, as the driver takes them: a list of them all would be made and thrown away.
        cursor.executemany(update, zip(*(values[name] for name in (*changing, key)), strict=True))
    if cursor.rowcount < len(values[key]):
        insert = f"{_insert(connection, table, list(values))} ON CONFLICT ({key}) DO NOTHING"
        connection.exec_driver_sql(insert, list(zip(*values.values(), strict=True)))


def _put_staged(
    connection: Connection, table: Table, fixed: Sequence[str], columns: Columns, shared: Mapping[str, Any]
) -> None:
    """Send the rows into a table of their own and take them over from there."""
    key = fixed[0]
    changing = {name: values for name, values in columns.items() if name == key or name not in fixed}
    marked = {name: value for name, value in shared.items() if name not in fixed}
    changes = [f"{name} = staged.{name}" for name in changing if name != key]
    changes += [f"{name} = %s" for name in marked]
    with _staged(connection, table, changing):
        updated = connection.exec_driver_sql(
            f"UPDATE {table.name} SET {', '.join(changes)} FROM staged WHERE {table.name}.{key} = staged.{key}",  # noqa: S608
            tuple(marked.values()),
        )
    if updated.rowcount < len(columns[key]):
        with _staged(connection, table, columns):
            connection.exec_driver_sql(
                f"INSERT INTO {table.name} ({', '.join([*columns, *shared])})"  # noqa: S608
                f" SELECT {', '.join([*columns, *['%s'] * len(shared)])} FROM staged ON CONFLICT ({key}) DO NOTHING",
                tuple(shared.values()),
            )


@contextmanager
def _staged(connection: Connection, table: Table, columns: Columns) -> Iterator[None]:
    """Hold columns in a table `staged` of this transaction's own."""
    connection.exec_driver_sql(
        f"CREATE TEMP TABLE staged ON COMMIT DROP AS SELECT {', '.join(columns)} FROM {table.name} WITH NO DATA"  # noqa: S608
    )
    _copy_columns(connection, table, "staged", columns)
    yield
    connection.exec_driver_sql("DROP TABLE staged")


def _copy_columns(connection: Connection, table: Table, target: str, columns: Columns) -> None:
    """Stream rows in the driver's binary form, which costs a fraction of the one in texts."""
    typed = {name: _type_name(connection, table, name) for name in columns}
    statement = f"COPY {target} ({', '.join(columns)}) FROM STDIN (FORMAT BINARY)"
    with _as_database_error(connection, statement), connection.connection.cursor().copy(statement) as copy:
        if all(typed[name] == "text" or isinstance(column, np.ndarray) for name, column in columns.items()):
            for part in binary_rows([(typed[name], column) for name, column in columns.items()]):
                copy.write(part)
            return
        copy.set_types(list(typed.values()))
        values = [_driver_values(connection, table, name, column) for name, column in columns.items()]
        for row in zip(*values, strict=True):
            copy.write_row(row)


def _type_name(connection: Connection, table: Table, name: str) -> str:
    """What the driver calls the type of a column."""
    return _POSTGRESQL_NAMES.get(str(table.c[name].type.compile(connection.dialect)), "text")


@contextmanager
def _as_database_error(connection: Connection, statement: str) -> Iterator[None]:
    """Raise what the library above the driver would have raised."""
    driver: Any = connection.dialect.loaded_dbapi
    try:
        yield
    except driver.Error as error:
        raise DBAPIError.instance(statement, None, error, driver.Error, dialect=connection.dialect) from error


def _insert(connection: Connection, table: Table, names: Sequence[str]) -> str:
    marks = ", ".join([_mark(connection)] * len(names))
    return f"INSERT INTO {table.name} ({', '.join(names)}) VALUES ({marks})"  # noqa: S608


def _mark(connection: Connection) -> str:
    return "?" if connection.dialect.name == "sqlite" else "%s"


def _driver_columns(connection: Connection, table: Table, columns: Columns) -> list[Sequence[Any]]:
    """Turn each column into what the driver takes."""
    return [_driver_values(connection, table, name, values) for name, values in columns.items()]


def _driver_values(
    connection: Connection, table: Table, name: str, values: Sequence[Any] | NDArray[Any]
) -> Sequence[Any]:
    dialect = connection.dialect
    if not isinstance(values, np.ndarray):
        process = table.c[name].type.dialect_impl(dialect).bind_processor(dialect)
        return values if process is None else [process(value) for value in values]
    if dialect.name == "sqlite" and values.dtype.kind in _ON_SQLITE:
        return _ON_SQLITE[values.dtype.kind](values)
    return aware_instants(values) if values.dtype == "datetime64[us]" else listed(values)


def _sqlite_texts(values: NDArray[Any]) -> list[str | None]:
    """Write dates or instants as SQLite keeps them; a column has far fewer than it has rows."""
    distinct, place = np.unique(values, return_inverse=True)
    is_instant = values.dtype == "datetime64[us]"
    texts = np.array(
        sqlite_instants(distinct) if is_instant else np.datetime_as_string(distinct), dtype=object
    )
    texts[np.isnat(distinct)] = None
    every: list[str | None] = texts[place].tolist()
    return every


def _sqlite_bytes(values: NDArray[np.void]) -> list[bytearray]:
    """Write byte strings as SQLite's driver takes them at once: with `bytes` it looks for an adapter each time."""
    width, written = values.dtype.itemsize, bytearray(values.tobytes())
    return [written[start : start + width] for start in range(0, len(written), width)]


_ON_SQLITE: Final[Mapping[str, Callable[[NDArray[Any]], Sequence[Any]]]] = {
    "M": _sqlite_texts,
    "V": _sqlite_bytes,
}
"""By the kind of an array's values."""
