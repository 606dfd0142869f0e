"""A fleet cut into ranges of vehicle keys, so that its parts can be worked on apart from each other."""

from collections.abc import Iterator
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import ColumnElement, delete, func
from sqlmodel import Session, col, select

from service.store.tables.projections import Projection
from service.store.tables.vehicles import Compartment, Vehicle


class VehicleRange(NamedTuple):
    """Vehicles of an organisation whose keys are above the first number and not above the last."""

    organisation_id: int
    after_id: int
    last_id: int


def list_ranges(session: Session, organisation_id: int, n_vehicles: int) -> Iterator[VehicleRange]:
    """Cut a fleet, retired vehicles included, into ranges of so many vehicles."""
    after_id = 0
    while True:
        page = (
            select(col(Vehicle.id))
            .where(col(Vehicle.organisation_id) == organisation_id, col(Vehicle.id) > after_id)
            .order_by(col(Vehicle.id))
            .limit(n_vehicles)
            .subquery()
        )
        last_id = session.execute(select(func.max(page.c.id))).scalar_one()
        if last_id is None:
            return
        yield VehicleRange(organisation_id, after_id, last_id)
        after_id = last_id


def vehicles_in(session: Session, part: VehicleRange) -> list[int]:
    """Keys of the vehicles in use."""
    return list(
        session.execute(select(col(Vehicle.id)).where(*_in_use(part)).order_by(col(Vehicle.id))).scalars()
    )


def is_projected_since(session: Session, part: VehicleRange, since: datetime) -> bool:
    """Whether every compartment of the vehicles in use is in a projection that is not older."""
    owner = (col(Compartment.organisation_id) == part.organisation_id) & (
        col(Compartment.vehicle_id) == Vehicle.id
    )
    missing = (
        select(Compartment.id)
        .join(Vehicle, owner)
        .outerjoin(
            Projection,
            (col(Projection.vehicle_id) == Vehicle.id)
            & (col(Projection.as_of) >= since)
            & (col(Projection.as_of) >= Compartment.created_at),
        )
        .where(*_in_use(part), col(Projection.vehicle_id).is_(None))
        .limit(1)
    )
    return session.exec(missing).first() is None


def forget_retired(session: Session, part: VehicleRange) -> None:
    """Drop projections of vehicles that are not in use any more."""
    in_use = select(Vehicle.id).where(*_in_use(part))
    session.execute(
        delete(Projection).where(
            col(Projection.organisation_id) == part.organisation_id,
            col(Projection.vehicle_id) > part.after_id,
            col(Projection.vehicle_id) <= part.last_id,
            col(Projection.vehicle_id).not_in(in_use),
        )
    )


def _in_use(part: VehicleRange) -> tuple[ColumnElement[bool], ...]:
    return (
        col(Vehicle.organisation_id) == part.organisation_id,
        col(Vehicle.id) > part.after_id,
        col(Vehicle.id) <= part.last_id,
        col(Vehicle.retired_at).is_(None),
    )
