"""Whose readings a batch brings: vehicles by the names that the sender uses, locked before anything else is read."""

import json
from collections.abc import Sequence
from typing import Any, Final

from sqlmodel import Session

from service.domain.external_ids import IdKind, parse_id
from service.store.bulk import fetch_tuples

# Columns: place in the list of names, key, unit of the odometer, class. On PostgreSQL one writer at a time changes what
# is known of a vehicle, in the order of ids, so that two writers cannot wait for each other. On SQLite they queue.
_ON_SQLITE: Final = """
    SELECT wanted.key, vehicle.id, vehicle.odometer_unit, vehicle.vehicle_class
    FROM json_each(?) AS wanted CROSS JOIN vehicle
    WHERE vehicle.organisation_id = ? AND vehicle.{column} = wanted.value AND vehicle.retired_at IS NULL
"""
_ON_POSTGRESQL: Final = """
    SELECT wanted.place - 1, vehicle.id, vehicle.odometer_unit, vehicle.vehicle_class
    FROM unnest(%s::{kind}[]) WITH ORDINALITY AS wanted (name, place)
    JOIN vehicle ON vehicle.{column} = wanted.name
    WHERE vehicle.organisation_id = %s AND vehicle.retired_at IS NULL
    ORDER BY vehicle.id FOR NO KEY UPDATE OF vehicle
"""


def lock_owners(session: Session, organisation_id: int, names: Sequence[str]) -> list[tuple[Any, ...]]:
    """Rows of place, key, unit and class of the vehicles in use that have these numbers or ids; others are missing."""
    prefix = f"{IdKind.VEHICLE}_"
    numbers = {
        place: parse_id(IdKind.VEHICLE, name) for place, name in enumerate(names) if name.startswith(prefix)
    }
    ids = {place: number for place, number in numbers.items() if number is not None}
    rows: list[tuple[Any, ...]] = []
    if ids:
        places = list(ids)
        by_id = _fetch(session, organisation_id, list(ids.values()), "id", "bigint")
        rows += [(places[row[0]], *row[1:]) for row in by_id]
    if len(ids) < len(names):
        # An id cannot be a vehicle's own number, so nothing is found twice.
        rows += _fetch(session, organisation_id, names, "reference", "text")
    return rows


def _fetch(
    session: Session, organisation_id: int, wanted: Sequence[Any], column: str, kind: str
) -> list[tuple[Any, ...]]:
    if session.get_bind().dialect.name == "sqlite":
        statement = _ON_SQLITE.format(column=column)
        return fetch_tuples(session, statement, (json.dumps(list(wanted)), organisation_id))
    statement = _ON_POSTGRESQL.format(column=column, kind=kind)
    return fetch_tuples(session, statement, (list(wanted), organisation_id))
