"""Rows that nobody will ask for again."""

from datetime import datetime, timedelta
from typing import Any, Final

from sqlalchemy import ColumnElement, delete
from sqlmodel import Session, SQLModel, col, select

from service.store.tables.access import PageSession
from service.store.tables.machine_sources import MachineReading
from service.store.tables.operations import (
    IdempotencyKey,
    JobFailure,
    JobRun,
    NodeHeartbeat,
    OutboxMessage,
)

ROWS_A_TURN: Final = 2000
"""Rows deleted in one transaction, so that other writers wait for less than a second."""

ANSWERS_KEPT: Final = timedelta(days=9)
"""Longer than a week, so that a sender that runs weekly can still retry."""

DELIVERIES_KEPT: Final = timedelta(days=400)
FAILURES_KEPT: Final = timedelta(days=90)
RUNS_KEPT: Final = timedelta(days=3 * 366)
"""Who published which list and when; the lists themselves, and the audit trail, are kept for good. Own choice."""

HEARTBEATS_KEPT: Final = timedelta(days=2)
MACHINE_VALUES_KEPT: Final = timedelta(days=400)
"""What they became, the readings of the vehicles, is kept for good."""


def delete_some(session: Session, now: datetime) -> int:
    """Delete some of what is old; returns how many rows, zero when nothing is left."""
    return sum(_delete(session, table, condition) for table, condition in _old(now))


def _old(now: datetime) -> list[tuple[type[SQLModel], ColumnElement[bool]]]:
    closed = col(OutboxMessage.state).in_(("sent", "given_up"))
    return [
        (IdempotencyKey, col(IdempotencyKey.created_at) < now - ANSWERS_KEPT),
        (PageSession, col(PageSession.expires_at) < now),
        (OutboxMessage, closed & (col(OutboxMessage.created_at) < now - DELIVERIES_KEPT)),
        (JobFailure, col(JobFailure.at) < now - FAILURES_KEPT),
        (JobRun, col(JobRun.finished_at) < now - RUNS_KEPT),
        (MachineReading, col(MachineReading.received_at) < now - MACHINE_VALUES_KEPT),
        (NodeHeartbeat, col(NodeHeartbeat.ticked_at) < now - HEARTBEATS_KEPT),
    ]


def _delete(session: Session, table: Any, condition: ColumnElement[bool]) -> int:
    key = table.__table__.primary_key.columns[0]
    some = select(key).where(condition).limit(ROWS_A_TURN)
    result = session.execute(delete(table).where(key.in_(some)).execution_options(synchronize_session=False))
    return int(getattr(result, "rowcount", 0))
