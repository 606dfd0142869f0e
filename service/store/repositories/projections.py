"""What the projection reads and writes, as columns: a fleet is too large for an object a row."""

import json
from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final, NamedTuple

from sqlalchemy import ColumnElement, Text, cast, func, select, true, update
from sqlmodel import Session, col

from service.store.bulk import Columns, put_columns
from service.store.in_lists import is_one_of
from service.store.tables.projections import CompartmentState, Projection
from service.store.tables.readings import VehicleUsage
from service.store.tables.vehicles import Compartment, Vehicle


class Changed(NamedTuple):
    """What changed of a vehicle since its states were stored; where nothing is stored, its fluids did."""

    is_fluid_stale: bool
    changed_from: datetime | None
    usage_state: bytes
    hours_state: bytes


class StoredUsage(NamedTuple):
    """What is stored of a vehicle's use."""

    usage_state: bytes
    hours_state: bytes
    changed_from: datetime | None = None


COMPARTMENT_COLUMNS: Final = (
    Compartment.id,
    Compartment.vehicle_id,
    Compartment.reference,
    Compartment.kind,
    Compartment.fluid_id,
    Compartment.total_litres,
    Compartment.drainable_litres,
    Compartment.interval_km,
    Compartment.interval_months,
    Compartment.interval_hours,
    Compartment.ageing,
    Compartment.seals,
    Vehicle.vehicle_class,
    Vehicle.duty,
    CompartmentState.as_of_days,
    CompartmentState.odometer_km,
    CompartmentState.engine_hours,
    CompartmentState.volume_15c_litres,
    CompartmentState.life_used,
    CompartmentState.life_used_variance,
    CompartmentState.water_mass_fraction,
    CompartmentState.iron_mg_per_kg,
    CompartmentState.glycol_fraction,
    CompartmentState.is_contaminated,
    CompartmentState.is_sampled,
    CompartmentState.due_on,
    CompartmentState.due_odometer_km,
    CompartmentState.due_engine_hours,
    CompartmentState.return_on,
    CompartmentState.return_odometer_km,
    CompartmentState.return_rounds,
    CompartmentState.fresh_fraction,
)
JSON_COLUMNS: Final = ("ageing", "seals")
ROWS_A_PART: Final = 500


def read_compartments(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int]
) -> dict[str, list[Any]]:
    """Read the compartments of some vehicles with their states, a list a column, vehicles in ascending order."""
    query = (
        select(*(_as_text(column) for column in COMPARTMENT_COLUMNS))
        .join(
            Vehicle,
            (col(Vehicle.organisation_id) == Compartment.organisation_id)
            & (col(Vehicle.id) == Compartment.vehicle_id),
        )
        .join(CompartmentState, col(CompartmentState.compartment_id) == Compartment.id)
        .where(
            col(Compartment.organisation_id) == organisation_id,
            is_one_of(session, col(Compartment.vehicle_id), vehicle_ids),
        )
        .order_by(col(Compartment.vehicle_id), col(Compartment.id))
    )
    found: dict[str, list[Any]] = {str(column.key): [] for column in query.selected_columns}
    # A part at a time: a whole fleet's rows at once would set the collector to work on all objects there are.
    for rows in session.connection().execute(query).partitions(ROWS_A_PART):
        for values, part in zip(found.values(), zip(*rows, strict=True), strict=True):
            values.extend(part)
    return found | {name: _decoded(found[name]) for name in JSON_COLUMNS}


def _as_text(column: Any) -> Any:
    """Leave the decoding of JSON to `_decoded`."""
    return cast(col(column), Text).label(column.key) if column.key in JSON_COLUMNS else col(column)


def _decoded(texts: Sequence[str]) -> list[Any]:
    """Decode JSON; most compartments say the same, and such share one value that nobody may change."""
    by_text = {text: json.loads(text) for text in set(texts)}
    return [by_text[text] for text in texts]


def read_usage(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> dict[int, StoredUsage]:
    """Read the usage states of some vehicles that rest on all their readings; the others are missing."""
    columns = (col(VehicleUsage.vehicle_id), col(VehicleUsage.usage_state), col(VehicleUsage.hours_state))
    query = select(*columns).where(*_is_current(session, organisation_id, vehicle_ids))
    return {row[0]: StoredUsage(row[1] or b"", row[2] or b"") for row in session.connection().execute(query)}


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
    """Say of some vehicles what changed; those of which nothing did are left out."""
    is_changed = (
        col(VehicleUsage.vehicle_id).is_(None)
        | col(VehicleUsage.is_stale).is_(True)
        | col(VehicleUsage.is_fluid_stale).is_(True)
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


def last_events(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> dict[int, float]:
    """Instant of the last event of any fluid of each vehicle, in days since 1970."""
    query = (
        select(col(CompartmentState.vehicle_id), func.max(col(CompartmentState.as_of_days)))
        .where(
            col(CompartmentState.organisation_id) == organisation_id,
            is_one_of(session, col(CompartmentState.vehicle_id), vehicle_ids),
        )
        .group_by(col(CompartmentState.vehicle_id))
    )
    return {row[0]: row[1] for row in session.connection().execute(query)}


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


def put_usage(session: Session, columns: Columns) -> None:
    """Store the use of these vehicles anew."""
    _put(session, VehicleUsage, ("vehicle_id", "organisation_id"), columns)


def put_states(session: Session, columns: Columns) -> None:
    """Store the states of these compartments anew."""
    _put(session, CompartmentState, ("compartment_id", "organisation_id", "vehicle_id"), columns)


def put_projections(session: Session, columns: Columns) -> None:
    """Store the projections of these compartments anew."""
    _put(session, Projection, ("compartment_id", "organisation_id", "vehicle_id"), columns)


def _put(session: Session, table: Any, fixed: Sequence[str], columns: Columns) -> None:
    """Write below the object layer."""
    session.flush()
    put_columns(session, table.__table__, fixed, columns)
    session.expire_all()
