"""Whose readings a batch brings: vehicles by the names that the sender uses, locked before anything is read of them."""

import json
from collections.abc import Mapping, Sequence
from itertools import chain, compress
from typing import Any, Final, NamedTuple

from sqlmodel import Session

from service.domain.external_ids import IdKind, format_id, parse_id
from service.store.bulk import fetch_tuples
from service.store.dialects import is_sqlite
from service.store.in_lists import cut, written

# On PostgreSQL one writer at a time changes what is known of a vehicle. All are locked by one statement in the order of
# ids, so that two writers cannot wait for each other whatever names they use; what is known is read once the locks are
# held, by a statement of its own, which alone sees what the writer before wrote. On SQLite they queue.
# Days are counted as Python's ordinals are, from 1 January of the year 1, which begins at Julian day 1721425.5.
_ON_SQLITE: Final = """
    SELECT vehicle.reference, vehicle.id, vehicle.odometer_unit, vehicle.vehicle_class,
        CAST(julianday(vehicle.in_service_on) - 1721424.5 AS INTEGER),
        CASE length(vehicle_usage.reading_end) WHEN ?1 THEN vehicle_usage.reading_end ELSE x'' END
    FROM {source} LEFT JOIN vehicle_usage ON vehicle_usage.vehicle_id = vehicle.id
    WHERE vehicle.organisation_id = ?2 AND {condition} AND vehicle.retired_at IS NULL
"""
_FLEET_SIZE: Final = "SELECT count(*) FROM (SELECT 1 FROM vehicle WHERE organisation_id = ? LIMIT ?)"
MANY_NAMES: Final = 1_000
"""From so many names on SQLite reads the whole fleet if it is not twice as large: a third less than one by one."""

_ON_POSTGRESQL: Final = """
    SELECT vehicle.reference, vehicle.id, vehicle.odometer_unit, vehicle.vehicle_class,
        vehicle.in_service_on - DATE '0001-01-01' + 1
    FROM vehicle
    WHERE vehicle.organisation_id = %s AND ({condition}) AND vehicle.retired_at IS NULL
    ORDER BY vehicle.id FOR NO KEY UPDATE
"""
_KINDS: Final = {"id": "bigint", "reference": "text"}
_ENDS_ON_POSTGRESQL: Final = """
    SELECT coalesce(array_agg(vehicle_id), ARRAY[]::integer[]), coalesce(string_agg(reading_end, ''), '')
    FROM vehicle_usage WHERE vehicle_id = ANY ({wanted}) AND organisation_id = %s AND length(reading_end) = %s
"""


class Owners(NamedTuple):
    """Vehicles in use, a column each, and what is kept of the ends of readings of those that have one."""

    names: Sequence[str]
    """As the sender wrote them."""

    keys: Sequence[int]
    units: Sequence[str]
    classes: Sequence[str]
    since: Sequence[int | None]
    """Ordinal of the first day in service; none where nobody said."""

    ended: Sequence[int]
    """Keys of the vehicles that have an end, in any order."""

    ends: bytes
    """One after the other, in the same order."""


def lock_owners(session: Session, organisation_id: int, names: Sequence[str], end_size: int) -> Owners:
    """Find and lock the vehicles that have these numbers or ids; what has not is missing, as are ends of another size.

    Vehicles that nobody asked for may be among them.
    """
    prefix = f"{IdKind.VEHICLE}_"
    numbers = (parse_id(IdKind.VEHICLE, name) for name in names if name.startswith(prefix))
    ids = [number for number in numbers if number is not None]
    wanted: dict[str, Sequence[Any]] = {"id": ids} if ids else {}
    if len(ids) < len(names):
        wanted["reference"] = names
    rows = _fetch(session, organisation_id, wanted, end_size) if names else []
    if ids:
        # An id cannot be a vehicle's own number, so no name stands for two.
        rows += [(format_id(IdKind.VEHICLE, row[1]), *row[1:]) for row in rows]
    columns = list(zip(*rows, strict=True)) or [()] * 6
    if is_sqlite(session):
        ended, ends = list(compress(columns[1], columns[5])), b"".join(columns[5])
    else:
        query = _ENDS_ON_POSTGRESQL.format(wanted=cut("integer"))
        ended, ends = fetch_tuples(session, query, (written(columns[1]), organisation_id, end_size))[0]
    return Owners(columns[0], columns[1], columns[2], columns[3], columns[4], ended, ends)


def _fetch(
    session: Session, organisation_id: int, wanted: Mapping[str, Sequence[Any]], end_size: int
) -> list[tuple[Any, ...]]:
    if is_sqlite(session):
        parts = (_fetch_unlocked(session, organisation_id, *one, end_size) for one in wanted.items())
        return list(chain.from_iterable(parts))
    condition = " OR ".join(f"vehicle.{key} = ANY ({cut(_KINDS[key])})" for key in wanted)
    values = organisation_id, *map(written, wanted.values())
    return fetch_tuples(session, _ON_POSTGRESQL.format(condition=condition), values)


def _fetch_unlocked(
    session: Session, organisation_id: int, key: str, wanted: Sequence[Any], end_size: int
) -> list[tuple[Any, ...]]:
    if len(wanted) >= MANY_NAMES and _is_most_of_fleet(session, organisation_id, len(wanted)):
        statement = _ON_SQLITE.format(source="vehicle", condition="TRUE")
        return fetch_tuples(session, statement, (end_size, organisation_id))
    statement = _ON_SQLITE.format(
        source="json_each(?3) AS wanted CROSS JOIN vehicle", condition=f"vehicle.{key} = wanted.value"
    )
    return fetch_tuples(session, statement, (end_size, organisation_id, json.dumps(wanted)))


def _is_most_of_fleet(session: Session, organisation_id: int, n_names: int) -> bool:
    counted = fetch_tuples(session, _FLEET_SIZE, (organisation_id, 2 * n_names + 1))
    return bool(counted[0][0] <= 2 * n_names)
