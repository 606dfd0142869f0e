"""Write the stock ledger: entries are added, none is ever changed."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from service.domain import plausibility
from service.domain.roles import Scope
from service.domain.stock_entries import MovementKind
from service.errors import DuplicateError, InvalidInputError
from service.store.repositories import fleet, stock, stock_items
from service.store.repositories.stock_items import ItemKey, StockItem
from service.store.tables.stock import StockMovement
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.stock.stock_items import Amount, item_named, shelf_life_days, unit_of

LEAST_QUANTITY = 1e-3
"""Less than a millilitre is no entry."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewMovement:
    """An entry to write. The amount is what came, went or, of a count, was found; a correction carries its sign."""

    kind: MovementKind
    fluid: str | None = None
    part: str | None = None
    litres: float | None = None
    pieces: int | None = None
    pack: Amount | None = None
    """Size of the packs of a receipt, if that is known."""

    at: datetime | None = None
    expires_on: date | None = None
    reference: str | None = None
    note: str | None = None
    purchase_order_id: int | None = None


def record_movement(session: Session, caller: Caller, now: datetime, new: NewMovement) -> StockMovement:
    """Add one entry to the ledger.

    Raises
    ------
    DuplicateError
        If there is an entry with this reference.
    InvalidInputError
        If the fluid or part is unknown, or the entry would say that less than nothing is on the shelf.
    """
    caller.require(Scope.STOCK)
    item = item_named(session, caller.organisation_id, new.fluid, new.part)
    amount = Amount(litres=new.litres, pieces=new.pieces).of(item, "")
    if new.reference is not None and stock.find_movement_by_reference(
        session, caller.organisation_id, new.reference
    ):
        raise DuplicateError("There is an entry with this reference already; nothing was added.")
    if new.pack is not None and new.kind is not MovementKind.RECEIPT:
        raise InvalidInputError.at(
            f"/pack_{unit_of(item)}", "Only what is received comes in packs; leave it out."
        )
    stock_items.lock_item(session, item)
    at = now if new.at is None else plausibility.past_instant("/at", new.at, now)
    expires_on = _expiry(session, caller, item, new, at)
    signed = _signed(session, item, new.kind, amount, at)
    counted = amount if new.kind is MovementKind.COUNT else None
    key = ItemKey.of(item)
    row = StockMovement(
        organisation_id=caller.organisation_id,
        fluid_id=key.fluid_id,
        part_id=key.part_id,
        kind=new.kind,
        quantity=signed,
        counted_quantity=counted,
        pack_quantity=None if new.pack is None else new.pack.of(item, "/pack"),
        at=at,
        expires_on=expires_on,
        purchase_order_id=new.purchase_order_id,
        reference=new.reference,
        note=new.note,
        recorded_at=now,
        recorded_by=caller.actor[:80],
    )
    _store(session, row)
    detail = {"item": item.reference, "kind": str(new.kind), unit_of(item): signed}
    record_change(session, caller, now, "recorded", "stock movement", row.id, detail)
    return row


def add_entry(session: Session, row: StockMovement) -> None:
    """Store an entry; one of before a count is taken back at the count, which had seen it."""
    session.add(row)
    session.flush()
    count = stock.first_count_after(session, row.organisation_id, ItemKey.of(row), row.at)
    if count is None:
        return
    session.add(
        StockMovement(
            organisation_id=row.organisation_id,
            fluid_id=row.fluid_id,
            part_id=row.part_id,
            kind=MovementKind.CORRECTION,
            quantity=-row.quantity,
            at=count.at,
            expires_on=row.expires_on,
            note="An entry of before the count was recorded after it; the count had seen it.",
            recorded_at=row.recorded_at,
            recorded_by=row.recorded_by,
        )
    )
    session.flush()


def _expiry(session: Session, caller: Caller, item: StockItem, new: NewMovement, at: datetime) -> date | None:
    life = shelf_life_days(item)
    if new.kind is not MovementKind.RECEIPT or new.expires_on is not None or life is None:
        return new.expires_on
    return fleet.get_organisation(session, caller.organisation_id).today(at) + timedelta(days=life)


def _signed(session: Session, item: StockItem, kind: MovementKind, amount: float, at: datetime) -> float:
    """Change that the entry makes to the stock."""
    unit = unit_of(item)
    if kind is MovementKind.DRAWN:
        raise InvalidInputError.at("/kind", "What goes into a vehicle is drawn by recording its service.")
    if kind is MovementKind.COUNT:
        if amount < 0.0:
            raise InvalidInputError.at(f"/{unit}", "Nobody finds less than nothing; count again.")
        change = amount - stock.quantity_on_hand(session, item, at)
        if abs(change) > plausibility.STOCK_LITRES.maximum:
            raise InvalidInputError.at(
                f"/{unit}",
                "That is too far from the ledger for one entry; bring it nearer by corrections first.",
            )
        return change
    if abs(amount) < LEAST_QUANTITY:
        raise InvalidInputError.at(f"/{unit}", f"Nothing would change; say how many {unit}.")
    if kind is not MovementKind.CORRECTION and amount < 0.0:
        raise InvalidInputError.at(
            f"/{unit}", "Must be above 0 here; to put an entry right, use a correction."
        )
    signed = -amount if kind in {MovementKind.DISCARDED, MovementKind.USED} else amount
    if signed < 0.0:
        _require_on_hand(session, item, -signed)
    return signed


def _require_on_hand(session: Session, item: StockItem, quantity: float) -> None:
    held = stock.quantity_on_hand(session, item)
    if quantity > held + LEAST_QUANTITY:
        unit = unit_of(item)
        raise InvalidInputError.at(
            f"/{unit}",
            f"The ledger holds {max(held, 0.0):.10g} {unit}; count the shelf and record the count instead.",
        )


def _store(session: Session, row: StockMovement) -> None:
    try:
        with session.begin_nested():
            add_entry(session, row)
    except IntegrityError as error:
        if row.reference is None:
            raise
        # Two senders used the reference at the same moment; the other one was first.
        raise DuplicateError("There is an entry with this reference already; nothing was added.") from error
