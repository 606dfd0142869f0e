"""Write the stock ledger: entries are added, none is ever changed."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from service.domain import plausibility
from service.domain.fluid_ageing import DAYS_PER_YEAR
from service.domain.fluid_kinds import FluidKind
from service.domain.roles import Scope
from service.domain.stock_defaults import SEALED_SHELF_LIFE_MONTHS
from service.domain.stock_entries import MovementKind
from service.domain.zones import local_date, zone_named
from service.errors import DuplicateError, InvalidInputError
from service.store.repositories import fleet, fluids, stock
from service.store.tables.fluids import Fluid
from service.store.tables.stock import StockMovement
from service.usecases.audit import record_change
from service.usecases.caller import Caller

LEAST_LITRES = 1e-3
"""Less than a millilitre is no entry."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewMovement:
    """An entry to write. `litres` is what came, went or, of a count, was found; a correction carries its sign."""

    fluid: str
    kind: MovementKind
    litres: float
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
        If the fluid is unknown, or the entry would say that less than nothing is on the shelf.
    """
    caller.require(Scope.STOCK)
    fluid = fluids.find_fluid(session, caller.organisation_id, new.fluid)
    if fluid is None:
        raise InvalidInputError.at(
            "/fluid", "There is no fluid with this article name or id; add it at /v1/fluids first."
        )
    if new.reference is not None and stock.find_movement_by_reference(
        session, caller.organisation_id, new.reference
    ):
        raise DuplicateError("There is an entry with this reference already; nothing was added.")
    stock.lock_fluid(session, fluid)
    at = now if new.at is None else plausibility.past_instant("/at", new.at, now)
    expires_on = _expiry(session, caller, fluid, new, at)
    signed = _signed_litres(session, fluid, replace(new, at=at))
    row = _store(session, caller, now, fluid, new, (at, signed, expires_on))
    detail = {"fluid": fluid.reference, "kind": str(new.kind), "litres": signed}
    record_change(session, caller, now, "recorded", "stock movement", row.id, detail)
    return row


def add_entry(session: Session, row: StockMovement) -> None:
    """Store an entry; one of before a count is taken back at the count, which had seen it."""
    session.add(row)
    session.flush()
    count = stock.first_count_after(session, row.organisation_id, row.fluid_id, row.at)
    if count is None:
        return
    session.add(
        StockMovement(
            organisation_id=row.organisation_id,
            fluid_id=row.fluid_id,
            kind=MovementKind.CORRECTION,
            litres=-row.litres,
            at=count.at,
            expires_on=row.expires_on,
            note="An entry of before the count was recorded after it; the count had seen it.",
            recorded_at=row.recorded_at,
            recorded_by=row.recorded_by,
        )
    )
    session.flush()


def shelf_life_days(fluid: Fluid) -> int:
    """Days that a sealed pack keeps: the fluid's own, or what its kind usually does."""
    if fluid.shelf_life_days is not None:
        return fluid.shelf_life_days
    return round(SEALED_SHELF_LIFE_MONTHS[FluidKind(fluid.kind)].value * DAYS_PER_YEAR / 12.0)


def _expiry(session: Session, caller: Caller, fluid: Fluid, new: NewMovement, at: datetime) -> date | None:
    if new.kind is not MovementKind.RECEIPT or new.expires_on is not None:
        return new.expires_on
    zone = zone_named("/time_zone", fleet.get_organisation(session, caller.organisation_id).time_zone)
    return local_date(at, zone) + timedelta(days=shelf_life_days(fluid))


def _signed_litres(session: Session, fluid: Fluid, new: NewMovement) -> float:
    """Change that the entry makes to the stock."""
    if new.kind is MovementKind.DRAWN:
        raise InvalidInputError.at(
            "/kind", "What is filled into a vehicle is drawn by recording its service."
        )
    if new.kind is MovementKind.COUNT:
        if new.litres < 0.0:
            raise InvalidInputError.at("/litres", "Nobody finds less than nothing; count again.")
        return new.litres - stock.litres_on_hand(session, fluid.organisation_id, fluid.id or 0, new.at)
    if abs(new.litres) < LEAST_LITRES:
        raise InvalidInputError.at("/litres", "Nothing would change; say how many litres.")
    if new.kind is not MovementKind.CORRECTION and new.litres < 0.0:
        raise InvalidInputError.at(
            "/litres", "Must be above 0 here; to put an entry right, use a correction."
        )
    signed = -new.litres if new.kind is MovementKind.DISCARDED else new.litres
    if signed < 0.0:
        _require_on_hand(session, fluid, -signed)
    return signed


def _require_on_hand(session: Session, fluid: Fluid, litres: float) -> None:
    held = stock.litres_on_hand(session, fluid.organisation_id, fluid.id or 0)
    if litres > held + LEAST_LITRES:
        raise InvalidInputError.at(
            "/litres",
            f"The ledger holds {max(held, 0.0):.10g} litres; count the shelf and record the count instead.",
        )


def _store(
    session: Session,
    caller: Caller,
    now: datetime,
    fluid: Fluid,
    new: NewMovement,
    worked_out: tuple[datetime, float, date | None],
) -> StockMovement:
    at, signed, expires_on = worked_out
    row = StockMovement(
        organisation_id=caller.organisation_id,
        fluid_id=fluid.id or 0,
        kind=new.kind,
        litres=signed,
        counted_litres=new.litres if new.kind is MovementKind.COUNT else None,
        at=at,
        expires_on=expires_on,
        purchase_order_id=new.purchase_order_id,
        reference=new.reference,
        note=new.note,
        recorded_at=now,
        recorded_by=caller.actor[:80],
    )
    try:
        with session.begin_nested():
            add_entry(session, row)
    except IntegrityError as error:
        # Two senders used the reference at the same moment; the other one was first.
        raise DuplicateError("There is an entry with this reference already; nothing was added.") from error
    return row
