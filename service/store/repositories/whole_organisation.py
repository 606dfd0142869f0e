"""Everything that one organisation owns, table by table, as plain values that JSON can hold."""

import base64
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import Any, Final, cast

from sqlalchemy import CursorResult, Date, LargeBinary, Table, delete, func, insert, select, text, update
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col

from service.errors import ConflictError
from service.store.dialects import is_sqlite
from service.store.tables.access import PageSession, Token
from service.store.tables.all import metadata
from service.store.tables.machine_sources import MachineSource
from service.store.tables.organisation import Organisation
from service.store.types import UtcDateTime

NOT_MOVED: Final = frozenset({"page_session", "sign_in_code"})
"""Signed-in browsers and unused links stay behind: people sign in again."""

ROWS_A_TURN: Final = 5_000

Row = dict[str, Any]


def owned_tables() -> list[Table]:
    """Tables of what moves with an organisation, those that others refer to first."""
    return [table for table in tables_with_an_owner() if table.name not in NOT_MOVED]


def tables_with_an_owner() -> list[Table]:
    """Tables whose rows belong to organisations, those that others refer to first."""
    return [
        table
        for table in metadata.sorted_tables
        if table.name == "organisation" or "organisation_id" in table.c
    ]


def owner_column(table: Table) -> str:
    """Name of the column that says whose a row is."""
    return "id" if table.name == "organisation" else "organisation_id"


def read_rows(session: Session, table: Table, organisation_id: int) -> Iterator[Row]:
    """Rows of one table by their key, a few at a time."""
    query = (
        select(table)
        .where(table.c[owner_column(table)] == organisation_id)
        .order_by(*table.primary_key.columns)
    )
    for row in session.connection().execute(query, execution_options={"yield_per": ROWS_A_TURN}):
        yield {name: _plain(value) for name, value in row._mapping.items()}  # noqa: SLF001 -- its public name


def write_rows(session: Session, table: Table, rows: Sequence[Row], way_out: str) -> None:
    """Insert rows with the keys that they have; `way_out` ends the sentence that refuses what clashes.

    Raises
    ------
    ConflictError
        If a key, or something that has to be unique, is taken.
    """
    readers = {column.name: _reader(column.type) for column in table.columns}
    values = [{name: readers[name](value) for name, value in row.items()} for row in rows]
    try:
        session.connection().execute(insert(table), values)
    except IntegrityError as error:
        raise ConflictError(
            f"What the file holds for {table.name} clashes with what is in the database{way_out}"
        ) from error


def shut_out(session: Session, organisation_id: int, now: datetime) -> None:
    """End every token, session and machine source of it: who has none begins no call that writes for it."""
    for table, ending in ((Token, "revoked_at"), (PageSession, "expires_at"), (MachineSource, "ended_at")):
        session.execute(
            update(table).where(col(table.organisation_id) == organisation_id).values({ending: now})
        )


def lock(session: Session, organisation_id: int) -> None:
    """Keep everybody from adding rows that belong to it; on PostgreSQL its many rows may then take their time."""
    session.get(Organisation, organisation_id, with_for_update=True)
    if not is_sqlite(session):
        session.execute(text("SET LOCAL statement_timeout = 0"))


def delete_rows(session: Session, table: Table, organisation_id: int) -> int:
    """Delete the rows of one table that belong to it, and say how many there were."""
    mine = table.c[owner_column(table)] == organisation_id
    return cast("CursorResult[Any]", session.execute(delete(table).where(mine))).rowcount


def go_on_counting(session: Session, table: Table) -> None:
    """Let new keys begin after those that were inserted; SQLite does so by itself."""
    if is_sqlite(session) or "id" not in table.primary_key.columns:
        return
    highest = select(func.coalesce(func.max(table.c.id), 0) + 1).scalar_subquery()
    sequence = func.pg_get_serial_sequence(table.name, "id")
    session.execute(select(func.setval(sequence, highest, text("false"))))


def _plain(value: Any) -> Any:
    if isinstance(value, datetime | date):
        return value.isoformat()
    return base64.b64encode(value).decode() if isinstance(value, bytes) else value


def _reader(kind: Any) -> Any:
    if isinstance(kind, UtcDateTime):
        return _optional(datetime.fromisoformat)
    if isinstance(kind, Date):
        return _optional(date.fromisoformat)
    return _optional(base64.b64decode) if isinstance(kind, LargeBinary) else _as_it_is


def _optional(read: Any) -> Any:
    return lambda value: None if value is None else read(value)


def _as_it_is(value: Any) -> Any:
    return value
