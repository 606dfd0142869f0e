"""What is kept on the shelf: fluids by the litre and parts by the piece, and the packs of both."""

from typing import NamedTuple

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select

from service.domain.external_ids import IdKind, parse_id
from service.errors import NotFoundError
from service.store.row_locks import locked
from service.store.tables.fluids import Fluid, Pack
from service.store.tables.parts import Part
from service.store.tables.stock import PurchaseOrder, StockMovement

StockItem = Fluid | Part


class ItemKey(NamedTuple):
    """Key of a fluid or of a part; the other one is none."""

    fluid_id: int | None
    part_id: int | None

    @classmethod
    def of(cls, row: StockItem | Pack | StockMovement | PurchaseOrder) -> "ItemKey":
        """Key of an item, or of the item that a row belongs to."""
        if isinstance(row, Fluid):
            return cls(row.id, None)
        if isinstance(row, Part):
            return cls(None, row.id)
        return cls(row.fluid_id, row.part_id)


def is_of(table: type[Pack | StockMovement | PurchaseOrder], key: ItemKey) -> ColumnElement[bool]:
    """Condition for the rows of one item."""
    if key.fluid_id is not None:
        return col(table.fluid_id) == key.fluid_id
    return col(table.part_id) == key.part_id


def find_part(
    session: Session, organisation_id: int, reference: str, *, for_update: bool = False
) -> Part | None:
    """Part by its name or id; locked if it will be changed."""
    number = parse_id(IdKind.PART, reference)
    wanted = Part.reference == reference if number is None else Part.id == number
    query = select(Part).where(Part.organisation_id == organisation_id, wanted)
    return session.exec(locked(query) if for_update else query).first()


def get_part(session: Session, organisation_id: int, reference: str, *, for_update: bool = False) -> Part:
    """Part by its name or id; locked if it will be changed.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    part = find_part(session, organisation_id, reference, for_update=for_update)
    if part is None:
        raise NotFoundError("There is no part with this name or id.")
    return part


def list_parts(session: Session, organisation_id: int) -> list[Part]:
    """All parts, by name."""
    query = select(Part).where(Part.organisation_id == organisation_id).order_by(col(Part.reference))
    return list(session.exec(query))


def get_item(session: Session, organisation_id: int, key: ItemKey) -> StockItem:
    """Fluid or part by its key."""
    if key.fluid_id is not None:
        wanted = select(Fluid).where(Fluid.organisation_id == organisation_id, Fluid.id == key.fluid_id)
        return session.exec(wanted).one()
    return session.exec(
        select(Part).where(Part.organisation_id == organisation_id, Part.id == key.part_id)
    ).one()


def names_of_items(session: Session, organisation_id: int) -> dict[ItemKey, str]:
    """Article names of fluids and names of parts."""
    fluids = session.exec(select(Fluid.id, Fluid.reference).where(Fluid.organisation_id == organisation_id))
    parts = session.exec(select(Part.id, Part.reference).where(Part.organisation_id == organisation_id))
    names = {ItemKey(key, None): reference for key, reference in fluids}
    return names | {ItemKey(None, key): reference for key, reference in parts}


def lock_item(session: Session, item: StockItem) -> None:
    """Let one writer at a time change the stock of an item; on SQLite the writers queue anyway."""
    table = type(item)
    session.exec(select(table.id).where(table.id == item.id).with_for_update()).one()


def list_packs(session: Session, organisation_id: int, item: StockItem | None = None) -> list[Pack]:
    """Packs of one item, or of all, smallest first."""
    query = select(Pack).where(Pack.organisation_id == organisation_id)
    if item is not None:
        query = query.where(is_of(Pack, ItemKey.of(item)))
    return list(session.exec(query.order_by(col(Pack.fluid_id), col(Pack.part_id), col(Pack.quantity))))
