"""What past services took: rounds by kind, and top-ups by fluid."""

from datetime import datetime

from sqlalchemy import func
from sqlalchemy import select as core_select
from sqlmodel import Session, col

from service.domain.exchange_methods import ExchangeMethod
from service.store.tables.services import Round, Service, ServiceItem
from service.store.tables.vehicles import Compartment


def count_rounds(
    session: Session, organisation_id: int, since: datetime
) -> list[tuple[str, float, float, int, int]]:
    """Kind, total and drainable litres, rounds done, and how many services by rounds were like that."""
    rounds = (
        core_select(col(Round.item_id), func.count().label("n_rounds"))
        .where(col(Round.organisation_id) == organisation_id)
        .group_by(col(Round.item_id))
        .subquery()
    )
    shape = (
        col(Compartment.kind),
        col(Compartment.total_litres),
        col(Compartment.drainable_litres),
        rounds.c.n_rounds,
    )
    query = (
        core_select(*shape, func.count())
        .join(ServiceItem, col(ServiceItem.compartment_id) == Compartment.id)
        .join(Service, col(Service.id) == ServiceItem.service_id)
        .join(rounds, rounds.c.item_id == ServiceItem.id)
        .where(
            col(ServiceItem.organisation_id) == organisation_id,
            col(ServiceItem.method) == ExchangeMethod.DRAIN_AND_FILL,
            col(Service.done_at) >= since,
            col(Service.voided_at).is_(None),
        )
        .group_by(*shape)
    )
    return [(row[0], row[1], row[2], row[3], row[4]) for row in session.execute(query)]


def read_top_ups(session: Session, organisation_id: int, since: datetime) -> list[tuple[int, float]]:
    """Fluid and litres of every top-up since an instant."""
    fluid_id = func.coalesce(col(ServiceItem.fluid_id), col(Compartment.fluid_id))
    litres = func.sum(col(Round.filled_litres))
    query = (
        core_select(fluid_id, litres)
        .join(Compartment, col(Compartment.id) == ServiceItem.compartment_id)
        .join(Service, col(Service.id) == ServiceItem.service_id)
        .join(Round, col(Round.item_id) == ServiceItem.id)
        .where(
            col(ServiceItem.organisation_id) == organisation_id,
            col(ServiceItem.method) == ExchangeMethod.TOP_UP,
            col(Service.done_at) >= since,
            col(Service.voided_at).is_(None),
            fluid_id.is_not(None),
        )
        .group_by(col(ServiceItem.id), fluid_id)
        .having(litres > 0.0)
        .order_by(col(ServiceItem.id))
    )
    return [(row[0], row[1]) for row in session.execute(query)]


def first_service_at(session: Session, organisation_id: int) -> datetime | None:
    """When the first service on record was done."""
    query = core_select(func.min(col(Service.done_at))).where(
        col(Service.organisation_id) == organisation_id, col(Service.voided_at).is_(None)
    )
    instant: datetime | None = session.execute(query).scalar_one()
    return instant
