"""Services with their items and rounds, and samples."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import or_
from sqlmodel import Session, col, select

from service.domain.external_ids import IdKind
from service.domain.stock_entries import MovementKind
from service.store.in_lists import is_one_of
from service.store.own_rows import get_own
from service.store.tables.services import ReturnVisit, Round, Sample, Service, ServiceItem
from service.store.tables.stock import StockMovement
from service.store.tables.vehicles import Compartment


@dataclass(frozen=True, slots=True)
class DoneItem:
    """What one service did to one compartment."""

    service: Service
    item: ServiceItem
    rounds: tuple[Round, ...]


def items_of_compartments(
    session: Session, organisation_id: int, compartment_ids: Sequence[int]
) -> dict[int, list[DoneItem]]:
    """Service items by compartment, oldest first; voided services are left out."""
    query = (
        select(Service, ServiceItem)
        .join(ServiceItem, col(ServiceItem.service_id) == Service.id)
        .where(
            Service.organisation_id == organisation_id,
            col(ServiceItem.compartment_id).in_(compartment_ids),
            col(Service.voided_at).is_(None),
        )
        .order_by(col(Service.done_at), col(Service.id), col(ServiceItem.id))
    )
    pairs = session.exec(query).all()
    rounds = rounds_of_items(session, organisation_id, [item.id for _, item in pairs if item.id is not None])
    found: dict[int, list[DoneItem]] = {}
    for service, item in pairs:
        found.setdefault(item.compartment_id, []).append(
            DoneItem(service, item, tuple(rounds.get(item.id, ())))
        )
    return found


def items_of_services(session: Session, organisation_id: int, wanted: Sequence[Service]) -> list[DoneItem]:
    """What some services did, in the order it was recorded, voided ones too."""
    by_id = {service.id: service for service in wanted}
    query = select(ServiceItem).where(
        ServiceItem.organisation_id == organisation_id, col(ServiceItem.service_id).in_(by_id)
    )
    items = list(session.exec(query.order_by(col(ServiceItem.id))))
    rounds = rounds_of_items(session, organisation_id, [item.id for item in items if item.id is not None])
    return [DoneItem(by_id[item.service_id], item, tuple(rounds.get(item.id, ()))) for item in items]


def items_recorded_since(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], instant: datetime
) -> list[DoneItem]:
    """What services of some vehicles that were recorded from an instant on did; voided ones are left out."""
    query = select(Service).where(
        Service.organisation_id == organisation_id,
        is_one_of(session, col(Service.vehicle_id), vehicle_ids),
        col(Service.recorded_at) >= instant,
        col(Service.voided_at).is_(None),
    )
    return items_of_services(session, organisation_id, list(session.exec(query.order_by(col(Service.id)))))


def last_service_at(session: Session, organisation_id: int, vehicle_id: int) -> datetime | None:
    """When a vehicle was last serviced; voided services are left out."""
    query = select(Service.done_at).where(
        Service.organisation_id == organisation_id,
        Service.vehicle_id == vehicle_id,
        col(Service.voided_at).is_(None),
    )
    return session.exec(query.order_by(col(Service.done_at).desc()).limit(1)).first()


def has_reference(session: Session, organisation_id: int, reference: str) -> bool:
    """Whether a service that is not void carries a sender's reference."""
    query = select(Service.id).where(
        Service.organisation_id == organisation_id,
        Service.reference == reference,
        col(Service.voided_at).is_(None),
    )
    return session.exec(query).first() is not None


def find_service_at(
    session: Session, organisation_id: int, compartment_ids: Sequence[int], done_at: datetime
) -> Service | None:
    """Service that did something to one of these compartments at this very instant and is not void."""
    query = (
        select(Service)
        .join(ServiceItem, col(ServiceItem.service_id) == Service.id)
        .where(
            Service.organisation_id == organisation_id,
            Service.done_at == done_at,
            col(Service.voided_at).is_(None),
            ServiceItem.organisation_id == organisation_id,
            col(ServiceItem.compartment_id).in_(compartment_ids),
        )
    )
    return session.exec(query.order_by(col(Service.id)).limit(1)).first()


def draws_of_service(session: Session, organisation_id: int, service_id: int) -> list[StockMovement]:
    """Entries of the stock ledger that a service wrote."""
    query = select(StockMovement).where(
        StockMovement.organisation_id == organisation_id,
        StockMovement.service_id == service_id,
        StockMovement.kind == MovementKind.DRAWN,
    )
    return list(session.exec(query.order_by(col(StockMovement.id))))


def rounds_of_items(
    session: Session, organisation_id: int, item_ids: Sequence[int]
) -> dict[int | None, list[Round]]:
    """Rounds by item, in the order they were done."""
    query = select(Round).where(Round.organisation_id == organisation_id, col(Round.item_id).in_(item_ids))
    found: dict[int | None, list[Round]] = {}
    for row in session.exec(query.order_by(col(Round.item_id), col(Round.number))):
        found.setdefault(row.item_id, []).append(row)
    return found


def samples_of_compartments(
    session: Session, organisation_id: int, compartment_ids: Sequence[int]
) -> dict[int, list[Sample]]:
    """Samples by compartment, oldest first; voided ones are left out."""
    query = select(Sample).where(
        Sample.organisation_id == organisation_id,
        col(Sample.compartment_id).in_(compartment_ids),
        col(Sample.voided_at).is_(None),
    )
    found: dict[int, list[Sample]] = {}
    for row in session.exec(query.order_by(col(Sample.taken_at), col(Sample.id))):
        found.setdefault(row.compartment_id, []).append(row)
    return found


def get_service(session: Session, organisation_id: int, reference: str) -> Service:
    """Service by its id.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    return get_own(
        session, Service, organisation_id, IdKind.SERVICE, reference, "There is no service with this id."
    )


def list_services(
    session: Session,
    organisation_id: int,
    *,
    vehicle_id: int | None = None,
    reference: str | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> list[Service]:
    """Services in the order they were recorded, a page at a time."""
    query = select(Service).where(Service.organisation_id == organisation_id, col(Service.id) > after_id)
    if vehicle_id is not None:
        query = query.where(Service.vehicle_id == vehicle_id)
    if reference is not None:
        query = query.where(Service.reference == reference)
    return list(session.exec(query.order_by(col(Service.id)).limit(limit)))


def list_samples(
    session: Session,
    organisation_id: int,
    *,
    compartment_id: int | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> list[Sample]:
    """Samples in the order they were recorded, a page at a time."""
    query = select(Sample).where(Sample.organisation_id == organisation_id, col(Sample.id) > after_id)
    if compartment_id is not None:
        query = query.where(Sample.compartment_id == compartment_id)
    return list(session.exec(query.order_by(col(Sample.id)).limit(limit)))


def get_sample(session: Session, organisation_id: int, reference: str) -> Sample:
    """Sample by its id.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    return get_own(
        session, Sample, organisation_id, IdKind.SAMPLE, reference, "There is no sample with this id."
    )


def samples_at(session: Session, sample: Sample) -> list[Sample]:
    """Samples on record that a new one could repeat: of the same instant, or with the same reference."""
    query = select(Sample).where(
        Sample.organisation_id == sample.organisation_id,
        Sample.compartment_id == sample.compartment_id,
        Sample.source == sample.source,
        col(Sample.voided_at).is_(None),
        or_(col(Sample.taken_at) == sample.taken_at, col(Sample.reference) == sample.reference),
    )
    return list(session.exec(query))


def return_visits_of_compartments(
    session: Session, organisation_id: int, compartment_ids: Sequence[int]
) -> dict[int, list[ReturnVisit]]:
    """Accepted return visits by compartment, oldest first, cancelled ones too."""
    query = select(ReturnVisit).where(
        ReturnVisit.organisation_id == organisation_id, col(ReturnVisit.compartment_id).in_(compartment_ids)
    )
    found: dict[int, list[ReturnVisit]] = {}
    for row in session.exec(query.order_by(col(ReturnVisit.id))):
        found.setdefault(row.compartment_id, []).append(row)
    return found


def get_return_visit(session: Session, organisation_id: int, reference: str) -> ReturnVisit:
    """Return visit by its id.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    return get_own(
        session,
        ReturnVisit,
        organisation_id,
        IdKind.RETURN_VISIT,
        reference,
        "There is no return visit with this id.",
    )


def vehicles_with_laboratory_samples(session: Session, organisation_id: int) -> set[int]:
    """Vehicles of whose fluids a laboratory has said something."""
    query = (
        select(Compartment.vehicle_id)
        .join(Sample, col(Sample.compartment_id) == Compartment.id)
        .where(
            Compartment.organisation_id == organisation_id,
            Sample.organisation_id == organisation_id,
            col(Sample.has_values).is_(True),
            col(Sample.voided_at).is_(None),
        )
        .distinct()
    )
    return set(session.exec(query))
