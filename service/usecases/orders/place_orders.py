"""Purchase orders: plan, place, receive in parts, cancel."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from math import ceil

from sqlmodel import Session

from service.domain import plausibility
from service.domain.roles import Scope
from service.domain.stock_entries import STATES_BEFORE, MovementKind, OrderState
from service.errors import DuplicateError, InvalidInputError, StateTransitionError
from service.store.repositories import fleet, purchase_orders, stock_items
from service.store.repositories.stock_items import ItemKey, StockItem
from service.store.tables.fluids import Pack
from service.store.tables.parts import Part
from service.store.tables.stock import PurchaseOrder, PurchaseOrderLine
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.stock.record_movements import NewMovement, record_movement
from service.usecases.stock.stock_items import Amount, item_named, unit_of

SAME_PACK = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class PackCount:
    """Packs of one size, and what one costs if that differs from the price on file."""

    count: int
    litres: float | None = None
    pieces: int | None = None
    price_minor: int | None = None

    def quantity_of(self, item: StockItem, place: int) -> float:
        """Litres or pieces in a pack."""
        return Amount(litres=self.litres, pieces=self.pieces).of(item, f"/packs/{place}")


@dataclass(frozen=True, slots=True, kw_only=True)
class NewOrder:
    """Packs of one fluid or part to ask of a supplier."""

    packs: Sequence[PackCount]
    fluid: str | None = None
    part: str | None = None
    is_placed: bool = False
    expected_on: date | None = None
    reference: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """When packs came, the expiry printed on them, and a note."""

    at: datetime | None = None
    expires_on: date | None = None
    note: str | None = None


def make_order(session: Session, caller: Caller, now: datetime, new: NewOrder) -> PurchaseOrder:
    """Make an order, planned only or placed at once.

    Raises
    ------
    InvalidInputError
        If the item or a pack is unknown, or a price is missing.
    DuplicateError
        If the order number is taken.
    """
    caller.require(Scope.STOCK)
    item = item_named(session, caller.organisation_id, new.fluid, new.part)
    if new.reference is not None and purchase_orders.find_order_by_reference(
        session, caller.organisation_id, new.reference
    ):
        raise DuplicateError("There is a purchase order with this reference already.")
    today = _today(session, caller, now)
    offers = stock_items.list_packs(session, caller.organisation_id, item)
    lines = [_line(item, offers, wanted, place) for place, wanted in enumerate(new.packs)]
    if len({line.pack_quantity for line in lines}) != len(lines):
        raise InvalidInputError.at("/packs", "Name each size once.")
    key = ItemKey.of(item)
    order = PurchaseOrder(
        organisation_id=caller.organisation_id,
        fluid_id=key.fluid_id,
        part_id=key.part_id,
        reference=new.reference,
        state=OrderState.PLACED if new.is_placed else OrderState.PLANNED,
        placed_on=today if new.is_placed else None,
        expected_on=_expected_on(item, today, new.expected_on),
        note=new.note,
        created_at=now,
        created_by=caller.actor[:80],
    )
    session.add(order)
    session.flush()
    for line in lines:
        line.organisation_id, line.purchase_order_id = caller.organisation_id, order.id or 0
        session.add(line)
    session.flush()
    record_change(
        session, caller, now, str(order.state), "purchase order", order.id, {"item": item.reference}
    )
    return order


def place_order(
    session: Session, caller: Caller, now: datetime, order: PurchaseOrder, expected_on: date | None = None
) -> PurchaseOrder:
    """Say that the supplier has the order; a second time is refused, so two approvals have one effect."""
    caller.require(Scope.STOCK)
    require_step(order, OrderState.PLACED)
    today = _today(session, caller, now)
    item = stock_items.get_item(session, caller.organisation_id, ItemKey.of(order))
    order.placed_on = today
    order.expected_on = _expected_on(item, today, expected_on)
    return _move(session, caller, now, order, OrderState.PLACED)


def cancel_order(session: Session, caller: Caller, now: datetime, order: PurchaseOrder) -> PurchaseOrder:
    """Expect nothing more of an order; what has come of it stays in the ledger."""
    caller.require(Scope.STOCK)
    require_step(order, OrderState.CANCELLED)
    return _move(session, caller, now, order, OrderState.CANCELLED)


def receive_order(
    session: Session,
    caller: Caller,
    now: datetime,
    order: PurchaseOrder,
    packs: Sequence[PackCount] | None,
    arrival: Arrival,
) -> PurchaseOrder:
    """Book packs that came into the ledger; all that is still to come if none are named."""
    caller.require(Scope.STOCK)
    require_step(order, OrderState.RECEIVED)
    item = stock_items.get_item(session, caller.organisation_id, ItemKey.of(order))
    lines = purchase_orders.lines_of(session, caller.organisation_id, [order])[order.id or 0]
    came = _came(item, lines, packs)
    for line, count in came:
        line.n_received += count
        session.add(line)
        receipt = _receipt(item, line, count)
        record_movement(
            session,
            caller,
            now,
            replace(
                receipt,
                at=arrival.at,
                expires_on=arrival.expires_on,
                note=arrival.note,
                purchase_order_id=order.id,
            ),
        )
    is_complete = all(line.n_received == line.n_packs for line in lines)
    return _move(session, caller, now, order, OrderState.RECEIVED if is_complete else OrderState.PLACED)


def _receipt(item: StockItem, line: PurchaseOrderLine, count: int) -> NewMovement:
    """Packs of one size that came, as an entry of the ledger."""
    quantity = count * line.pack_quantity
    if isinstance(item, Part):
        return NewMovement(
            kind=MovementKind.RECEIPT,
            part=item.reference,
            pieces=round(quantity),
            pack=Amount(pieces=round(line.pack_quantity)),
        )
    return NewMovement(
        kind=MovementKind.RECEIPT,
        fluid=item.reference,
        litres=quantity,
        pack=Amount(litres=line.pack_quantity),
    )


def require_step(order: PurchaseOrder, wanted: OrderState) -> None:
    """Refuse a step that the order's state does not allow.

    Raises
    ------
    StateTransitionError
        Saying where the order stands.
    """
    if OrderState(order.state) not in STATES_BEFORE[wanted]:
        allowed = " or ".join(sorted(STATES_BEFORE[wanted]))
        raise StateTransitionError(
            f"This order is {order.state}; only one that is {allowed} can become {wanted}."
        )


def _came(
    item: StockItem, lines: list[PurchaseOrderLine], packs: Sequence[PackCount] | None
) -> list[tuple[PurchaseOrderLine, int]]:
    if packs is None:
        return [(line, line.n_packs - line.n_received) for line in lines if line.n_received < line.n_packs]
    found: list[tuple[PurchaseOrderLine, int]] = []
    for place, pack in enumerate(packs):
        size = pack.quantity_of(item, place)
        line = next((one for one in lines if abs(one.pack_quantity - size) < SAME_PACK), None)
        if line is None or any(line is other for other, _ in found):
            raise InvalidInputError.at(
                f"/packs/{place}/{unit_of(item)}", "Name each size of the order once at most."
            )
        left = line.n_packs - line.n_received
        if pack.count > left:
            raise InvalidInputError.at(
                f"/packs/{place}/count",
                f"Only {left} are still to come; book more than was ordered as a receipt in the ledger.",
            )
        found.append((line, pack.count))
    return found


def _line(item: StockItem, offers: list[Pack], wanted: PackCount, place: int) -> PurchaseOrderLine:
    size = wanted.quantity_of(item, place)
    offer = next((one for one in offers if abs(one.quantity - size) < SAME_PACK), None)
    if offer is None:
        sizes = (
            ", ".join(f"{one.quantity:.10g}" for one in sorted(offers, key=lambda one: one.quantity))
            or "none"
        )
        raise InvalidInputError.at(
            f"/packs/{place}/{unit_of(item)}",
            f"“{item.reference}” has no pack of this size; known are {sizes}. Add the pack to it first.",
        )
    price = price_of(offer, wanted.count) if wanted.price_minor is None else wanted.price_minor
    if price is None:
        raise InvalidInputError.at(
            f"/packs/{place}/price_minor", "No price of this pack is on file; say what one costs."
        )
    if offer.quantity * wanted.count > plausibility.STOCK_LITRES.maximum:
        raise InvalidInputError.at(
            f"/packs/{place}/count",
            "More than any store holds, so it could never be received; check the count.",
        )
    return PurchaseOrderLine(
        organisation_id=0,
        purchase_order_id=0,
        pack_quantity=offer.quantity,
        n_packs=wanted.count,
        price_minor=price,
    )


def price_of(pack: Pack, count: int) -> int | None:
    """Price of one pack when so many are ordered; none if none is on file."""
    reached = [step["price_minor"] for step in pack.price_breaks if step["from_packs"] <= count]
    return reached[-1] if reached else pack.price_minor


def _expected_on(item: StockItem, today: date, expected_on: date | None) -> date:
    if expected_on is None:
        return today + timedelta(days=ceil(item.lead_time_days))
    if expected_on < today:
        raise InvalidInputError.at("/expected_on", "Lies in the past; nothing is expected before today.")
    return expected_on


def _today(session: Session, caller: Caller, now: datetime) -> date:
    return fleet.get_organisation(session, caller.organisation_id).today(now)


def _move(
    session: Session, caller: Caller, now: datetime, order: PurchaseOrder, state: OrderState
) -> PurchaseOrder:
    order.state = state
    order.version += 1
    session.add(order)
    session.flush()
    record_change(session, caller, now, str(state), "purchase order", order.id, {"version": order.version})
    return order
