"""Who wants to be told: webhooks, mail, and calendars that look by themselves."""

from datetime import datetime

from sqlalchemy import CheckConstraint, Column, UniqueConstraint
from sqlmodel import JSON, Field, SQLModel

from service.store.types import UtcDateTime, one_of

CHANNELS = ("mail", "webhook")


class Subscription(SQLModel, table=True):
    """A receiver of events; its secret signs what is sent, so it cannot be kept as a hash."""

    __tablename__ = "subscription"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("unsubscribe_code"),
        one_of("channel", CHANNELS, "channel"),
        CheckConstraint("(channel = 'webhook') = (secret IS NOT NULL)", name="secret"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    channel: str = Field(max_length=12)
    target: str = Field(max_length=500)
    """Address of the webhook, or of the mailbox."""

    events: list[str] = Field(sa_column=Column(JSON, nullable=False))
    secret: str | None = Field(default=None, max_length=120)
    previous_secret: str | None = Field(default=None, max_length=120)
    previous_secret_until: datetime | None = Field(default=None, sa_type=UtcDateTime)
    unsubscribe_code: str = Field(max_length=64)
    """What a mail carries so that its reader can end it; it opens nothing else."""

    created_at: datetime = Field(sa_type=UtcDateTime)
    created_by: str = Field(max_length=80)
    ended_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    ended_because: str | None = Field(default=None, max_length=120)


class CalendarFeed(SQLModel, table=True):
    """An address that a calendar program fetches without a token: whoever has it may read the visits."""

    __tablename__ = "calendar_feed"
    __table_args__ = (UniqueConstraint("organisation_id", "id"), UniqueConstraint("secret_hash"))

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    name: str = Field(max_length=80)
    secret_hash: str = Field(max_length=64)
    created_at: datetime = Field(sa_type=UtcDateTime)
    created_by: str = Field(max_length=80)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
