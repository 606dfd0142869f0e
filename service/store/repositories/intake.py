"""New readings, below the object layer: at the speed at which the database takes them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.store.bulk import insert_tuples, listed
from service.store.instants import aware_instants, sqlite_instant, sqlite_instants
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


_UNDECIDED: Final = NewRow._fields[:-1]


def insert_readings(session: Session, rows: Sequence[NewRow]) -> None:
    """Store a few readings."""
    values: Sequence[tuple[Any, ...]] = rows
    if session.get_bind().dialect.name == "sqlite":
        values = [
            row._replace(
                taken_at=sqlite_instant(row.taken_at),  # type: ignore[arg-type]
                received_at=sqlite_instant(row.received_at),  # type: ignore[arg-type]
            )
            for row in rows
        ]
    insert_tuples(session, metadata.tables["reading"], NewRow._fields, values)


def insert_reading_columns(
    session: Session, organisation_id: int, received_at: datetime, columns: NewColumns
) -> None:
    """Store many readings, on which nobody has decided yet."""
    n_rows = columns.vehicle_id.size
    is_sqlite = session.get_bind().dialect.name == "sqlite"
    write = sqlite_instants if is_sqlite else aware_instants
    received: Any = sqlite_instant(received_at) if is_sqlite else received_at
    ready: dict[str, Sequence[Any]] = {
        "organisation_id": [organisation_id] * n_rows,
        "taken_at": write(columns.taken_at),
        "received_at": [received] * n_rows,
    }
    values = {name: ready[name] if name in ready else listed(getattr(columns, name)) for name in _UNDECIDED}
    # What nobody gave is null by itself, and a third of the columns usually is.
    said = [name for name in _UNDECIDED if any(value is not None for value in values[name])]
    rows = list(zip(*(values[name] for name in said), strict=True))
    insert_tuples(session, metadata.tables["reading"], said, rows)
