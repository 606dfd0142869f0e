"""Fluids with something in them that should not be there."""

from sqlmodel import Session, col, select

from service.store.repositories.fleet import in_use
from service.store.tables.projections import CompartmentState
from service.store.tables.vehicles import Compartment, Vehicle


def list_contaminated(session: Session, organisation_id: int) -> list[tuple[Vehicle, Compartment]]:
    """Compartments of vehicles in use whose fluid is contaminated, by vehicle."""
    query = (
        select(Vehicle, Compartment)
        .join(
            Compartment,
            (col(Compartment.vehicle_id) == Vehicle.id)
            & (col(Compartment.organisation_id) == Vehicle.organisation_id),
        )
        .join(
            CompartmentState,
            (col(CompartmentState.compartment_id) == Compartment.id)
            & (col(CompartmentState.organisation_id) == Compartment.organisation_id),
        )
        .where(
            *in_use(organisation_id),
            col(CompartmentState.is_contaminated),  # as its index says it, on either database
        )
        .order_by(col(Vehicle.reference), col(Compartment.id))
    )
    return list(session.exec(query))
