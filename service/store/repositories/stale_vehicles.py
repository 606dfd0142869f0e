"""Which vehicles' stored states no longer rest on everything that is known, and from when on."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.store.instants import aware_instants, sqlite_instant, sqlite_instants

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
# Most vehicles that report are marked from an earlier time on; then no index and no other column is looked at again.
_MOVE_END_ON_SQLITE: Final = """
    UPDATE vehicle_usage SET reading_end = ? WHERE vehicle_id = ? AND is_stale AND changed_from <= ?
"""
_MOVE_END_ON_POSTGRESQL: Final = """
    UPDATE vehicle_usage SET reading_end = rows.reading_end
    FROM unnest(%b::integer[], %b::timestamptz[], %b::bytea[]) AS rows (key, at, reading_end)
    WHERE vehicle_id = rows.key AND is_stale AND changed_from <= rows.at
"""
_ONE: Final = "SELECT ? AS key, ? AS at, ? AS reading_end"
_MANY: Final = (
    "SELECT * FROM unnest(%b::integer[], %b::timestamptz[], %b::bytea[]) AS rows (key, at, reading_end)"
)


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
    at = changed_from or {}
    times: list[Any] = [at.get(key) for key in vehicle_ids]
    if session.get_bind().dialect.name == "sqlite":
        times = [None if since is None else sqlite_instant(since) for since in times]
    _mark(session, organisation_id, now, vehicle_ids, times, [None] * len(vehicle_ids))


def mark_read(
    session: Session,
    organisation_id: int,
    now: datetime,
    vehicle_ids: Sequence[int],
    changed_from: NDArray[np.datetime64],
    reading_ends: Sequence[bytes | None],
) -> None:
    """Say the same of vehicles all of which have new readings, a column each.

    `reading_ends` says how the readings end now; where it says nothing, the next one is judged by the stored ones.
    """
    if not vehicle_ids:
        return
    session.flush()
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        times: list[Any] = sqlite_instants(changed_from)
        rows = list(zip(reading_ends, vehicle_ids, times, strict=True))
        moved = connection.exec_driver_sql(_MOVE_END_ON_SQLITE, rows)
    else:
        times = aware_instants(changed_from)
        columns = (list(vehicle_ids), times, list(reading_ends))
        moved = connection.exec_driver_sql(_MOVE_END_ON_POSTGRESQL, columns)
    if moved.rowcount < len(vehicle_ids):
        _mark(session, organisation_id, now, vehicle_ids, times, reading_ends)


def _mark(
    session: Session,
    organisation_id: int,
    now: datetime,
    vehicle_ids: Sequence[int],
    times: Sequence[Any],
    ends: Sequence[bytes | None],
) -> None:
    session.flush()
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        statement = _MARK.format(mark="?", source=_ONE)
        fixed = organisation_id, sqlite_instant(now)
        rows = [(*fixed, *row) for row in zip(vehicle_ids, times, ends, strict=True)]
        connection.exec_driver_sql(statement, rows)
        return
    columns = [list(vehicle_ids), list(times), list(ends)]
    connection.exec_driver_sql(_MARK.format(mark="%s", source=_MANY), (organisation_id, now, *columns))
