"""Which vehicles' stored states no longer rest on everything that is known, and from when on."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final

from sqlmodel import Session

from service.store.instants import sqlite_instant

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
    reading_ends: Mapping[int, bytes] | None = None,
) -> None:
    """Say that what was derived for these vehicles has to be computed again.

    `changed_from` names the time of the earliest reading that is new or judged anew, of each vehicle that has one; the
    fluids of the others have to be followed from their first event. `reading_ends` says how the readings end now; where
    they changed and it says nothing, the next reading is judged by the stored ones.
    """
    if not vehicle_ids:
        return
    session.flush()
    connection = session.connection()
    at, ends = changed_from or {}, reading_ends or {}
    rows: list[tuple[Any, ...]] = [(key, at.get(key), ends.get(key)) for key in vehicle_ids]
    if connection.dialect.name == "sqlite":
        present = sqlite_instant(now)
        connection.exec_driver_sql(
            _MARK.format(mark="?", source=_ONE),
            [
                (organisation_id, present, key, None if since is None else sqlite_instant(since), end)
                for key, since, end in rows
            ],
        )
        return
    columns = [list(column) for column in zip(*rows, strict=True)]
    connection.exec_driver_sql(_MARK.format(mark="%s", source=_MANY), (organisation_id, now, *columns))
