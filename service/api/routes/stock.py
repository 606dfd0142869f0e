"""The shelf and its ledger, and used fluid that is fetched."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from service.api.answers import describe_file, number_in, page_of, show, show_file
from service.api.inputs import Cursor, NameQuery, PageLimit, ReferenceQuery
from service.api.problems import describe_problems
from service.api.schemas.stock import (
    CollectionCreate,
    CollectionPage,
    CollectionRead,
    StockRead,
)
from service.api.schemas.stock_movements import MovementCreate, MovementPage, MovementRead
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Writing
from service.domain.roles import Scope
from service.domain.stock_entries import MovementKind
from service.store.repositories import fleet, stock, stock_items
from service.store.repositories.stock_items import ItemKey
from service.usecases.orders.render_stock_papers import render_count_sheet
from service.usecases.stock.record_movements import NewMovement, record_movement
from service.usecases.stock.show_stock import show_stock
from service.usecases.stock.stock_items import Amount, key_asked
from service.usecases.stock.used_fluid_levels import NewCollection, list_collections, record_collection

router = APIRouter(tags=["stock"], route_class=TokenFirst)


@router.get(
    "/stock",
    operation_id="get_stock",
    summary="Look at the shelf",
    response_model=StockRead,
    responses=describe_problems(),
)
def get_stock(request: Request, unit: Reading) -> Response:
    """Litres on hand of every fluid, what expires next, what is on order, and the used fluid of every depot."""
    return show(request, StockRead.of(show_stock(unit.session, unit.caller, unit.now)))


@router.get(
    "/stock/count-sheet.pdf",
    operation_id="get_count_sheet",
    summary="Print a sheet to count the shelf with",
    response_class=Response,
    responses={**describe_problems(), **describe_file("The sheet, to fill in by hand.", "pdf")},
)
def get_count_sheet(request: Request, unit: Reading) -> Response:
    """Everything that is kept, with a frame for what is counted; what the ledger says is left out on purpose."""
    content, name = render_count_sheet(unit.session, unit.caller, unit.now, request.app.state.public_url)
    return show_file(request, content, name)


@router.post(
    "/stock/movements",
    operation_id="record_movement",
    summary="Record a stock movement",
    status_code=201,
    response_model=MovementRead,
    responses=describe_problems(409, 422),
)
def post_movement(body: MovementCreate, unit: Writing) -> Response:
    """Add a receipt, count, correction or discard to the ledger; nothing in it is ever overwritten."""
    facts = body.model_dump(exclude={"kind", "pack_litres"})
    pack = None if body.pack_litres is None else Amount(litres=body.pack_litres)
    new = NewMovement(kind=MovementKind(body.kind), pack=pack, **facts)
    row = record_movement(unit.session, unit.caller, unit.now, new)
    item = stock_items.get_item(unit.session, unit.caller.organisation_id, ItemKey.of(row))
    return unit.answer(MovementRead.of(row, item.reference), 201)


@router.get(
    "/stock/movements",
    operation_id="list_movements",
    summary="List stock movements",
    response_model=MovementPage,
    responses=describe_problems(404, 422),
)
def get_movements(
    request: Request,
    unit: Reading,
    fluid: NameQuery | None = None,
    part: NameQuery | None = None,
    kind: Annotated[MovementKind | None, Query()] = None,
    reference: ReferenceQuery | None = None,
    limit: PageLimit = 100,
    cursor: Cursor = None,
) -> Response:
    """List the ledger in the order it was written."""
    unit.caller.require(Scope.READ)
    organisation_id = unit.caller.organisation_id
    after = number_in(cursor, "after") or 0
    rows = stock.list_movements(
        unit.session,
        organisation_id,
        key=key_asked(unit.session, organisation_id, fluid, part),
        kind=kind,
        reference=reference,
        after_id=after,
        limit=limit + 1,
    )
    names = stock_items.names_of_items(unit.session, organisation_id)
    shown, more = page_of(request, rows, limit)
    page = MovementPage(movements=[MovementRead.of(row, names[ItemKey.of(row)]) for row in shown])
    return show(request, page, headers=more)


@router.post(
    "/used-fluid/collections",
    operation_id="record_collection",
    summary="Record that used fluid was fetched",
    status_code=201,
    response_model=CollectionRead,
    responses=describe_problems(409, 422),
)
def post_collection(body: CollectionCreate, unit: Writing) -> Response:
    """Lower the level of one stream at one depot; what is drained next counts from there."""
    row = record_collection(unit.session, unit.caller, unit.now, NewCollection(**body.model_dump()))
    depot = fleet.depot_names(unit.session, unit.caller.organisation_id)[row.depot_id]
    return unit.answer(CollectionRead.of(row, depot), 201)


@router.get(
    "/used-fluid/collections",
    operation_id="list_collections",
    summary="List what was fetched of used fluid",
    response_model=CollectionPage,
    responses=describe_problems(422),
)
def get_collections(
    request: Request, unit: Reading, limit: PageLimit = 100, cursor: Cursor = None
) -> Response:
    """List collections, the latest entry first: the record that transfer papers are compared with."""
    found = list_collections(
        unit.session, unit.caller, before_id=number_in(cursor, "before"), limit=limit + 1
    )
    depots = {row.id: depot for row, depot in found}
    shown, more = page_of(request, [row for row, _ in found], limit, "before")
    page = CollectionPage(collections=[CollectionRead.of(row, depots[row.id]) for row in shown])
    return show(request, page, headers=more)
