"""What the projection reads and writes, as columns: a fleet is too large for an object a row."""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from itertools import chain
from typing import Any, Final, NamedTuple

import numpy as np
from sqlalchemy import JSON, Boolean, ColumnElement, Date, Text, cast, func, select, true, update
from sqlalchemy.types import TypeEngine
from sqlmodel import Session, col

from service.store.bulk import ROWS_A_PART, Columns, fetch_parts, put_columns
from service.store.dialects import is_sqlite
from service.store.in_lists import is_one_of
from service.store.records import FLUID, as_bytes, fluid_records
from service.store.tables.projections import CompartmentState, Projection
from service.store.tables.readings import VehicleUsage
from service.store.tables.vehicles import Compartment, Vehicle


class Changed(NamedTuple):
    """What changed under a vehicle's fluids since their states were stored; where nothing is stored, all did."""

    is_fluid_stale: bool
    changed_from: datetime | None
    usage_state: bytes
    hours_state: bytes


class StoredUsage(NamedTuple):
    """What is stored of a vehicle's use."""

    usage_state: bytes
    hours_state: bytes
    changed_from: datetime | None = None


PROJECTED_COLUMNS: Final = (
    Compartment.id,
    Compartment.vehicle_id,
    Compartment.kind,
    Compartment.total_litres,
    Compartment.drainable_litres,
    Compartment.ageing,
    Vehicle.vehicle_class,
    Vehicle.duty,
    CompartmentState.fluid,
    CompartmentState.is_contaminated,
    CompartmentState.due_on,
    CompartmentState.due_odometer_km,
    CompartmentState.due_engine_hours,
    CompartmentState.return_rounds,
)
"""What a projection and the next exchange are computed from."""

PLANNED_COLUMNS: Final[tuple[Any, ...]] = (
    *PROJECTED_COLUMNS,
    Compartment.fluid_id,
    Compartment.interval_km,
    Compartment.interval_months,
    Compartment.interval_hours,
)
"""Also what a visit costs, and how long it lasts."""

COMPARTMENT_COLUMNS: Final = (
    *PLANNED_COLUMNS,
    Compartment.reference,
    Compartment.seals,
    CompartmentState.is_sampled,
    CompartmentState.is_history_known,
    CompartmentState.return_on,
    CompartmentState.return_odometer_km,
    CompartmentState.fresh_fraction,
)
"""Also what is told of a compartment."""

DECODERS: Final[Mapping[type[TypeEngine[Any]], Callable[[Any], Any]]] = {
    JSON: json.loads,
    Date: lambda value: value if isinstance(value, date) else date.fromisoformat(value),
    Boolean: bool,
}
"""Of values that not every driver gives as they are meant."""


def read_compartments(
    session: Session,
    organisation_id: int,
    vehicle_ids: Sequence[int],
    wanted: Sequence[Any] = COMPARTMENT_COLUMNS,
) -> dict[str, Any]:
    """Read the compartments of some vehicles with their states as columns, vehicles in ascending order."""
    return _columns(wanted, _row_parts(session, organisation_id, vehicle_ids, wanted))


def read_compartment_rows(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], wanted: Sequence[Any]
) -> list[tuple[Any, ...]]:
    """Read the same as rows, their values as the driver gives them."""
    return list(chain.from_iterable(_row_parts(session, organisation_id, vehicle_ids, wanted)))


def compartment_columns(wanted: Sequence[Any], rows: Sequence[tuple[Any, ...]]) -> dict[str, Any]:
    """Turn such rows into columns."""
    # A part at a time: to turn all of them at once takes longer than the processor's cache is large.
    return _columns(wanted, (rows[start : start + ROWS_A_PART] for start in range(0, len(rows), ROWS_A_PART)))


def _row_parts(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], wanted: Sequence[Any]
) -> Iterator[list[tuple[Any, ...]]]:
    state = CompartmentState
    # The driver of PostgreSQL would decode every value by itself; SQLite keeps texts anyway.
    is_decoded = not is_sqlite(session)
    query = (
        select(*(cast(col(one), Text) if is_decoded and _type(one) is JSON else col(one) for one in wanted))
        .select_from(Vehicle)
        .join(
            state,
            (col(state.organisation_id) == Vehicle.organisation_id) & (col(state.vehicle_id) == Vehicle.id),
        )
        .join(Compartment, col(Compartment.id) == state.compartment_id)
        # PostgreSQL begins with what is asked for: with vehicles, of which there are fewest.
        .where(
            col(Vehicle.organisation_id) == organisation_id,
            is_one_of(session, col(Vehicle.id), vehicle_ids),
        )
        # The states' index on vehicles has this order, so that SQLite need not sort whole rows.
        .order_by(col(state.vehicle_id), col(state.compartment_id))
    )
    return fetch_parts(session, query)


def _columns(wanted: Sequence[Any], parts: Iterable[Sequence[tuple[Any, ...]]]) -> dict[str, Any]:
    """Lists by column, what records hold as arrays by its own names, NaN for null."""
    lists: list[list[Any]] = [[] for _ in wanted]
    for rows in parts:
        for values, part in zip(lists, zip(*rows, strict=True), strict=True):
            values.extend(part)
    columns: dict[str, Any] = {}
    for one, values in zip(wanted, lists, strict=True):
        if one is CompartmentState.fluid:
            fluid = np.frombuffer(b"".join(values), FLUID)
            columns |= {name: fluid[name].copy() for name in FLUID.names or ()}  # others write into them
        else:
            columns[one.key] = _decoded(_type(one), values)
    return columns


def _type(column: Any) -> type[TypeEngine[Any]]:
    return type(column.type)


def _decoded(kind: type[TypeEngine[Any]], values: list[Any]) -> list[Any]:
    """Decode a column; most compartments say the same, and such share one value that nobody may change."""
    if kind not in DECODERS:
        return values
    by_value = {one: None if one is None else DECODERS[kind](one) for one in set(values)}
    return [by_value[one] for one in values]


def read_usage(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> dict[int, StoredUsage]:
    """Read the usage states of some vehicles that rest on all their readings, by key; the others are missing."""
    columns = (col(VehicleUsage.vehicle_id), col(VehicleUsage.usage_state), col(VehicleUsage.hours_state))
    query = select(*columns).where(*_is_current(session, organisation_id, vehicle_ids))
    parts = fetch_parts(session, query.order_by(col(VehicleUsage.vehicle_id)))
    return {key: StoredUsage(usage, hours) for rows in parts for key, usage, hours in rows}


def read_earlier_usage(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int]
) -> dict[int, StoredUsage]:
    """Read the usage states of some vehicles, also where readings came or changed since."""
    query = select(
        col(VehicleUsage.vehicle_id),
        col(VehicleUsage.usage_state),
        col(VehicleUsage.hours_state),
        col(VehicleUsage.changed_from),
    ).where(
        col(VehicleUsage.organisation_id) == organisation_id,
        is_one_of(session, col(VehicleUsage.vehicle_id), vehicle_ids),
        col(VehicleUsage.usage_state).is_not(None),
        col(VehicleUsage.hours_state).is_not(None),
    )
    return {
        row[0]: StoredUsage(row[1] or b"", row[2] or b"", row[3])
        for row in session.connection().execute(query)
    }


def read_changed(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> dict[int, Changed]:
    """Say of some vehicles what changed; those are left out whose use alone is to be estimated anew."""
    is_changed = (
        col(VehicleUsage.vehicle_id).is_(None)
        | col(VehicleUsage.is_fluid_stale).is_(True)
        | (col(VehicleUsage.is_stale).is_(True) & col(VehicleUsage.changed_from).is_not(None))
    )
    query = (
        select(
            col(Vehicle.id),
            func.coalesce(col(VehicleUsage.is_fluid_stale), true()),
            col(VehicleUsage.changed_from),
            col(VehicleUsage.usage_state),
            col(VehicleUsage.hours_state),
        )
        .outerjoin(VehicleUsage, col(VehicleUsage.vehicle_id) == Vehicle.id)
        .where(
            col(Vehicle.organisation_id) == organisation_id,
            is_one_of(session, col(Vehicle.id), vehicle_ids),
            is_changed,
        )
    )
    return {
        row[0] or 0: Changed(row[1], row[2], row[3] or b"", row[4] or b"")
        for row in session.connection().execute(query)
    }


def last_events(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], start_days: float
) -> dict[int, float]:
    """Days since 1970 of the last event of any fluid of each vehicle; its start, if it is that, takes some days."""
    state = CompartmentState
    query = select(col(state.vehicle_id), col(state.n_events), col(state.fluid)).where(
        col(CompartmentState.organisation_id) == organisation_id,
        is_one_of(session, col(CompartmentState.vehicle_id), vehicle_ids),
    )
    latest: dict[int, float] = {}
    for key, n_events, fluid in session.connection().execute(query):
        at_days = float(np.frombuffer(fluid, FLUID)["as_of_days"][0]) + (0.0 if n_events else start_days)
        latest[key] = max(at_days, latest.get(key, at_days))
    return latest


def current_vehicles(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> set[int]:
    """Those of some vehicles whose stored states rest on all their readings."""
    query = select(col(VehicleUsage.vehicle_id)).where(*_is_current(session, organisation_id, vehicle_ids))
    return set(session.connection().execute(query).scalars())


def _is_current(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int]
) -> tuple[ColumnElement[bool], ...]:
    return (
        col(VehicleUsage.organisation_id) == organisation_id,
        is_one_of(session, col(VehicleUsage.vehicle_id), vehicle_ids),
        col(VehicleUsage.is_stale).is_(False),
        col(VehicleUsage.usage_state).is_not(None),
        col(VehicleUsage.hours_state).is_not(None),
    )


def list_stale_vehicles(session: Session, organisation_id: int, limit: int) -> list[int]:
    """Vehicles whose readings changed since their states were stored, a limited number."""
    query = (
        select(col(VehicleUsage.vehicle_id))
        .where(col(VehicleUsage.organisation_id) == organisation_id, col(VehicleUsage.is_stale).is_(True))
        .order_by(col(VehicleUsage.vehicle_id))
        .limit(limit)
    )
    return list(session.execute(query).scalars())


def mark_all_stale(session: Session, organisation_id: int) -> None:
    """Say that the use of all vehicles has to be estimated again, from all their readings."""
    session.execute(
        update(VehicleUsage)
        .where(col(VehicleUsage.organisation_id) == organisation_id)
        .values(is_stale=True, usage_state=None, hours_state=None)
    )


def put_usage(session: Session, organisation_id: int, columns: Columns, same: Mapping[str, Any]) -> None:
    """Store the use of these vehicles anew; `same` is what is said of all of them."""
    fixed = "vehicle_id", "organisation_id"
    _put(session, VehicleUsage, fixed, columns, {"organisation_id": organisation_id, **same})


def put_states(session: Session, columns: Columns) -> None:
    """Store the states of these compartments anew; the columns of a record come by their own names."""
    others = {name: values for name, values in columns.items() if name not in (FLUID.names or ())}
    fixed = "compartment_id", "organisation_id", "vehicle_id"
    _put(session, CompartmentState, fixed, {**others, "fluid": as_bytes(fluid_records(columns))}, {})


def put_projections(session: Session, organisation_id: int, as_of: datetime, columns: Columns) -> None:
    """Store the projections of these vehicles anew, all as of one instant."""
    fixed = "vehicle_id", "organisation_id"
    _put(session, Projection, fixed, columns, {"organisation_id": organisation_id, "as_of": as_of})


def _put(
    session: Session, table: Any, fixed: Sequence[str], columns: Columns, same: Mapping[str, Any]
) -> None:
    """Write below the object layer."""
    session.flush()
    put_columns(session, table.__table__, fixed, columns, same)
    session.expire_all()
