"""Accepted readings of many vehicles as arrays: hundreds of thousands of numbers at once."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.store.bulk import fetch_numbers
from service.store.dialects import is_sqlite

# Times as days since 1970, computed where the data are: parsing a million times in Python takes seconds.
# IS TRUE keeps the index of outcomes out: with old statistics it was taken, and every accepted reading looked at.
_QUERY: Final = """
    SELECT reading.vehicle_id, {days},
        COALESCE(reading.used_km, {none}), COALESCE(reading.used_hours, {none})
    FROM reading {join}
    WHERE reading.organisation_id = {mark} AND reading.vehicle_id {among}
        AND (reading.outcome = 'accepted') IS TRUE {since}
    ORDER BY reading.vehicle_id, reading.taken_at, reading.id
"""
_ON_SQLITE: Final = {
    "mark": "?",
    "none": "9e999",
    "days": "julianday(reading.taken_at) - 2440587.5",
    "among": "IN (SELECT value FROM json_each(?))",
}
_ON_POSTGRESQL: Final = {
    "mark": "%s",
    "none": "'Infinity'::float8",
    "days": "date_part('epoch', reading.taken_at) / 86400.0",
    "among": "= ANY (%s)",
}
_CHANGED: Final = {
    "join": "JOIN vehicle_usage ON vehicle_usage.vehicle_id = reading.vehicle_id",
    "since": "AND reading.taken_at >= vehicle_usage.changed_from",
}
_ALL: Final = {"join": "", "since": ""}


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterHistory:
    """Accepted values of one meter of many vehicles, one vehicle after the other in the order asked for.

    `time_days` counts from 1970-01-01 UTC; `offsets` says where each vehicle's values begin.
    """

    time_days: NDArray[np.float64]
    value: NDArray[np.float64]
    offsets: NDArray[np.int64]


def meter_histories(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], *, only_changed: bool = False
) -> tuple[MeterHistory, MeterHistory]:
    """Odometers in kilometres and hour meters, one stretch of each for each vehicle, in the order asked for.

    With `only_changed`, only those from the earliest on that came or changed since the vehicle's states were stored.
    """
    table = _read(session, organisation_id, vehicle_ids, only_changed=only_changed)
    wanted = np.array(vehicle_ids, dtype=np.int64)
    by_id = np.argsort(wanted)
    place = by_id[np.searchsorted(wanted, table[:, 0], sorter=by_id)] if table.size else np.zeros(0, np.int64)
    if bool(np.any(np.diff(place) < 0)):
        order = np.argsort(place, kind="stable")
        table, place = table[order], place[order]
    return _history(table, place, wanted.size, 2), _history(table, place, wanted.size, 3)


def _history(
    table: NDArray[np.float64], place: NDArray[np.int64], n_vehicles: int, column: int
) -> MeterHistory:
    is_known = np.isfinite(table[:, column])
    counts = np.bincount(place[is_known], minlength=n_vehicles)
    return MeterHistory(
        time_days=table[is_known, 1],
        value=table[is_known, column],
        offsets=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
    )


def _read(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], *, only_changed: bool
) -> NDArray[np.float64]:
    """Rows of vehicle, days, km and hours, infinite where there is none, by vehicle and time."""
    part = _CHANGED if only_changed else _ALL
    listed: Any = json.dumps(list(vehicle_ids)) if is_sqlite(session) else list(vehicle_ids)
    statement = _QUERY.format(**(_ON_SQLITE if is_sqlite(session) else _ON_POSTGRESQL), **part)
    return fetch_numbers(session, statement, (organisation_id, listed))
