"""Purchase orders: plan, place, receive in parts, cancel."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil

from sqlmodel import Session

from service.domain.roles import Scope
from service.domain.stock_entries import STATES_BEFORE, MovementKind, OrderState
from service.domain.zones import local_date, zone_named
from service.errors import DuplicateError, InvalidInputError, StateTransitionError
from service.store.repositories import fleet, fluids, purchase_orders
from service.store.tables.fluids import Fluid, Pack
from service.store.tables.stock import PurchaseOrder, PurchaseOrderLine
from service.usecases.audit import record_change
from service.usecases.caller import Caller
from service.usecases.record_movements import NewMovement, record_movement

SAME_PACK_LITRES = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class PackCount:
    """Packs of one size, and what one costs if that differs from the price on file."""

    litres: float
    count: int
    price_minor: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NewOrder:
    """Packs of one fluid to ask of a supplier."""

    fluid: str
    packs: Sequence[PackCount]
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
        If the fluid or a pack is unknown, or a price is missing.
    DuplicateError
        If the order number is taken.
    """
    caller.require(Scope.STOCK)
    fluid = fluids.find_fluid(session, caller.organisation_id, new.fluid)
    if fluid is None:
        raise InvalidInputError.at(
            "/fluid", "There is no fluid with this article name or id; add it at /v1/fluids first."
        )
    if new.reference is not None and purchase_orders.find_order_by_reference(
        session, caller.organisation_id, new.reference
    ):
        raise DuplicateError("There is a purchase order with this reference already.")
    today = _today(session, caller, now)
    offers = fluids.list_packs(session, caller.organisation_id, fluid.id)
    lines = [_line(offers, wanted, place) for place, wanted in enumerate(new.packs)]
    if len({line.pack_litres for line in lines}) != len(lines):
        raise InvalidInputError.at("/packs", "Name each size once.")
    order = PurchaseOrder(
        organisation_id=caller.organisation_id,
        fluid_id=fluid.id or 0,
        reference=new.reference,
        state=OrderState.PLACED if new.is_placed else OrderState.PLANNED,
        placed_on=today if new.is_placed else None,
        expected_on=_expected_on(fluid, today, new.expected_on),
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
        session, caller, now, str(order.state), "purchase order", order.id, {"fluid": fluid.reference}
    )
    return order


def place_order(
    session: Session, caller: Caller, now: datetime, order: PurchaseOrder, expected_on: date | None = None
) -> PurchaseOrder:
    """Say that the supplier has the order; a second time is refused, so two approvals have one effect."""
    caller.require(Scope.STOCK)
    require_step(order, OrderState.PLACED)
    today = _today(session, caller, now)
    fluid = fluids.get_fluid_by_id(session, caller.organisation_id, order.fluid_id)
    order.placed_on = today
    order.expected_on = _expected_on(fluid, today, expected_on)
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
    fluid = fluids.get_fluid_by_id(session, caller.organisation_id, order.fluid_id)
    lines = purchase_orders.lines_of(session, caller.organisation_id, [order])[order.id or 0]
    came = _came(lines, packs)
    for line, count in came:
        line.n_received += count
        session.add(line)
        record_movement(
            session,
            caller,
            now,
            NewMovement(
                fluid=fluid.reference,
                kind=MovementKind.RECEIPT,
                litres=count * line.pack_litres,
                at=arrival.at,
                expires_on=arrival.expires_on,
                note=arrival.note,
                purchase_order_id=order.id,
            ),
        )
    is_complete = all(line.n_received == line.n_packs for line in lines)
    return _move(session, caller, now, order, OrderState.RECEIVED if is_complete else OrderState.PLACED)


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
    lines: list[PurchaseOrderLine], packs: Sequence[PackCount] | None
) -> list[tuple[PurchaseOrderLine, int]]:
    if packs is None:
        return [(line, line.n_packs - line.n_received) for line in lines if line.n_received < line.n_packs]
    found: list[tuple[PurchaseOrderLine, int]] = []
    for place, pack in enumerate(packs):
        line = next((one for one in lines if abs(one.pack_litres - pack.litres) < SAME_PACK_LITRES), None)
        if line is None or any(line is other for other, _ in found):
            raise InvalidInputError.at(f"/packs/{place}/litres", "Name each size of the order once at most.")
        left = line.n_packs - line.n_received
        if pack.count > left:
            raise InvalidInputError.at(
                f"/packs/{place}/count",
                f"Only {left} are still to come; book more than was ordered as a receipt in the ledger.",
            )
        found.append((line, pack.count))
    return found


def _line(offers: list[Pack], wanted: PackCount, place: int) -> PurchaseOrderLine:
    offer = next((one for one in offers if abs(one.litres - wanted.litres) < SAME_PACK_LITRES), None)
    if offer is None:
        raise InvalidInputError.at(
            f"/packs/{place}/litres", "The fluid has no pack of this size; add the pack to the fluid first."
        )
    price = price_of(offer, wanted.count) if wanted.price_minor is None else wanted.price_minor
    if price is None:
        raise InvalidInputError.at(
            f"/packs/{place}/price_minor", "No price of this pack is on file; say what one costs."
        )
    return PurchaseOrderLine(
        organisation_id=0,
        purchase_order_id=0,
        pack_litres=offer.litres,
        n_packs=wanted.count,
        price_minor=price,
    )


def price_of(pack: Pack, count: int) -> int | None:
    """Price of one pack when so many are ordered; none if none is on file."""
    reached = [step["price_minor"] for step in pack.price_breaks if step["from_packs"] <= count]
    return reached[-1] if reached else pack.price_minor


def _expected_on(fluid: Fluid, today: date, expected_on: date | None) -> date:
    if expected_on is None:
        return today + timedelta(days=ceil(fluid.lead_time_days))
    if expected_on < today:
        raise InvalidInputError.at("/expected_on", "Lies in the past; nothing is expected before today.")
    return expected_on


def _today(session: Session, caller: Caller, now: datetime) -> date:
    zone = zone_named("/time_zone", fleet.get_organisation(session, caller.organisation_id).time_zone)
    return local_date(now, zone)


def _move(
    session: Session, caller: Caller, now: datetime, order: PurchaseOrder, state: OrderState
) -> PurchaseOrder:
    order.state = state
    order.version += 1
    session.add(order)
    session.flush()
    record_change(session, caller, now, str(state), "purchase order", order.id, {"version": order.version})
    return order
