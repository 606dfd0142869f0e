"""What the latest readings of many vehicles say, and from where on they have to be looked at."""

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final

from sqlmodel import Session

from service.store.bulk import fetch_tuples
from service.store.dialects import is_sqlite
from service.store.instants import sqlite_instant

# Columns of every row that is read here; times are days since 1970. What is wanted comes first: a few rows of each
# vehicle by an index.
_QUERY: Final = """
    SELECT reading.id, reading.vehicle_id, {taken}, reading.odometer_km, reading.outcome, reading.reason,
        reading.decided_by, reading.used_km, {received}, reading.source, reading.reference,
        reading.engine_hours, reading.used_hours
    FROM ({wanted}) AS wanted CROSS JOIN reading
    WHERE reading.organisation_id = {mark} AND reading.vehicle_id = wanted.vehicle_id AND {condition}
    ORDER BY reading.vehicle_id, reading.taken_at, reading.id
"""
_ON_SQLITE: Final = {
    "mark": "?",
    "taken": "julianday(reading.taken_at) - 2440587.5",
    "received": "julianday(reading.received_at) - 2440587.5",
    "wanted": "SELECT json_extract(value, '$[0]') AS vehicle_id, json_extract(value, '$[1]') AS lowest,"
    " json_extract(value, '$[2]') AS highest FROM json_each(?)",
}
_ON_POSTGRESQL: Final = {
    "mark": "%s",
    "taken": "date_part('epoch', reading.taken_at) / 86400.0",
    "received": "date_part('epoch', reading.received_at) / 86400.0",
    "wanted": "SELECT * FROM unnest(%s::integer[], %s::{kind}[], %s::{kind}[]) AS w (vehicle_id, lowest, highest)",
}
_BETWEEN: Final = "reading.taken_at >= wanted.lowest AND reading.taken_at <= wanted.highest"
_NAMED: Final = "reading.source = wanted.lowest AND reading.reference = wanted.highest"
_ANY: Final = """
    SELECT key FROM ({wanted}) AS wanted WHERE EXISTS (
        SELECT 1 FROM reading WHERE reading.organisation_id = {mark} AND reading.vehicle_id = wanted.key)
"""
_EVER: Final = datetime(1, 1, 2, tzinfo=UTC), datetime(9999, 12, 30, tzinfo=UTC)


def vehicles_with_readings(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> set[int]:
    """Those of some vehicles of which anything is stored: one look into the index for each."""
    if not vehicle_ids:
        return set()
    if is_sqlite(session):
        statement = _ANY.format(wanted="SELECT value AS key FROM json_each(?)", mark="?")
        return {
            row[0] for row in fetch_tuples(session, statement, (json.dumps(vehicle_ids), organisation_id))
        }
    statement = _ANY.format(wanted="SELECT unnest(%s::integer[]) AS key", mark="%s")
    return {row[0] for row in fetch_tuples(session, statement, (list(vehicle_ids), organisation_id))}


def read_since(session: Session, organisation_id: int, since: Mapping[int, datetime | None]) -> list[Any]:
    """Rows of everything stored of some vehicles from an instant on, or ever, in the order of time."""
    return read_between(
        session, organisation_id, [(key, at or _EVER[0], _EVER[1]) for key, at in since.items()]
    )


def read_between(
    session: Session, organisation_id: int, spans: Sequence[tuple[int, datetime, datetime]]
) -> list[Any]:
    """Rows of vehicles between two instants each."""
    if is_sqlite(session):
        texts = [(key, sqlite_instant(lowest), sqlite_instant(highest)) for key, lowest, highest in spans]
        return _read(session, organisation_id, texts, _BETWEEN, "text")
    return _read(session, organisation_id, spans, _BETWEEN, "timestamptz")


def read_named(session: Session, organisation_id: int, names: Sequence[tuple[int, str, str]]) -> list[Any]:
    """Rows of vehicles with a source and a reference each."""
    return _read(session, organisation_id, names, _NAMED, "text")


def _read(
    session: Session, organisation_id: int, wanted: Sequence[tuple[int, Any, Any]], condition: str, kind: str
) -> list[Any]:
    if not wanted:
        return []
    if is_sqlite(session):
        statement = _QUERY.format(**_ON_SQLITE, condition=condition)
        return fetch_tuples(session, statement, (json.dumps(wanted), organisation_id))
    parts = _ON_POSTGRESQL | {"wanted": _ON_POSTGRESQL["wanted"].format(kind=kind)}
    columns = [list(column) for column in zip(*wanted, strict=True)]
    statement = _QUERY.format(**parts, condition=condition)
    return fetch_tuples(session, statement, (*columns, organisation_id))
