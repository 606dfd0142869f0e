"""Which vehicles' stored states no longer rest on everything that is known, and from when on."""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.store.in_lists import cut, written
from service.store.instants import sqlite_instant, sqlite_instants

# Rows that say all of this already are left alone. The columns of the source are key, at and reading_end.
_MARK: Final = """
    INSERT INTO vehicle_usage
        (vehicle_id, organisation_id, n_readings, is_stale, is_fluid_stale, changed_from, reading_end, updated_at)
    SELECT key, {mark}, 0, TRUE, at IS NULL, at, reading_end, {mark} FROM ({source}) AS touched WHERE TRUE
    ON CONFLICT (vehicle_id) DO UPDATE SET
        is_stale = TRUE,
        updated_at = excluded.updated_at,
        is_fluid_stale = vehicle_usage.is_fluid_stale OR excluded.is_fluid_stale,
        changed_from = CASE
            WHEN excluded.changed_from IS NULL OR vehicle_usage.changed_from < excluded.changed_from
            THEN vehicle_usage.changed_from ELSE excluded.changed_from END,
        reading_end = CASE
            WHEN excluded.changed_from IS NULL
            THEN vehicle_usage.reading_end ELSE excluded.reading_end END
    WHERE NOT vehicle_usage.is_stale
        OR (excluded.is_fluid_stale AND NOT vehicle_usage.is_fluid_stale)
        OR vehicle_usage.changed_from > excluded.changed_from
        OR (vehicle_usage.changed_from IS NULL AND excluded.changed_from IS NOT NULL)
        OR (excluded.changed_from IS NOT NULL
            AND (vehicle_usage.reading_end IS NOT NULL OR excluded.reading_end IS NOT NULL))
"""
_ONE: Final = "SELECT ? AS key, ? AS at, NULL AS reading_end"
_MANY: Final = """
    SELECT key, at, NULL::bytea AS reading_end FROM unnest(%b::integer[], %b::timestamptz[]) AS rows (key, at)
"""
# A column comes as one value and is cut up by the database: the driver takes longer over a value than that over a row.
_ENDS_ON_SQLITE: Final = """
    SELECT listed.value AS key, substr(?, listed.key * {end} + 1, {end}) AS reading_end FROM json_each(?) AS listed
"""
_ENDS_AND_TIMES_ON_SQLITE: Final = """
    SELECT listed.value AS key, substr(?, listed.key * {end} + 1, {end}) AS reading_end,
        CAST(substr(?, listed.key * {time} + 1, {time}) AS TEXT) AS at
    FROM json_each(?) AS listed
"""
_ENDS_AND_TIMES_ON_POSTGRESQL: Final = """
    SELECT key, substring(%b FROM (place::integer - 1) * {end} + 1 FOR {end}) AS reading_end,
        timestamptz 'epoch' + at * interval '1 microsecond' AS at
    FROM unnest({times}, {keys}) WITH ORDINALITY AS rows (at, key, place)
"""
# Most vehicles that report are marked from an earlier time on; then no index and no other column is looked at again.
# IS TRUE, so that SQLite goes through the columns once, and not once for every vehicle that its index of them has.
_MOVE_ENDS: Final = """
    UPDATE vehicle_usage SET reading_end = touched.reading_end FROM ({source}) AS touched
    WHERE vehicle_id = touched.key AND is_stale IS TRUE AND changed_from <= {earliest}
"""


def mark_stale(
    session: Session,
    organisation_id: int,
    vehicle_ids: Sequence[int],
    now: datetime,
    changed_from: Mapping[int, datetime] | None = None,
) -> None:
    """Say that what was derived for these vehicles has to be computed again.

    `changed_from` names the time of the earliest reading that is new or judged anew, of each vehicle that has one; the
    fluids of the others have to be followed from their first event.
    """
    if not vehicle_ids:
        return
    session.flush()
    connection = session.connection()
    at = changed_from or {}
    times = [at.get(key) for key in vehicle_ids]
    if connection.dialect.name == "sqlite":
        statement = _MARK.format(mark="?", source=_ONE)
        texts = [None if since is None else sqlite_instant(since) for since in times]
        rows = [(organisation_id, sqlite_instant(now), *row) for row in zip(vehicle_ids, texts, strict=True)]
        connection.exec_driver_sql(statement, rows)
        return
    statement = _MARK.format(mark="%s", source=_MANY)
    connection.exec_driver_sql(statement, (organisation_id, now, list(vehicle_ids), times))


def mark_read(
    session: Session,
    organisation_id: int,
    now: datetime,
    vehicle_ids: NDArray[np.int64],
    changed_from: NDArray[np.datetime64],
    reading_ends: bytes,
) -> None:
    """Say the same of vehicles all of which have new readings, and how the readings of each end now."""
    if not vehicle_ids.size:
        return
    session.flush()
    connection = session.connection()
    keys, end = vehicle_ids.tolist(), len(reading_ends) // vehicle_ids.size
    if connection.dialect.name == "sqlite":
        earliest, listed = sqlite_instants(changed_from.min(keepdims=True))[0], json.dumps(keys)
        move = _MOVE_ENDS.format(source=_ENDS_ON_SQLITE.format(end=end), earliest="?")
        moved = connection.exec_driver_sql(move, (reading_ends, listed, earliest))
        if moved.rowcount < len(keys):
            times = "".join(sqlite_instants(changed_from)).encode()
            source = _ENDS_AND_TIMES_ON_SQLITE.format(end=end, time=len(earliest))
            fixed = organisation_id, sqlite_instant(now)
            connection.exec_driver_sql(
                _MARK.format(mark="?", source=source), (*fixed, reading_ends, times, listed)
            )
        return
    microseconds = changed_from.astype("datetime64[us]").astype(np.int64).tolist()
    source = _ENDS_AND_TIMES_ON_POSTGRESQL.format(end=end, times=cut("bigint"), keys=cut("integer"))
    columns = reading_ends, written(microseconds), written(keys)
    moved = connection.exec_driver_sql(_MOVE_ENDS.format(source=source, earliest="touched.at"), columns)
    if moved.rowcount < len(keys):
        statement = _MARK.format(mark="%s", source=source)
        connection.exec_driver_sql(statement, (organisation_id, now, *columns))
