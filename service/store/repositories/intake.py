"""New readings in bulk, below the object layer: at the speed at which the database takes them."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any, Final, NamedTuple

from sqlmodel import Session

from service.store.bulk import insert_tuples
from service.store.instants import sqlite_instant
from service.store.tables.all import metadata


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


_TAKEN: Final = NewRow._fields.index("taken_at")
_RECEIVED: Final = NewRow._fields.index("received_at")


def insert_readings(session: Session, rows: Sequence[NewRow]) -> None:
    """Store readings."""
    if rows:
        is_sqlite = session.get_bind().dialect.name == "sqlite"
        values = list(_in_sqlite(rows)) if is_sqlite else rows
        insert_tuples(session, metadata.tables["reading"], NewRow._fields, values)


def _in_sqlite(rows: Sequence[NewRow]) -> Iterator[tuple[Any, ...]]:
    """Write the instants as the column type does."""
    received = {at: sqlite_instant(at) for at in {row.received_at for row in rows}}
    for row in rows:
        instants = sqlite_instant(row.taken_at), received[row.received_at]
        yield (*row[:_TAKEN], instants[0], *row[_TAKEN + 1 : _RECEIVED], instants[1], *row[_RECEIVED + 1 :])
