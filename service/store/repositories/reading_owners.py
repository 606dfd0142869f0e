"""Whose readings a batch brings: vehicles by the names that the sender uses, locked before anything else is read."""

import json
from collections.abc import Sequence
from typing import Any, Final

from sqlmodel import Session

from service.domain.external_ids import IdKind, format_id, parse_id
from service.store.bulk import fetch_tuples

# On PostgreSQL one writer at a time changes what is known of a vehicle, in the order of ids, so that two writers cannot
# wait for each other. On SQLite they queue.
_COLUMNS: Final = "vehicle.reference, vehicle.id, vehicle.odometer_unit, vehicle.vehicle_class"
_ON_SQLITE: Final = """
    SELECT {columns} FROM json_each(?) AS wanted CROSS JOIN vehicle
    WHERE vehicle.organisation_id = ? AND vehicle.{key} = wanted.value AND vehicle.retired_at IS NULL
"""
_ON_POSTGRESQL: Final = """
    SELECT {columns} FROM vehicle
    WHERE vehicle.{key} = ANY (%s::{kind}[]) AND vehicle.organisation_id = %s AND vehicle.retired_at IS NULL
    ORDER BY vehicle.id FOR NO KEY UPDATE
"""


def lock_owners(session: Session, organisation_id: int, names: Sequence[str]) -> list[tuple[Any, ...]]:
    """Rows of name, key, unit and class of the vehicles in use that have these numbers or ids; others are missing."""
    prefix = f"{IdKind.VEHICLE}_"
    numbers = {name: parse_id(IdKind.VEHICLE, name) for name in names if name.startswith(prefix)}
    ids = [number for number in numbers.values() if number is not None]
    rows: list[tuple[Any, ...]] = []
    if ids:
        by_id = _fetch(session, organisation_id, ids, "id", "bigint")
        rows += [(format_id(IdKind.VEHICLE, row[1]), *row[1:]) for row in by_id]
    if len(ids) < len(names):
        # An id cannot be a vehicle's own number, so nothing is found twice.
        rows += _fetch(session, organisation_id, names, "reference", "text")
    return rows


def _fetch(
    session: Session, organisation_id: int, wanted: Sequence[Any], key: str, kind: str
) -> list[tuple[Any, ...]]:
    if session.get_bind().dialect.name == "sqlite":
        statement = _ON_SQLITE.format(columns=_COLUMNS, key=key)
        return fetch_tuples(session, statement, (json.dumps(list(wanted)), organisation_id))
    statement = _ON_POSTGRESQL.format(columns=_COLUMNS, key=key, kind=kind)
    return fetch_tuples(session, statement, (list(wanted), organisation_id))
