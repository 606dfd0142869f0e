"""The shelf: look at it, write movements down, order, receive."""

from collections.abc import Callable
from typing import Annotated, Final

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response

from service.domain import plausibility
from service.domain.roles import Scope
from service.domain.stock_entries import MovementKind
from service.domain.used_fluid import WasteStream
from service.errors import ConflictError, FieldError, InvalidInputError, ServiceError
from service.store.repositories import fleet, purchase_orders, stock
from service.usecases.orders import place_orders
from service.usecases.orders.place_orders import Arrival, NewOrder, PackCount
from service.usecases.orders.plan_collections import collections_for
from service.usecases.orders.plan_orders import plan_stock_orders
from service.usecases.orders.render_stock_papers import (
    PlanFileKind,
    render_count_sheet,
    render_order_plan,
    render_used_fluid_label,
)
from service.usecases.stock.record_movements import LEAST_QUANTITY, NewMovement, record_movement
from service.usecases.stock.show_stock import show_stock
from service.usecases.stock.stock_items import item_named
from service.usecases.stock.used_fluid_levels import NewCollection, list_collections, record_collection
from service.web.catalogue import tell
from service.web.forms import EMPTY, Form, FormReader, FormState, Posted
from service.web.rendering import frame_of, hand_out, render
from service.web.views.stock import stock_page
from service.web.views.used_fluid import UsedFluid, fetched_row, used_rows
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

DepotName = Annotated[str, Query(max_length=40)]
OrderPath = Annotated[str, Path(pattern=r"^ord_[0-9]{1,19}$")]
N_WEEKS: Final = 12
MOST_PACKS: Final = 10_000
SHOWN_COLLECTIONS: Final = 20
"""The API lists all of them."""
FIELDS: Final = {"/fluid": "/item", "/part": "/item", "/pieces": "/litres"}
"""Where on the page the record's own fields are typed into."""

STEPS: Final = {"place": "placed", "receive": "received", "cancel": "cancelled"}


@router.get("/stock")
def get_stock(request: Request) -> Response:
    """Look at the shelf."""
    return _show(request, EMPTY)


@router.get("/stock/count-sheet.pdf")
def get_count_sheet(request: Request) -> Response:
    """Give the sheet to count with."""
    with looking(request) as visit:
        content, name = render_count_sheet(
            visit.session, visit.caller, visit.now, request.app.state.public_url
        )
        return hand_out(content, name)


@router.get("/stock/used-fluid-label.pdf")
def get_label(request: Request, depot: DepotName, stream: WasteStream) -> Response:
    """Give the label of the container of a stream at a depot."""
    with looking(request) as visit:
        content, name = render_used_fluid_label(visit.session, visit.caller, depot, stream)
        return hand_out(content, name)


@router.get("/stock/order-plan.{kind}")
def get_order_plan(request: Request, kind: PlanFileKind) -> Response:
    """Give the order plan as a file."""
    with looking(request) as visit:
        content, name = render_order_plan(visit.session, visit.caller, visit.now, kind, N_WEEKS)
        return hand_out(content, name)


@router.post("/stock/movements")
def post_movement(request: Request, form: Form) -> Response:
    """Write a movement down."""
    try:
        with doing(request, form) as visit:
            new = _movement(visit, form)
            row = record_movement(visit.session, visit.caller, visit.now, new)
            item = item_named(visit.session, visit.caller.organisation_id, new.fluid, new.part)
            was_below = stock.quantity_on_hand(visit.session, item) - row.quantity < -LEAST_QUANTITY
            made_up = new.kind is MovementKind.RECEIPT and was_below
            return visit.done("/stock", told="movement_made_up" if made_up else "movement")
    except (InvalidInputError, ConflictError) as error:
        moved = [FieldError(FIELDS.get(one.pointer, one.pointer), one.detail) for one in error.errors]
        return _show(request, FormState.after(form, type(error)(error.detail, moved)), error)


@router.post("/stock/collections")
def post_collection(request: Request, form: Form) -> Response:
    """Write down that used fluid was fetched."""
    try:
        with doing(request, form) as visit:
            record_collection(visit.session, visit.caller, visit.now, _collection(visit, form))
            return visit.done("/stock", told="fetched")
    except (InvalidInputError, ConflictError) as error:
        moved = [
            FieldError(f"/used_{one.pointer.strip('/').removeprefix('used_')}", one.detail)
            for one in error.errors
        ]
        return _show(request, FormState.after(form, type(error)(error.detail, moved)), error)


@router.post("/orders")
def post_order(request: Request, form: Form) -> Response:
    """Place an order that the plan advises."""
    try:
        with doing(request, form) as visit:
            part = form.text("part")[:40] or None
            packs = _packs(form.text("packs"), is_part=part is not None)
            fluid = None if part else form.text("fluid")[:160]
            new = NewOrder(fluid=fluid, part=part, packs=packs, is_placed=True)
            place_orders.make_order(visit.session, visit.caller, visit.now, new)
            return visit.done("/stock", told="ordered")
    except (InvalidInputError, ConflictError) as error:
        return _show(request, FormState(problem=tell(error.detail)), error)


@router.post("/orders/{order}")
def post_step(request: Request, order: OrderPath, form: Form) -> Response:
    """Take an order a step further."""
    try:
        with doing(request, form) as visit:
            told = _take_step(visit, order, form)
            return visit.done("/stock", told=told)
    except (InvalidInputError, ConflictError) as error:
        moved = [FieldError(f"/{_expiry_field(order)}", one.detail) for one in error.errors]
        return _show(request, FormState.after(form, type(error)(error.detail, moved)), error)


def _expiry_field(order: str) -> str:
    """Several orders stand on the page, each with a field of its own."""
    return f"{order}-expires_on"


def _take_step(visit: Visit, reference: str, posted: Posted) -> str:
    step = posted.text("do")
    if step not in STEPS:
        raise InvalidInputError("Press one of the buttons of the page.")
    visit.caller.require(Scope.STOCK)
    row = purchase_orders.get_order(visit.session, visit.caller.organisation_id, reference, for_update=True)
    if step == "place":
        place_orders.place_order(visit.session, visit.caller, visit.now, row)
    elif step == "cancel":
        place_orders.cancel_order(visit.session, visit.caller, visit.now, row)
    else:
        reader = FormReader(posted)
        arrival = Arrival(expires_on=reader.optional_day(_expiry_field(reference)))
        reader.finish()
        place_orders.receive_order(visit.session, visit.caller, visit.now, row, None, arrival)
    return STEPS[step]


def _collection(visit: Visit, posted: Posted) -> NewCollection:
    reader = FormReader(posted)
    litres_a_unit = 1.0 / visit.presentation.volume_value(1.0)
    litres = reader.number("used_litres", plausibility.STOCK_LITRES, to_base=_times(litres_a_unit))
    if litres <= 0.0 and not reader.errors:
        reader.refuse("used_litres", "Say how much was fetched.")
    new = NewCollection(
        depot=reader.line("used_depot", maximum=40),
        stream=reader.choice("used_stream", WasteStream, WasteStream.LUBRICATING_OIL),
        litres=litres,
        at=reader.moment("used_at", visit.zone, visit.now),
        is_emptied=reader.flag("used_emptied"),
        reference=reader.optional_line("used_reference", maximum=80),
        note=reader.optional_line("used_note", maximum=400),
    )
    reader.finish()
    return new


def _movement(visit: Visit, posted: Posted) -> NewMovement:
    reader = FormReader(posted)
    litres_a_unit = 1.0 / visit.presentation.volume_value(1.0)
    sort, _, name = reader.line("item", maximum=170).partition(":")
    is_part = sort == "part"
    amount = reader.number(
        "litres", plausibility.STOCK_LITRES, to_base=_times(1.0 if is_part else litres_a_unit)
    )
    if is_part and not amount.is_integer():
        reader.refuse("litres", "Parts are counted in whole pieces.")
    new = NewMovement(
        fluid=None if is_part else name,
        part=name if is_part else None,
        kind=reader.choice("kind", MovementKind, MovementKind.RECEIPT),
        litres=None if is_part else amount,
        pieces=round(amount) if is_part else None,
        expires_on=reader.optional_day("expires_on"),
        note=reader.optional_line("note", maximum=400),
    )
    reader.finish()
    if new.kind is MovementKind.DRAWN:
        raise InvalidInputError.at("/kind", "A recorded service draws stock; record the service.")
    return new


def _times(factor: float) -> Callable[[float], float]:
    return lambda typed: typed * factor


def _packs(text: str, *, is_part: bool) -> list[PackCount]:
    """Read packs as the plan wrote them into the form: 20.0=2,5.0=1."""
    packs = []
    for part in text.split(",")[:20]:
        size, _, count = part.partition("=")
        if not size.replace(".", "", 1).isdecimal() or not count.isdecimal() or len(part) > 40:
            raise InvalidInputError("The order could not be read; open the page again.")
        if not 1 <= int(count) <= MOST_PACKS:
            raise InvalidInputError("The number of packs is out of bounds; open the page again.")
        amount = {"pieces": round(float(size))} if is_part else {"litres": float(size)}
        packs.append(PackCount(count=int(count), **amount))
    return packs


def _show(request: Request, form: FormState, error: ServiceError | None = None) -> Response:
    with looking(request) as visit:
        overview = show_stock(visit.session, visit.caller, visit.now)
        plan = plan_stock_orders(visit.session, visit.caller, visit.now, N_WEEKS)
        forecast = plan.forecast
        collections = collections_for(
            visit.session, visit.caller.organisation_id, forecast.jobs, forecast.today
        )
        depots = [row.reference for row in fleet.list_depots(visit.session, visit.caller.organisation_id)]
        recent = list_collections(visit.session, visit.caller, limit=SHOWN_COLLECTIONS)
        recent.sort(key=lambda found: found[0].at, reverse=True)
        page = stock_page(
            overview,
            plan,
            depots,
            visit.presentation,
            form,
            used=UsedFluid(
                waiting=used_rows(collections.containers, overview.used_fluid, visit.presentation),
                fetched=tuple(
                    fetched_row(row, depot, visit.presentation, visit.zone) for row, depot in recent
                ),
            ),
            may_act=visit.may(Scope.STOCK),
            may_plan=visit.may(Scope.PLANNING),
        )
        return render("stock.html", frame_of(visit, "stock"), page, status_of(error))
