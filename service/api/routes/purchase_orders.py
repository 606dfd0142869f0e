"""Purchase orders: plan, place, receive, cancel."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from service.api.answers import number_in, page_of, show
from service.api.inputs import Cursor, IdPath, NameQuery, PageLimit
from service.api.problems import describe_problems
from service.api.schemas.purchase_orders import (
    OrderCreate,
    OrderPage,
    OrderPlace,
    OrderRead,
    OrderReceive,
)
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Unit, WriteUnit, Writing
from service.domain.roles import Scope
from service.domain.stock_entries import OrderState
from service.store.repositories import purchase_orders, stock_items
from service.store.repositories.stock_items import ItemKey
from service.store.tables.stock import PurchaseOrder
from service.usecases.orders import place_orders
from service.usecases.orders.place_orders import Arrival, NewOrder, PackCount
from service.usecases.stock.stock_items import key_asked

router = APIRouter(tags=["stock"], route_class=TokenFirst)


@router.post(
    "/purchase-orders",
    operation_id="make_purchase_order",
    summary="Make a purchase order",
    status_code=201,
    response_model=OrderRead,
    responses=describe_problems(409, 422),
)
def post_order(body: OrderCreate, unit: Writing) -> Response:
    """Make an order, planned only or placed at once."""
    new = NewOrder(
        fluid=body.fluid,
        part=body.part,
        packs=[PackCount(**pack.model_dump()) for pack in body.packs],
        is_placed=OrderState(body.state) is OrderState.PLACED,
        expected_on=body.expected_on,
        reference=body.reference,
        note=body.note,
    )
    shown = _read(unit, place_orders.make_order(unit.session, unit.caller, unit.now, new))
    return unit.created(shown, f"/v1/purchase-orders/{shown.id}")


@router.get(
    "/purchase-orders",
    operation_id="list_purchase_orders",
    summary="List purchase orders",
    response_model=OrderPage,
    responses=describe_problems(404, 422),
)
def get_orders(
    request: Request,
    unit: Reading,
    state: Annotated[OrderState | None, Query()] = None,
    fluid: NameQuery | None = None,
    part: NameQuery | None = None,
    limit: PageLimit = 100,
    cursor: Cursor = None,
) -> Response:
    """List orders in the order they were made."""
    unit.caller.require(Scope.READ)
    organisation_id = unit.caller.organisation_id
    after = number_in(cursor, "after") or 0
    rows = purchase_orders.list_orders(
        unit.session,
        organisation_id,
        state=state,
        key=key_asked(unit.session, organisation_id, fluid, part),
        after_id=after,
        limit=limit + 1,
    )
    shown, more = page_of(request, rows, limit)
    lines = purchase_orders.lines_of(unit.session, organisation_id, shown)
    names = stock_items.names_of_items(unit.session, organisation_id)
    page = OrderPage(orders=[OrderRead.of(row, lines[row.id or 0], names[ItemKey.of(row)]) for row in shown])
    return show(request, page, headers=more)


@router.get(
    "/purchase-orders/{order}",
    operation_id="get_purchase_order",
    summary="Look at a purchase order",
    response_model=OrderRead,
    responses=describe_problems(404, 422),
)
def get_order(request: Request, order: IdPath, unit: Reading) -> Response:
    """Look at one order."""
    unit.caller.require(Scope.READ)
    return show(
        request, _read(unit, purchase_orders.get_order(unit.session, unit.caller.organisation_id, order))
    )


@router.post(
    "/purchase-orders/{order}/place",
    operation_id="place_purchase_order",
    summary="Place a purchase order",
    response_model=OrderRead,
    responses=describe_problems(404, 409, 412, 422),
)
def post_place(request: Request, order: IdPath, unit: Writing, body: OrderPlace | None = None) -> Response:
    """Say that the supplier has it; an order that is placed already is refused, so nothing is ordered twice."""
    row = _to_change(request, unit, order)
    expected_on = None if body is None else body.expected_on
    return unit.changed(
        _read(unit, place_orders.place_order(unit.session, unit.caller, unit.now, row, expected_on))
    )


@router.post(
    "/purchase-orders/{order}/receive",
    operation_id="receive_purchase_order",
    summary="Receive a purchase order",
    response_model=OrderRead,
    responses=describe_problems(404, 409, 412, 422),
)
def post_receive(
    request: Request, order: IdPath, unit: Writing, body: OrderReceive | None = None
) -> Response:
    """Book what came, all of it or in part, as receipts in the ledger."""
    row = _to_change(request, unit, order)
    came = body or OrderReceive()
    packs = None if came.packs is None else [PackCount(**pack.model_dump()) for pack in came.packs]
    arrival = Arrival(at=came.at, expires_on=came.expires_on, note=came.note)
    return unit.changed(
        _read(unit, place_orders.receive_order(unit.session, unit.caller, unit.now, row, packs, arrival))
    )


@router.post(
    "/purchase-orders/{order}/cancel",
    operation_id="cancel_purchase_order",
    summary="Cancel a purchase order",
    response_model=OrderRead,
    responses=describe_problems(404, 409, 412, 422),
)
def post_cancel(request: Request, order: IdPath, unit: Writing) -> Response:
    """Expect nothing more of it; what has come stays in the ledger."""
    row = _to_change(request, unit, order)
    return unit.changed(_read(unit, place_orders.cancel_order(unit.session, unit.caller, unit.now, row)))


def _to_change(request: Request, unit: WriteUnit, order: str) -> PurchaseOrder:
    """Read and lock an order, if it is still what the caller last saw."""
    unit.caller.require(Scope.STOCK)
    row = purchase_orders.get_order(unit.session, unit.caller.organisation_id, order, for_update=True)
    unit.require_match(request, _read(unit, row))
    return row


def _read(unit: Unit, order: PurchaseOrder) -> OrderRead:
    organisation_id = unit.caller.organisation_id
    lines = purchase_orders.lines_of(unit.session, organisation_id, [order])[order.id or 0]
    item = stock_items.get_item(unit.session, organisation_id, ItemKey.of(order))
    return OrderRead.of(order, lines, item.reference)
