"""The stock ledger, and the used fluid that was fetched."""

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import Select, case, func
from sqlalchemy import select as core_select
from sqlmodel import Session, col, select

from service.domain.stock_entries import MovementKind
from service.store.repositories.stock_items import ItemKey, StockItem, is_of
from service.store.tables.services import Round, Service, ServiceItem
from service.store.tables.stock import StockMovement, UsedFluidCollection
from service.store.tables.vehicles import Compartment, Vehicle

ROWS_A_FETCH = 5_000


def quantity_on_hand(session: Session, item: StockItem, until: datetime | None = None) -> float:
    """Sum of the ledger of one item, up to an instant or to its end."""
    query = core_select(func.coalesce(func.sum(col(StockMovement.quantity)), 0.0)).where(
        col(StockMovement.organisation_id) == item.organisation_id,
        is_of(StockMovement, ItemKey.of(item)),
    )
    if until is not None:
        query = query.where(col(StockMovement.at) <= until)
    return float(session.execute(query).scalar_one())


def first_count_after(
    session: Session, organisation_id: int, key: ItemKey, instant: datetime
) -> StockMovement | None:
    """Earliest count of an item later than an instant."""
    query = select(StockMovement).where(
        StockMovement.organisation_id == organisation_id,
        is_of(StockMovement, key),
        StockMovement.kind == MovementKind.COUNT,
        col(StockMovement.at) > instant,
    )
    return session.exec(query.order_by(col(StockMovement.at), col(StockMovement.id))).first()


def find_movement_by_reference(
    session: Session, organisation_id: int, reference: str
) -> StockMovement | None:
    """Entry with the sender's own id; what services draw is left out."""
    query = select(StockMovement).where(
        StockMovement.organisation_id == organisation_id,
        StockMovement.reference == reference,
        StockMovement.kind != MovementKind.DRAWN,
    )
    return session.exec(query).first()


def list_movements(
    session: Session,
    organisation_id: int,
    *,
    key: ItemKey | None = None,
    kind: MovementKind | None = None,
    reference: str | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> list[StockMovement]:
    """Entries in the order they were recorded, a page at a time."""
    query = select(StockMovement).where(
        StockMovement.organisation_id == organisation_id, col(StockMovement.id) > after_id
    )
    if key is not None:
        query = query.where(is_of(StockMovement, key))
    if kind is not None:
        query = query.where(StockMovement.kind == kind)
    if reference is not None:
        query = query.where(StockMovement.reference == reference)
    return list(session.exec(query.order_by(col(StockMovement.id)).limit(limit)))


class LedgerEntry(NamedTuple):
    """What an entry says of the shelf."""

    fluid_id: int | None
    part_id: int | None
    quantity: float
    expires_on: date | None
    at: datetime
    pack_quantity: float | None


def read_ledger(session: Session, organisation_id: int) -> Iterator[LedgerEntry]:
    """Every entry, one item after the other, in the order of time."""
    query = (
        core_select(
            col(StockMovement.fluid_id),
            col(StockMovement.part_id),
            col(StockMovement.quantity),
            col(StockMovement.expires_on),
            col(StockMovement.at),
            col(StockMovement.pack_quantity),
        )
        .where(col(StockMovement.organisation_id) == organisation_id)
        .order_by(
            col(StockMovement.fluid_id),
            col(StockMovement.part_id),
            col(StockMovement.at),
            col(StockMovement.id),
        )
        .execution_options(yield_per=ROWS_A_FETCH)
    )
    for row in session.execute(query):
        yield LedgerEntry(*row)


def read_uses(
    session: Session, organisation_id: int, since: datetime
) -> list[tuple[int | None, int | None, datetime, float]]:
    """Fluid or part, instant and quantity of what was taken for work that no service records, oldest first."""
    query = (
        core_select(
            col(StockMovement.fluid_id),
            col(StockMovement.part_id),
            col(StockMovement.at),
            -col(StockMovement.quantity),
        )
        .where(
            col(StockMovement.organisation_id) == organisation_id,
            col(StockMovement.kind) == MovementKind.USED,
            col(StockMovement.at) >= since,
        )
        .order_by(col(StockMovement.at), col(StockMovement.id))
    )
    return [(row[0], row[1], row[2], row[3]) for row in session.execute(query)]


class Container(NamedTuple):
    """Where a depot keeps one stream of used fluid."""

    depot_id: int
    stream: str


def last_emptied(session: Session, organisation_id: int) -> dict[Container, datetime]:
    """When each container was last emptied; those that never were are missing."""
    rows = session.execute(_emptied(organisation_id))
    return {Container(depot_id, stream): at for depot_id, stream, at in rows}


def fetched_since_emptied(session: Session, organisation_id: int) -> dict[Container, float]:
    """Litres fetched from each container after it was last emptied, or ever."""
    collection, emptied = UsedFluidCollection, _emptied(organisation_id).subquery()
    query = (
        core_select(col(collection.depot_id), col(collection.stream), func.sum(col(collection.litres)))
        .outerjoin(
            emptied,
            (emptied.c.depot_id == collection.depot_id) & (emptied.c.stream == collection.stream),
        )
        .where(
            col(collection.organisation_id) == organisation_id,
            emptied.c.at.is_(None) | (col(collection.at) > emptied.c.at),
        )
        .group_by(col(collection.depot_id), col(collection.stream))
    )
    return {Container(depot_id, stream): float(litres) for depot_id, stream, litres in session.execute(query)}


def drained_since_emptied(
    session: Session, organisation_id: int, stream_of_kind: Mapping[str, str]
) -> dict[Container, float]:
    """Litres that services of a depot's vehicles brought out after its container was last emptied, or ever."""
    emptied = _emptied(organisation_id).subquery()
    stream = case(dict(stream_of_kind), value=col(Compartment.kind))
    query = (
        core_select(col(Vehicle.depot_id), stream, func.sum(col(Round.drained_litres)))
        .select_from(Round)
        .join(ServiceItem, col(ServiceItem.id) == Round.item_id)
        .join(Service, col(Service.id) == ServiceItem.service_id)
        .join(Compartment, col(Compartment.id) == ServiceItem.compartment_id)
        .join(Vehicle, col(Vehicle.id) == Service.vehicle_id)
        .outerjoin(emptied, (emptied.c.depot_id == Vehicle.depot_id) & (emptied.c.stream == stream))
        .where(
            col(Round.organisation_id) == organisation_id,
            col(Service.voided_at).is_(None),
            emptied.c.at.is_(None) | (col(Service.done_at) > emptied.c.at),
        )
        .group_by(col(Vehicle.depot_id), stream)
    )
    return {Container(depot_id, name): float(litres) for depot_id, name, litres in session.execute(query)}


def _emptied(organisation_id: int) -> Select[int, str, datetime]:
    collection = UsedFluidCollection
    return (
        core_select(
            col(collection.depot_id), col(collection.stream), func.max(col(collection.at)).label("at")
        )
        .where(col(collection.organisation_id) == organisation_id, col(collection.is_emptied).is_(True))
        .group_by(col(collection.depot_id), col(collection.stream))
    )


def find_collection(session: Session, organisation_id: int, reference: str) -> UsedFluidCollection | None:
    """Collection by the number of its transfer paper."""
    query = select(UsedFluidCollection).where(
        UsedFluidCollection.organisation_id == organisation_id, UsedFluidCollection.reference == reference
    )
    return session.exec(query).first()


def list_collections(
    session: Session, organisation_id: int, *, before_id: int | None, limit: int
) -> list[UsedFluidCollection]:
    """Collections that were written down before one of them, the latest first."""
    query = select(UsedFluidCollection).where(UsedFluidCollection.organisation_id == organisation_id)
    if before_id is not None:
        query = query.where(col(UsedFluidCollection.id) < before_id)
    return list(session.exec(query.order_by(col(UsedFluidCollection.id).desc()).limit(limit)))
