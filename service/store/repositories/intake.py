"""New readings in bulk, below the object layer: at the speed at which the database takes them."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection
from sqlmodel import Session

from service.store.instants import sqlite_instant

COPY_FROM_ROWS: Final = 200
"""On PostgreSQL this many rows are worth a stream of their own."""


class NewRow(NamedTuple):
    """One row of the table of readings, as it is stored first."""

    organisation_id: int
    vehicle_id: int
    taken_at: datetime
    utc_offset_minutes: int
    odometer: float | None
    unit: str
    odometer_km: float | None
    used_km: float | None
    engine_hours: float | None
    used_hours: float | None
    source: str
    reference: str | None
    outcome: str
    reason: str | None
    received_at: datetime
    decided_by: str | None = None


_COLUMNS: Final = ", ".join(NewRow._fields)
_TAKEN: Final = NewRow._fields.index("taken_at")
_RECEIVED: Final = NewRow._fields.index("received_at")
_INSERT_SQLITE: Final = f"INSERT INTO reading ({_COLUMNS}) VALUES ({', '.join('?' * len(NewRow._fields))})"  # noqa: S608
_INSERT_POSTGRESQL: Final = _INSERT_SQLITE.replace("?", "%s")
_COPY: Final = f"COPY reading ({_COLUMNS}) FROM STDIN"


def insert_readings(session: Session, rows: Sequence[NewRow]) -> None:
    """Store readings."""
    if not rows:
        return
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(_INSERT_SQLITE, list(_in_sqlite(rows)))
    elif len(rows) < COPY_FROM_ROWS:
        connection.exec_driver_sql(_INSERT_POSTGRESQL, list(rows))
    else:
        _copy(connection, rows)


def _in_sqlite(rows: Sequence[NewRow]) -> Iterator[tuple[Any, ...]]:
    """Write the instants as the column type does."""
    received = {at: sqlite_instant(at) for at in {row.received_at for row in rows}}
    for row in rows:
        instants = sqlite_instant(row.taken_at), received[row.received_at]
        yield (*row[:_TAKEN], instants[0], *row[_TAKEN + 1 : _RECEIVED], instants[1], *row[_RECEIVED + 1 :])


def _copy(connection: Connection, rows: Sequence[NewRow]) -> None:
    """Stream rows into PostgreSQL, inside the transaction: about four times as fast as inserting them."""
    with connection.connection.cursor().copy(_COPY) as copy:
        for row in rows:
            copy.write_row(row)
