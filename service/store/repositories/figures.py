"""Figures about the service's own work, over all organisations; for operators only."""

from datetime import datetime

from sqlalchemy import func
from sqlmodel import Session, col, select

from service.store.repositories.outbox import OPEN
from service.store.tables.operations import OutboxMessage
from service.store.tables.projections import Projection


def oldest_open_message(session: Session) -> datetime | None:
    """When the oldest message that was not delivered yet came into the outbox."""
    query = select(func.min(col(OutboxMessage.created_at)))
    return session.exec(query.where(col(OutboxMessage.state).in_(OPEN))).one()


def count_open_messages(session: Session) -> int:
    """How many messages are not delivered yet."""
    query = select(func.count(col(OutboxMessage.id)))
    return session.exec(query.where(col(OutboxMessage.state).in_(OPEN))).one()


def oldest_projection(session: Session) -> datetime | None:
    """As of when the oldest projection was made."""
    return session.exec(select(func.min(col(Projection.as_of)))).one()
