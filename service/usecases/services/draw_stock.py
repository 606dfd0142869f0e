"""What a service takes from the shelf: the fluids it filled, and the seals and washers it renewed."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from sqlmodel import Session

from service.domain.stock_entries import MovementKind
from service.store.repositories import services, stock_items
from service.store.repositories.stock_items import ItemKey
from service.store.tables.fluids import Fluid
from service.store.tables.services import Service
from service.store.tables.stock import StockMovement
from service.store.tables.vehicles import Compartment
from service.usecases.access.caller import Caller
from service.usecases.services.service_entries import NewWork
from service.usecases.stock.record_movements import add_entry

Work = tuple[NewWork, Compartment, Fluid | None]


def draw_stock(
    session: Session, caller: Caller, now: datetime, service: Service, works: Sequence[Work]
) -> None:
    """Write one entry an item; a fluid that nobody named and a part that nobody keeps cannot be drawn."""
    amounts: dict[ItemKey, float] = {}
    for work, _, fluid in works:
        if fluid is not None:
            _add(amounts, ItemKey.of(fluid), work.filled_litres)
    renewed = [seal for work, place, _ in works if work.seals_renewed for seal in place.seals]
    if renewed:
        parts = {part.reference: part for part in stock_items.list_parts(session, caller.organisation_id)}
        for seal in renewed:
            if seal["part"] in parts:
                _add(amounts, ItemKey.of(parts[seal["part"]]), float(seal["pieces"]))
    for key, amount in amounts.items():
        add_entry(session, _entry(caller, now, service, key, (MovementKind.DRAWN, -amount, service.done_at)))


def return_drawn(session: Session, caller: Caller, now: datetime, service: Service) -> None:
    """Put back what a service that was recorded by mistake has drawn."""
    for drawn in _drawn_by(session, service):
        what = (MovementKind.CORRECTION, -drawn.quantity, drawn.at)
        entry = _entry(caller, now, service, ItemKey.of(drawn), what)
        entry.note = "The service that drew this was recorded by mistake."
        add_entry(session, entry)


def _drawn_by(session: Session, service: Service) -> Iterable[StockMovement]:
    return services.draws_of_service(session, service.organisation_id, service.id or 0)


def _add(amounts: dict[ItemKey, float], key: ItemKey, amount: float) -> None:
    amounts[key] = amounts.get(key, 0.0) + amount


def _entry(
    caller: Caller,
    now: datetime,
    service: Service,
    key: ItemKey,
    what: tuple[MovementKind, float, datetime],
) -> StockMovement:
    kind, quantity, at = what
    return StockMovement(
        organisation_id=caller.organisation_id,
        fluid_id=key.fluid_id,
        part_id=key.part_id,
        kind=kind,
        quantity=quantity,
        at=at,
        service_id=service.id,
        recorded_at=now,
        recorded_by=caller.actor[:80],
    )
