"""New readings, below the object layer: at the speed at which the database takes them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.store.bulk import insert_columns
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


@dataclass(frozen=True, slots=True, kw_only=True)
class NewColumns:
    """The same of many rows, a column each; NaN is stored as null."""

    vehicle_id: NDArray[np.int64]
    taken_at: NDArray[np.datetime64]
    utc_offset_minutes: NDArray[np.int64]
    odometer: NDArray[np.float64]
    unit: Sequence[str]
    odometer_km: NDArray[np.float64]
    used_km: NDArray[np.float64]
    engine_hours: NDArray[np.float64]
    used_hours: NDArray[np.float64]
    source: Sequence[str]
    reference: Sequence[str | None]
    outcome: Sequence[str]
    reason: Sequence[str | None]


def insert_readings(session: Session, rows: Sequence[NewRow]) -> None:
    """Store a few readings."""
    insert_columns(
        session, metadata.tables["reading"], dict(zip(NewRow._fields, zip(*rows, strict=True), strict=True))
    )


def insert_reading_columns(
    session: Session, organisation_id: int, received_at: datetime, columns: NewColumns
) -> None:
    """Store many readings, on which nobody has decided yet."""
    received = np.datetime64(received_at.astimezone(UTC).replace(tzinfo=None), "us")
    shared = {"organisation_id": organisation_id, "received_at": received}
    values: dict[str, Any] = {name: np.full(columns.vehicle_id.size, one) for name, one in shared.items()}
    values |= {name: getattr(columns, name) for name in NewColumns.__slots__}
    insert_columns(session, metadata.tables["reading"], values)
