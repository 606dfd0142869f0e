"""Readings of vehicles, one by one and in bulk."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Float, cast, func, literal_column, update
from sqlalchemy import select as core_select
from sqlmodel import Session, col, select

from service.domain.external_ids import IdKind
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.store.dialects import is_sqlite
from service.store.in_lists import is_one_of
from service.store.own_rows import get_own
from service.store.tables.readings import Reading, VehicleUsage


def get_reading(session: Session, organisation_id: int, reference: str) -> Reading:
    """Reading by its id.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    return get_own(
        session, Reading, organisation_id, IdKind.READING, reference, "There is no reading with this id."
    )


def list_readings(
    session: Session,
    organisation_id: int,
    *,
    vehicle_id: int | None = None,
    reference: str | None = None,
    outcome: str | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> list[Reading]:
    """Readings in the order they were stored, a page at a time."""
    query = select(Reading).where(Reading.organisation_id == organisation_id, col(Reading.id) > after_id)
    if vehicle_id is not None:
        query = query.where(Reading.vehicle_id == vehicle_id)
    if reference is not None:
        query = query.where(Reading.reference == reference)
    if outcome is not None:
        query = query.where(Reading.outcome == outcome)
    return list(session.exec(query.order_by(col(Reading.id)).limit(limit)))


def days_since_epoch(session: Session, instant: Any) -> ColumnElement[Any]:
    """Days since 1970-01-01 UTC, computed where the data are: parsing a million times in Python takes seconds."""
    if is_sqlite(session):
        return func.julianday(instant) - literal_column("2440587.5")
    return cast(func.extract("epoch", instant), Float) / 86_400.0


def count_readings(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> dict[int, int]:
    """How many readings are stored of each vehicle; those without any are missing."""
    query = (
        core_select(col(Reading.vehicle_id), func.count())
        .where(
            col(Reading.organisation_id) == organisation_id,
            is_one_of(session, col(Reading.vehicle_id), vehicle_ids),
        )
        .group_by(col(Reading.vehicle_id))
    )
    return {row[0]: row[1] for row in session.connection().execute(query)}


def accepted_before(
    session: Session, organisation_id: int, vehicle_id: int, before: datetime, n_back: int
) -> datetime | None:
    """Time of the accepted odometer reading so many places before an instant; none if there are fewer."""
    query = (
        select(Reading.taken_at)
        .where(*_used(organisation_id, vehicle_id), col(Reading.taken_at) < before)
        .order_by(col(Reading.taken_at).desc(), col(Reading.id).desc())
        .offset(n_back - 1)
        .limit(1)
    )
    return session.exec(query).first()


def first_accepted(session: Session, organisation_id: int, vehicle_id: int) -> tuple[datetime, float]:
    """Time and km of a vehicle's first accepted odometer reading; it has one."""
    query = (
        select(Reading.taken_at, Reading.used_km)
        .where(*_used(organisation_id, vehicle_id))
        .order_by(col(Reading.taken_at), col(Reading.id))
        .limit(1)
    )
    taken_at, used_km = session.exec(query).one()
    return taken_at, used_km or 0.0


def last_hours(
    session: Session, organisation_id: int, vehicle_id: int, before: datetime
) -> tuple[float, float] | None:
    """Days since 1970 and hours of a vehicle's latest believed hours before an instant; none if there are none."""
    query = (
        core_select(days_since_epoch(session, col(Reading.taken_at)), col(Reading.used_hours))
        .where(
            col(Reading.organisation_id) == organisation_id,
            col(Reading.vehicle_id) == vehicle_id,
            col(Reading.taken_at) < before,
            col(Reading.outcome) == ReadingOutcome.ACCEPTED,
            col(Reading.used_hours).is_not(None),
        )
        .order_by(col(Reading.taken_at).desc(), col(Reading.id).desc())
        .limit(1)
    )
    row = session.connection().execute(query).first()
    return None if row is None else (row[0], row[1])


def _used(organisation_id: int, vehicle_id: int) -> tuple[ColumnElement[bool], ...]:
    return (
        col(Reading.organisation_id) == organisation_id,
        col(Reading.vehicle_id) == vehicle_id,
        col(Reading.outcome) == ReadingOutcome.ACCEPTED,
        col(Reading.used_km).is_not(None),
    )


def odometers_near(
    session: Session, organisation_id: int, vehicle_id: int, odometer_km: float, within_km: float, limit: int
) -> list[float]:
    """Last odometers of other vehicles that are near a number, a limited count."""
    query = (
        select(VehicleUsage.last_odometer_km)
        .where(
            VehicleUsage.organisation_id == organisation_id,
            col(VehicleUsage.last_odometer_km).between(odometer_km - within_km, odometer_km + within_km),
            VehicleUsage.vehicle_id != vehicle_id,
        )
        .limit(limit)
    )
    return [km for km in session.exec(query) if km is not None]


def update_verdicts(session: Session, organisation_id: int, rows: Sequence[dict[str, Any]]) -> None:
    """Store what screening now says of readings: dictionaries with id, outcome, reason, and used_km or used_hours."""
    if rows:
        session.execute(update(Reading), [{**row, "organisation_id": organisation_id} for row in rows])


def replaced_hour_meters(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], source: str
) -> list[tuple[int, float, float]]:
    """Rows of vehicle, days since 1970 and hours to add from then on, in the order of time."""
    query = core_select(
        col(Reading.vehicle_id),
        days_since_epoch(session, col(Reading.taken_at)),
        col(Reading.used_hours) - col(Reading.engine_hours),
    ).where(
        col(Reading.organisation_id) == organisation_id,
        is_one_of(session, col(Reading.vehicle_id), vehicle_ids),
        col(Reading.source) == source,
        # IS TRUE and no ORDER BY: else the few rows are sought among all that are accepted, or all of the vehicle.
        (col(Reading.outcome) == ReadingOutcome.ACCEPTED).is_(True),
        col(Reading.reason) == ReadingReason.CLUSTER_REPLACED,
        col(Reading.decided_by).is_not(None),
        col(Reading.used_hours).is_not(None),
    )
    return sorted(tuple(row) for row in session.connection().execute(query))
