"""What is on the shelf, how long it keeps, and what is on its way."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlmodel import Session

from service.domain.roles import Scope
from service.domain.stock_defaults import SHELF_WARNING_SHARE
from service.domain.stock_entries import OrderState
from service.domain.zones import local_date, zone_named
from service.store.repositories import fleet, fluids, purchase_orders
from service.store.tables.fluids import Fluid
from service.usecases.caller import Caller
from service.usecases.record_movements import shelf_life_days
from service.usecases.stock_lots import Shelf, read_shelves
from service.usecases.used_fluid_levels import UsedFluidLevel, used_fluid_levels

BELOW_ZERO = (
    "More was drawn than the ledger knew of: a receipt is missing or the shelf was miscounted. "
    "Count the shelf and record the count."
)
OVER_FULL = "The ledger holds more than there is room for; count the shelf and record the count."


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenOrder:
    """What one purchase order will still bring."""

    order_id: int
    state: OrderState
    expected_on: date
    litres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StockLine:
    """One fluid on the shelf."""

    fluid: Fluid
    shelf: Shelf
    next_expiry_on: date | None
    expired_litres: float
    nearly_expired_litres: float
    """Not expired, but most of the shelf life is over: use it first."""

    open_orders: tuple[OpenOrder, ...]
    warnings: tuple[str, ...]

    @property
    def on_order_litres(self) -> float:
        """Litres that placed orders will still bring; what is only planned is not on its way."""
        return sum(order.litres for order in self.open_orders if order.state is OrderState.PLACED)


@dataclass(frozen=True, slots=True, kw_only=True)
class StockOverview:
    """All fluids and all used fluid."""

    today: date
    lines: list[StockLine]
    used_fluid: list[UsedFluidLevel]


def show_stock(session: Session, caller: Caller, now: datetime) -> StockOverview:
    """Give the state of the shelf today."""
    caller.require(Scope.READ)
    organisation_id = caller.organisation_id
    zone = zone_named("/time_zone", fleet.get_organisation(session, organisation_id).time_zone)
    today = local_date(now, zone)
    return StockOverview(
        today=today,
        lines=stock_lines(session, organisation_id, today),
        used_fluid=used_fluid_levels(session, organisation_id),
    )


def stock_lines(session: Session, organisation_id: int, today: date) -> list[StockLine]:
    """One line a fluid, by article name."""
    shelves = read_shelves(session, organisation_id)
    coming = _open_orders(session, organisation_id)
    return [
        _line(fluid, shelves.get(fluid.id or 0, Shelf()), coming.get(fluid.id or 0, []), today)
        for fluid in fluids.list_fluids(session, organisation_id)
    ]


def _open_orders(session: Session, organisation_id: int) -> dict[int, list[OpenOrder]]:
    orders = purchase_orders.list_open_orders(session, organisation_id)
    lines = purchase_orders.lines_of(session, organisation_id, orders)
    found: dict[int, list[OpenOrder]] = {}
    for order in orders:
        litres = sum(
            (line.n_packs - line.n_received) * line.pack_litres for line in lines.get(order.id or 0, [])
        )
        found.setdefault(order.fluid_id, []).append(
            OpenOrder(
                order_id=order.id or 0,
                state=OrderState(order.state),
                expected_on=order.expected_on,
                litres=litres,
            )
        )
    return found


def _line(fluid: Fluid, shelf: Shelf, coming: list[OpenOrder], today: date) -> StockLine:
    left = round((1.0 - SHELF_WARNING_SHARE.value) * shelf_life_days(fluid))
    soon = today + timedelta(days=left)
    dated = [lot for lot in shelf.lots if lot.expires_on < date.max]
    expired = sum(lot.litres for lot in dated if lot.expires_on < today)
    nearly = sum(lot.litres for lot in dated if today <= lot.expires_on <= soon)
    return StockLine(
        fluid=fluid,
        shelf=shelf,
        next_expiry_on=dated[0].expires_on if dated else None,
        expired_litres=expired,
        nearly_expired_litres=nearly,
        open_orders=tuple(coming),
        warnings=tuple(_warnings(fluid, shelf, expired, nearly)),
    )


def _warnings(fluid: Fluid, shelf: Shelf, expired: float, nearly: float) -> list[str]:
    found = []
    if shelf.litres < 0.0:
        found.append(BELOW_ZERO)
    if fluid.tank_litres is not None and shelf.litres > fluid.tank_litres:
        found.append(OVER_FULL)
    if expired > 0.0:
        found.append(f"{expired:.10g} litres have expired: do not use them, and record them as discarded.")
    if nearly > 0.0:
        found.append(f"{nearly:.10g} litres are close to their expiry: use them first.")
    return found
