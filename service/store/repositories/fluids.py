"""Fluids and their packs."""

from sqlmodel import Session, col, select

from service.domain.external_ids import IdKind, parse_id
from service.errors import NotFoundError
from service.store.tables.fluids import Fluid, Pack


def find_fluid(
    session: Session, organisation_id: int, reference: str, *, for_update: bool = False
) -> Fluid | None:
    """Fluid by its article name or id; locked if it will be changed."""
    number = parse_id(IdKind.FLUID, reference)
    wanted = Fluid.reference == reference if number is None else Fluid.id == number
    query = select(Fluid).where(Fluid.organisation_id == organisation_id, wanted)
    return session.exec(query.with_for_update(key_share=True) if for_update else query).first()


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


def get_fluid_by_id(session: Session, organisation_id: int, fluid_id: int) -> Fluid:
    """Fluid by its key."""
    return session.exec(
        select(Fluid).where(Fluid.organisation_id == organisation_id, Fluid.id == fluid_id)
    ).one()


def list_fluids(session: Session, organisation_id: int) -> list[Fluid]:
    """All fluids, by article name."""
    query = select(Fluid).where(Fluid.organisation_id == organisation_id).order_by(col(Fluid.reference))
    return list(session.exec(query))


def list_packs(session: Session, organisation_id: int, fluid_id: int | None = None) -> list[Pack]:
    """Packs of one fluid, or of all, smallest first."""
    query = select(Pack).where(Pack.organisation_id == organisation_id)
    if fluid_id is not None:
        query = query.where(Pack.fluid_id == fluid_id)
    return list(session.exec(query.order_by(col(Pack.fluid_id), col(Pack.litres))))
