"""Purchase orders and their lines."""

from collections.abc import Sequence

from sqlmodel import Session, col, select

from service.domain.external_ids import IdKind, parse_id
from service.domain.stock_entries import OrderState
from service.errors import NotFoundError
from service.store.repositories.stock_items import ItemKey, is_of
from service.store.row_locks import locked
from service.store.tables.stock import PurchaseOrder, PurchaseOrderLine


def get_order(
    session: Session, organisation_id: int, reference: str, *, for_update: bool = False
) -> PurchaseOrder:
    """Order by its id; one that will be changed is locked until the transaction ends.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    number = parse_id(IdKind.PURCHASE_ORDER, reference)
    query = select(PurchaseOrder).where(
        PurchaseOrder.organisation_id == organisation_id, PurchaseOrder.id == number
    )
    if for_update:
        query = locked(query)
    order = session.exec(query).first() if number is not None else None
    if order is None:
        raise NotFoundError("There is no purchase order with this id.")
    return order


def find_order_by_reference(session: Session, organisation_id: int, reference: str) -> PurchaseOrder | None:
    """Order by its order number."""
    query = select(PurchaseOrder).where(
        PurchaseOrder.organisation_id == organisation_id, PurchaseOrder.reference == reference
    )
    return session.exec(query).first()


def list_orders(
    session: Session,
    organisation_id: int,
    *,
    state: OrderState | None = None,
    key: ItemKey | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> list[PurchaseOrder]:
    """Orders in the order they were made, a page at a time."""
    query = select(PurchaseOrder).where(
        PurchaseOrder.organisation_id == organisation_id, col(PurchaseOrder.id) > after_id
    )
    if state is not None:
        query = query.where(PurchaseOrder.state == state)
    if key is not None:
        query = query.where(is_of(PurchaseOrder, key))
    return list(session.exec(query.order_by(col(PurchaseOrder.id)).limit(limit)))


def list_open_orders(session: Session, organisation_id: int) -> list[PurchaseOrder]:
    """Orders that are planned or placed, the first expected first."""
    query = select(PurchaseOrder).where(
        PurchaseOrder.organisation_id == organisation_id,
        col(PurchaseOrder.state).in_([OrderState.PLANNED, OrderState.PLACED]),
    )
    return list(session.exec(query.order_by(col(PurchaseOrder.expected_on), col(PurchaseOrder.id))))


def lines_of(
    session: Session, organisation_id: int, orders: Sequence[PurchaseOrder]
) -> dict[int, list[PurchaseOrderLine]]:
    """Lines by order, the smallest pack first."""
    query = select(PurchaseOrderLine).where(
        PurchaseOrderLine.organisation_id == organisation_id,
        col(PurchaseOrderLine.purchase_order_id).in_([order.id for order in orders]),
    )
    found: dict[int, list[PurchaseOrderLine]] = {order.id: [] for order in orders if order.id is not None}
    for line in session.exec(query.order_by(col(PurchaseOrderLine.pack_quantity))):
        found[line.purchase_order_id].append(line)
    return found
