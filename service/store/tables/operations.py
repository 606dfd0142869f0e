"""What keeps the service honest about its own work: retried calls, runs, things to send."""

from datetime import datetime
from typing import Any

from sqlalchemy import Column, Index, LargeBinary, UniqueConstraint
from sqlmodel import JSON, Field, SQLModel

from service.store.types import UtcDateTime, belongs_to, one_of

OUTBOX_STATES = ("waiting", "sending", "sent", "given_up")


class IdempotencyKey(SQLModel, table=True):
    """The answer once given to a keyed call, written in the transaction that did the work."""

    __tablename__ = "idempotency_key"
    __table_args__ = (
        UniqueConstraint("organisation_id", "operation", "key"),
        Index("ix_idempotency_key_age", "created_at"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    operation: str = Field(max_length=80)
    key: str = Field(max_length=255)
    body_hash: str = Field(max_length=64)
    status: int
    headers: dict[str, str] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
    body: bytes = Field(sa_column=Column(LargeBinary, nullable=False))
    created_at: datetime = Field(sa_type=UtcDateTime)


class JobRun(SQLModel, table=True):
    """A claimed run: the unique key is what makes it happen once, whoever wins the race."""

    __tablename__ = "job_run"
    __table_args__ = (
        UniqueConstraint("organisation_id", "job", "period"),
        Index("ix_job_run_finished", "finished_at"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    job: str = Field(max_length=40)
    period: str = Field(max_length=40)
    """What the run is for, for instance the ISO week."""

    scheduled_at: datetime = Field(sa_type=UtcDateTime)
    finished_at: datetime = Field(sa_type=UtcDateTime)
    node: str = Field(max_length=80)


class JobFailure(SQLModel, table=True):
    """A run that failed: kept so that somebody sees it; the next tick tries again."""

    __tablename__ = "job_failure"
    __table_args__ = (Index("ix_job_failure_org", "organisation_id", "job", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    job: str = Field(max_length=40)
    period: str = Field(max_length=40)
    at: datetime = Field(sa_type=UtcDateTime)
    code: str = Field(max_length=40)
    detail: str = Field(max_length=1000)
    node: str = Field(max_length=80)


class OutboxMessage(SQLModel, table=True):
    """Something to send once the transaction that caused it is on disk."""

    __tablename__ = "outbox_message"
    __table_args__ = (
        UniqueConstraint("organisation_id", "message_key"),
        UniqueConstraint("organisation_id", "id"),
        belongs_to("subscription", "subscription_id"),
        Index("ix_outbox_waiting", "state", "next_try_at"),
        one_of("state", OUTBOX_STATES, "state"),
        one_of("channel", ("mail", "webhook"), "channel"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    subscription_id: int
    event: str = Field(max_length=40)
    channel: str = Field(max_length=12)
    message_key: str = Field(max_length=120)
    """Stable over retries: becomes the Message-ID or the webhook-id."""

    target: str = Field(max_length=500)
    payload: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))
    state: str = Field(default="waiting", max_length=12)
    n_tries: int = 0
    next_try_at: datetime = Field(sa_type=UtcDateTime)
    """While a node is sending, the instant from which another one may take over."""

    created_at: datetime = Field(sa_type=UtcDateTime)
    sent_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    last_error: str | None = Field(default=None, max_length=400)


class NodeHeartbeat(SQLModel, table=True):
    """When a scheduler last looked for due work; nodes without one can tell that it lives."""

    __tablename__ = "node_heartbeat"

    node: str = Field(primary_key=True, max_length=80)
    ticked_at: datetime = Field(sa_type=UtcDateTime)
