"""What the visit plan rests on, as columns: vehicles, pins, days that published lists promise, prices of fluids."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any, Final, NamedTuple

from sqlalchemy import ColumnElement, and_
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, func, select

from service.domain.external_ids import IdKind
from service.store.bulk import fetch_parts
from service.store.own_rows import get_own
from service.store.repositories.due_lists import is_closed
from service.store.repositories.fleet import in_use
from service.store.tables.due_lists import DueList, DueListLine, LineEvent
from service.store.tables.fluids import Pack
from service.store.tables.services import Service
from service.store.tables.vehicles import Vehicle
from service.store.tables.visits import VisitPin

_ON_LIST: Final = and_(
    col(DueListLine.organisation_id) == DueList.organisation_id, col(DueListLine.due_list_id) == DueList.id
)


class VehicleFacts(NamedTuple):
    """What a plan needs of a vehicle."""

    reference: str
    depot_id: int
    available_weekdays: int


class PromisedDay(NamedTuple):
    """An open line of a published list with the day it was given, or moved to."""

    vehicle_id: int
    iso_week: str
    planned_on: date | None
    moved_to_on: date | None
    moved_at: datetime | None
    moved_by: str | None


def vehicles_in_use(session: Session, organisation_id: int) -> dict[int, VehicleFacts]:
    """All vehicles in use, by key, in ascending order."""
    columns = Vehicle.id, Vehicle.reference, Vehicle.depot_id, Vehicle.available_weekdays
    query = (
        select_columns(*(col(column) for column in columns))
        .where(*in_use(organisation_id))
        .order_by(col(Vehicle.id))
    )
    parts = fetch_parts(session, query)
    return {key: VehicleFacts(name, depot, days) for rows in parts for key, name, depot, days in rows}


def list_pins(session: Session, organisation_id: int) -> list[VisitPin]:
    """All pins, the oldest first."""
    query = select(VisitPin).where(VisitPin.organisation_id == organisation_id)
    return list(session.exec(query.order_by(col(VisitPin.id))))


def list_live_pins(session: Session, organisation_id: int, today: date) -> list[VisitPin]:
    """Pins that still ask for something: their day has not passed, and no service was done since they were set."""
    was_served = (
        select(Service.id)
        .where(
            Service.organisation_id == VisitPin.organisation_id,
            Service.vehicle_id == VisitPin.vehicle_id,
            col(Service.done_at) >= VisitPin.created_at,
            col(Service.voided_at).is_(None),
        )
        .exists()
    )
    query = select(VisitPin).where(
        VisitPin.organisation_id == organisation_id, VisitPin.day >= today, ~was_served
    )
    return list(session.exec(query.order_by(col(VisitPin.id))))


def find_pin(session: Session, organisation_id: int, vehicle_id: int) -> VisitPin | None:
    """Pin of a vehicle, if it has one."""
    query = select(VisitPin).where(
        VisitPin.organisation_id == organisation_id, VisitPin.vehicle_id == vehicle_id
    )
    return session.exec(query).first()


def get_pin(session: Session, organisation_id: int, reference: str) -> VisitPin:
    """Pin by its id.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    return get_own(
        session, VisitPin, organisation_id, IdKind.VISIT_PIN, reference, "There is no pin with this id."
    )


def published_weeks(session: Session, organisation_id: int, from_week: str) -> list[str]:
    """ISO weeks from this one on that have a list; weeks sort as they are written."""
    query = select(DueList.iso_week).where(
        DueList.organisation_id == organisation_id, DueList.iso_week >= from_week
    )
    return list(session.exec(query.order_by(col(DueList.iso_week))))


def promised_days(session: Session, organisation_id: int, from_week: str) -> list[PromisedDay]:
    """Open lines of the lists from a week on, and of the latest list before it, the earliest week first."""
    lists = _lists_in_force(session, organisation_id, from_week)
    events = _events_on(session, lists)
    columns = (
        DueListLine.id,
        DueListLine.vehicle_id,
        DueListLine.change,
        DueList.iso_week,
        DueListLine.planned_on,
    )
    lines = session.connection().execute(
        select_columns(*(col(column) for column in columns))
        .join(DueList, _ON_LIST)
        .where(lists)
        .order_by(col(DueList.iso_week), col(DueListLine.position))
    )
    with_events = ((line, events.get(line.id, [])) for line in lines)
    return [_promise(line, own) for line, own in with_events if not is_closed(own)]


def prices_minor_a_litre(session: Session, organisation_id: int) -> dict[int, float]:
    """Lowest known price of a litre, by fluid; fluids without a priced pack are missing."""
    query = select(Pack.fluid_id, Pack.quantity, Pack.price_minor).where(
        Pack.organisation_id == organisation_id,
        col(Pack.fluid_id).is_not(None),
        col(Pack.price_minor).is_not(None),
    )
    found: dict[int, float] = {}
    for fluid_id, litres, price_minor in session.exec(query):
        price = float(price_minor or 0) / litres
        found[fluid_id or 0] = min(price, found.get(fluid_id or 0, price))
    return found


def _lists_in_force(session: Session, organisation_id: int, from_week: str) -> ColumnElement[bool]:
    """What is true of the lists from a week on, and of the latest one before it."""
    latest_before = session.exec(
        select(func.max(DueList.iso_week)).where(
            DueList.organisation_id == organisation_id, DueList.iso_week < from_week
        )
    ).one()
    return and_(
        col(DueList.organisation_id) == organisation_id,
        col(DueList.iso_week) >= (latest_before or from_week),
    )


def _events_on(session: Session, lists: ColumnElement[bool]) -> dict[int, list[LineEvent]]:
    """What happened to the lines of some lists, by line, oldest first."""
    found: dict[int, list[LineEvent]] = {}
    for event in session.exec(
        select(LineEvent)
        .join(DueListLine, col(DueListLine.id) == LineEvent.line_id)
        .join(DueList, _ON_LIST)
        .where(lists)
        .order_by(col(LineEvent.id))
    ):
        found.setdefault(event.line_id, []).append(event)
    return found


def _promise(line: Any, events: Sequence[LineEvent]) -> PromisedDay:
    """The day of a line: where it was last moved to, or where the list itself had moved it."""
    move = next((event for event in reversed(events) if event.kind == "moved"), None)
    by_list = line.planned_on if line.change == "moved" else None
    return PromisedDay(
        vehicle_id=line.vehicle_id,
        iso_week=line.iso_week,
        planned_on=line.planned_on,
        moved_to_on=by_list if move is None else move.moved_to_on,
        moved_at=None if move is None else move.at,
        moved_by=None if move is None else move.by,
    )
