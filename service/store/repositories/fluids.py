"""Fluids."""

from sqlmodel import Session, col, select

from service.domain.external_ids import IdKind, parse_id
from service.errors import NotFoundError
from service.store.row_locks import locked
from service.store.tables.fluids import Fluid
from service.store.tables.vehicles import Compartment


def find_fluid(
    session: Session, organisation_id: int, reference: str, *, for_update: bool = False
) -> Fluid | None:
    """Fluid by its article name or id; locked if it will be changed."""
    number = parse_id(IdKind.FLUID, reference)
    wanted = Fluid.reference == reference if number is None else Fluid.id == number
    query = select(Fluid).where(Fluid.organisation_id == organisation_id, wanted)
    return session.exec(locked(query) if for_update else query).first()


def get_fluid(session: Session, organisation_id: int, reference: str, *, for_update: bool = False) -> Fluid:
    """Fluid by its article name or id; locked if it will be changed.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    fluid = find_fluid(session, organisation_id, reference, for_update=for_update)
    if fluid is None:
        raise NotFoundError("There is no fluid with this article name or id.")
    return fluid


def list_fluids(session: Session, organisation_id: int) -> list[Fluid]:
    """All fluids, by article name."""
    query = select(Fluid).where(Fluid.organisation_id == organisation_id).order_by(col(Fluid.reference))
    return list(session.exec(query))


def vehicle_ids_with_fluid(session: Session, organisation_id: int, fluid_id: int) -> list[int]:
    """Vehicles that hold a fluid, in ascending order."""
    query = select(Compartment.vehicle_id).where(
        Compartment.organisation_id == organisation_id, Compartment.fluid_id == fluid_id
    )
    return list(session.exec(query.distinct().order_by(col(Compartment.vehicle_id))))
