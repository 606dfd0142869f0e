"""What is on the shelf, fluids and parts, how long it keeps, and what is on its way."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlmodel import Session

from service.domain.roles import Scope
from service.domain.stock_defaults import SHELF_WARNING_SHARE
from service.domain.stock_entries import OrderState
from service.store.repositories import fleet, fluids, purchase_orders, stock_items
from service.store.repositories.stock_items import ItemKey, StockItem
from service.store.tables.fluids import Fluid
from service.usecases.access.caller import Caller
from service.usecases.stock.stock_items import opened_shelf_life_days, room_for, shelf_life_days, unit_of
from service.usecases.stock.stock_lots import Lot, Shelf, read_shelves
from service.usecases.stock.used_fluid_levels import UsedFluidLevel, used_fluid_levels

BELOW_ZERO = (
    "More was drawn than the ledger knew of: a receipt is missing or the shelf was miscounted. "
    "Count the shelf and record the count. Until then the plan takes the shelf as empty; it runs out as soon as "
    "work needs any, and what is missing comes out of the next delivery."
)
OVER_FULL = "The ledger holds more than there is room for; count the shelf and record the count."


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenOrder:
    """What one purchase order will still bring."""

    order_id: int
    state: OrderState
    expected_on: date
    quantity: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StockLine:
    """One fluid or part on the shelf, in litres or pieces."""

    item: StockItem
    shelf: Shelf
    next_expiry_on: date | None
    expired_quantity: float
    nearly_expired_quantity: float
    """Not expired, but most of the shelf life is over: use it first."""

    open_orders: tuple[OpenOrder, ...]
    warnings: tuple[str, ...]

    @property
    def fluid(self) -> Fluid:
        """The fluid, of a line that is known to be one."""
        if not isinstance(self.item, Fluid):
            message = f"{self.item.reference} is a part"
            raise TypeError(message)
        return self.item

    @property
    def held_quantity(self) -> float:
        """What is taken to be there; a ledger below zero has missed something, and counts as an empty shelf."""
        return max(self.shelf.quantity, 0.0)

    @property
    def on_order_quantity(self) -> float:
        """What placed orders will still bring; what is only planned is not on its way."""
        return sum(order.quantity for order in self.open_orders if order.state is OrderState.PLACED)


@dataclass(frozen=True, slots=True, kw_only=True)
class StockOverview:
    """All fluids, all parts and all used fluid."""

    today: date
    lines: list[StockLine]
    """Fluids, by article name."""

    parts: list[StockLine]
    used_fluid: list[UsedFluidLevel]


def show_stock(session: Session, caller: Caller, now: datetime) -> StockOverview:
    """Give the state of the shelf today."""
    caller.require(Scope.READ)
    organisation_id = caller.organisation_id
    today = fleet.get_organisation(session, organisation_id).today(now)
    lines, parts = stock_lines(session, organisation_id, today)
    return StockOverview(
        today=today,
        lines=lines,
        parts=parts,
        used_fluid=used_fluid_levels(session, organisation_id),
    )


def stock_lines(
    session: Session, organisation_id: int, today: date
) -> tuple[list[StockLine], list[StockLine]]:
    """One line a fluid and one a part, by name."""
    kept_fluids = fluids.list_fluids(session, organisation_id)
    parts = stock_items.list_parts(session, organisation_id)
    items: list[StockItem] = [*kept_fluids, *parts]
    opened = {ItemKey.of(item): opened_shelf_life_days(item) for item in items}
    shelves = read_shelves(session, organisation_id, opened)
    coming = _open_orders(session, organisation_id)

    def line(item: StockItem) -> StockLine:
        key = ItemKey.of(item)
        return _line(item, shelves.get(key, Shelf()), coming.get(key, []), today)

    return [line(fluid) for fluid in kept_fluids], [line(part) for part in parts]


def _open_orders(session: Session, organisation_id: int) -> dict[ItemKey, list[OpenOrder]]:
    orders = purchase_orders.list_open_orders(session, organisation_id)
    lines = purchase_orders.lines_of(session, organisation_id, orders)
    found: dict[ItemKey, list[OpenOrder]] = {}
    for order in orders:
        quantity = sum(
            (line.n_packs - line.n_received) * line.pack_quantity for line in lines.get(order.id or 0, [])
        )
        found.setdefault(ItemKey.of(order), []).append(
            OpenOrder(
                order_id=order.id or 0,
                state=OrderState(order.state),
                expected_on=order.expected_on,
                quantity=quantity,
            )
        )
    return found


def _line(item: StockItem, shelf: Shelf, coming: list[OpenOrder], today: date) -> StockLine:
    nearly = [lot for lot in shelf.lots if today <= lot.expires_on <= today + _soon(item, lot)]
    dated = [lot for lot in shelf.lots if lot.expires_on < date.max]
    expired = [lot for lot in dated if lot.expires_on < today]
    return StockLine(
        item=item,
        shelf=shelf,
        next_expiry_on=dated[0].expires_on if dated else None,
        expired_quantity=sum(lot.quantity for lot in expired),
        nearly_expired_quantity=sum(lot.quantity for lot in nearly),
        open_orders=tuple(coming),
        warnings=tuple(_warnings(item, shelf, expired, nearly)),
    )


def _soon(item: StockItem, lot: Lot) -> timedelta:
    """How long before its expiry a lot is warned of."""
    life = opened_shelf_life_days(item) if lot.is_open else shelf_life_days(item)
    return timedelta(days=round((1.0 - SHELF_WARNING_SHARE.value) * (life or 0)))


def _warnings(item: StockItem, shelf: Shelf, expired: list[Lot], nearly: list[Lot]) -> list[str]:
    found, room, unit = [], room_for(item), unit_of(item)
    if shelf.quantity < 0.0:
        found.append(BELOW_ZERO)
    if room is not None and shelf.quantity > room:
        found.append(OVER_FULL)
    for lots, told in (
        (expired, "have expired: do not use them, and record them as discarded."),
        (nearly, "are close to their expiry: use them first."),
    ):
        for is_open, whose in ((False, ""), (True, " of opened packs")):
            quantity = sum(lot.quantity for lot in lots if lot.is_open is is_open)
            if quantity > 0.0:
                found.append(f"{quantity:.10g} {unit}{whose} {told}")
    return found
