"""Vehicles as people look for them, and the latest of what was recorded about one."""

from collections.abc import Sequence

from sqlalchemy import ColumnElement, and_, func, or_
from sqlmodel import Session, col, select

from service.domain.outcomes import ReadingOutcome
from service.store.repositories.fleet import in_use
from service.store.tables.access import AuditEntry
from service.store.tables.readings import Reading
from service.store.tables.services import Sample, Service
from service.store.tables.vehicles import Compartment, Vehicle


def search_vehicles(
    session: Session, organisation_id: int, *, part: str, depot_id: int | None, offset: int, limit: int
) -> tuple[list[Vehicle], int]:
    """Vehicles in use whose number contains a text, by number, and how many there are in all."""
    wanted: list[ColumnElement[bool]] = [*in_use(organisation_id)]
    if part:
        wanted.append(func.lower(col(Vehicle.reference)).contains(part.lower(), autoescape=True))
    if depot_id is not None:
        wanted.append(col(Vehicle.depot_id) == depot_id)
    query = select(Vehicle).where(*wanted).order_by(col(Vehicle.reference)).offset(offset).limit(limit)
    n_found = session.exec(select(func.count()).select_from(Vehicle).where(*wanted)).one()
    return list(session.exec(query)), int(n_found)


def has_compartments(session: Session, organisation_id: int) -> bool:
    """Whether any vehicle in use holds a fluid."""
    query = (
        select(Compartment.id)
        .join(Vehicle, and_(col(Vehicle.id) == Compartment.vehicle_id, col(Vehicle.retired_at).is_(None)))
        .where(Compartment.organisation_id == organisation_id, Vehicle.organisation_id == organisation_id)
        .limit(1)
    )
    return session.exec(query).first() is not None


def latest_readings(session: Session, organisation_id: int, vehicle_id: int, limit: int) -> list[Reading]:
    """Readings that count, wait for a decision or were decided by somebody, the latest first."""
    query = select(Reading).where(
        Reading.organisation_id == organisation_id,
        Reading.vehicle_id == vehicle_id,
        or_(col(Reading.outcome) != ReadingOutcome.REJECTED, col(Reading.decided_by).is_not(None)),
    )
    return list(
        session.exec(query.order_by(col(Reading.taken_at).desc(), col(Reading.id).desc()).limit(limit))
    )


def count_read_meters(session: Session, organisation_id: int, vehicle_id: int, limit: int) -> tuple[int, int]:
    """How many accepted readings a vehicle has among its latest, and how many of those give running hours."""
    latest = (
        select(Reading.used_hours)
        .where(
            Reading.organisation_id == organisation_id,
            Reading.vehicle_id == vehicle_id,
            (col(Reading.outcome) == ReadingOutcome.ACCEPTED).is_(True),
        )
        .order_by(col(Reading.taken_at).desc(), col(Reading.id).desc())
        .limit(limit)
        .subquery()
    )
    n_readings, n_with_hours = session.exec(select(func.count(), func.count(latest.c.used_hours))).one()
    return int(n_readings), int(n_with_hours)


def changes_of(
    session: Session, organisation_id: int, objects: Sequence[tuple[str, Sequence[int]]], limit: int
) -> list[AuditEntry]:
    """Changes recorded of some objects, given as kinds with their keys, the latest first."""
    wanted = [
        and_(col(AuditEntry.object_type) == kind, col(AuditEntry.object_id).in_(keys))
        for kind, keys in objects
        if keys
    ]
    query = select(AuditEntry).where(col(AuditEntry.organisation_id) == organisation_id, or_(*wanted))
    return list(session.exec(query.order_by(col(AuditEntry.id).desc()).limit(limit)))


def voidings_of(session: Session, organisation_id: int, vehicle_id: int, limit: int) -> list[AuditEntry]:
    """Services and samples of a vehicle that were taken back, the latest first: when, by whom and why."""
    services = select(Service.id).where(
        Service.organisation_id == organisation_id, Service.vehicle_id == vehicle_id
    )
    samples = (
        select(Sample.id)
        .join(Compartment, col(Compartment.id) == Sample.compartment_id)
        .where(Compartment.organisation_id == organisation_id, Compartment.vehicle_id == vehicle_id)
    )
    query = select(AuditEntry).where(
        col(AuditEntry.organisation_id) == organisation_id,
        col(AuditEntry.action) == "voided",
        or_(
            and_(col(AuditEntry.object_type) == "service", col(AuditEntry.object_id).in_(services)),
            and_(col(AuditEntry.object_type) == "sample", col(AuditEntry.object_id).in_(samples)),
        ),
    )
    return list(session.exec(query.order_by(col(AuditEntry.id).desc()).limit(limit)))
