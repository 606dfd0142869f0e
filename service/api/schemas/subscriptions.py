"""Subscriptions, deliveries and calendar feeds as the outside sees them."""

from datetime import datetime
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body, Line80
from service.clients.targets import MAX_CHARACTERS
from service.domain.events import Event
from service.domain.external_ids import IdKind, format_id
from service.store.tables.operations import OutboxMessage
from service.store.tables.subscriptions import CalendarFeed, Subscription

Target = Annotated[
    str, Field(strict=True, min_length=3, max_length=MAX_CHARACTERS, pattern=r"^[\x21-\x7e]+$")
]
DeliveryState = Literal["waiting", "sending", "sent", "given_up"]


class SubscriptionCreate(Body):
    """Who is to be told of what."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"channel": "mail", "target": "workshop@example.org", "events": ["due_list.published"]}
            ]
        }
    )

    channel: Literal["webhook", "mail"]
    target: Target = Field(description="https:// address of a webhook, or one mail address.")
    events: list[Event] = Field(min_length=1, max_length=len(Event), default=[Event.DUE_LIST_PUBLISHED])


class SubscriptionRead(BaseModel):
    """A subscription without its secret."""

    id: str
    channel: Literal["webhook", "mail"]
    target: str
    events: list[Event]
    state: Literal["active", "ended"]
    created_at: datetime
    created_by: str
    ended_at: datetime | None
    ended_because: str | None
    old_valid_until: datetime | None = Field(
        description="Until then messages carry a signature by the secret before the last rotation too."
    )

    @classmethod
    def of(cls, row: Subscription) -> Self:
        """Show a subscription."""
        fields = {"channel", "target", "events", "created_at", "created_by", "ended_at", "ended_because"}
        return cls(
            id=format_id(IdKind.SUBSCRIPTION, row.id),
            state="active" if row.ended_at is None else "ended",
            old_valid_until=row.previous_secret_until,
            **row.model_dump(include=fields),
        )


class SubscriptionSecret(SubscriptionRead):
    """A subscription with the secret that its messages are signed with."""

    secret: str | None = Field(
        description="By the Standard Webhooks scheme, shown once; null for mail, and when the answer to a repeated "
        "call is given again."
    )


class SubscriptionList(BaseModel):
    """All subscriptions, the oldest first."""

    subscriptions: list[SubscriptionRead]


class DeliveryRead(BaseModel):
    """One message for one receiver, and what became of it."""

    id: str
    subscription_id: str
    event: Event
    channel: Literal["webhook", "mail"]
    message_id: str = Field(
        description="Stays the same over all tries: the webhook-id, or part of the Message-ID."
    )
    target: str
    state: DeliveryState
    tries: int
    created_at: datetime
    next_try_at: datetime | None
    sent_at: datetime | None
    last_error: str | None

    @classmethod
    def of(cls, row: OutboxMessage) -> Self:
        """Show a delivery."""
        return cls(
            id=format_id(IdKind.DELIVERY, row.id),
            subscription_id=format_id(IdKind.SUBSCRIPTION, row.subscription_id),
            message_id=row.message_key,
            tries=row.n_tries,
            next_try_at=row.next_try_at if row.state == "waiting" else None,
            **row.model_dump(
                include={"event", "channel", "target", "state", "created_at", "sent_at", "last_error"}
            ),
        )


class DeliveryPage(BaseModel):
    """Deliveries, the newest first."""

    deliveries: list[DeliveryRead]


class FeedCreate(Body):
    """A calendar feed to make."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"name": "wall screen, North"}]})

    name: Line80


class FeedRead(BaseModel):
    """A calendar feed without its address."""

    id: str
    name: str
    created_at: datetime
    created_by: str
    revoked_at: datetime | None

    @classmethod
    def of(cls, row: CalendarFeed) -> Self:
        """Show a feed."""
        fields = {"name", "created_at", "created_by", "revoked_at"}
        return cls(id=format_id(IdKind.CALENDAR_FEED, row.id), **row.model_dump(include=fields))


class FeedAddress(FeedRead):
    """A calendar feed with the address that a calendar program is given."""

    url: str | None = Field(
        description="Whoever has it may read the visits; shown once, null when the answer to a repeated call is "
        "given again."
    )


class FeedList(BaseModel):
    """All calendar feeds, the oldest first."""

    calendar_feeds: list[FeedRead]
