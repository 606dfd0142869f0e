"""Receivers of events, and calendar feeds."""

from sqlmodel import Session, col, select

from service.domain.external_ids import IdKind, parse_id
from service.errors import NotFoundError
from service.store.own_rows import get_own
from service.store.repositories.access import hash_secret
from service.store.tables.subscriptions import CalendarFeed, Subscription


def list_subscriptions(session: Session, organisation_id: int) -> list[Subscription]:
    """All subscriptions, the ended ones too, oldest first."""
    query = select(Subscription).where(Subscription.organisation_id == organisation_id)
    return list(session.exec(query.order_by(col(Subscription.id))))


def list_active(session: Session, organisation_id: int, event: str) -> list[Subscription]:
    """Subscriptions that want to hear of an event now."""
    return [
        row
        for row in list_subscriptions(session, organisation_id)
        if row.ended_at is None and event in row.events
    ]


def get_subscription(session: Session, organisation_id: int, reference: str) -> Subscription:
    """Subscription by its id.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    number = parse_id(IdKind.SUBSCRIPTION, reference)
    row = None if number is None else find_subscription(session, organisation_id, number)
    if row is None:
        raise NotFoundError("There is no subscription with this id.")
    return row


def find_subscription(session: Session, organisation_id: int, number: int) -> Subscription | None:
    """Subscription by its key."""
    query = select(Subscription).where(
        Subscription.organisation_id == organisation_id, Subscription.id == number
    )
    return session.exec(query).first()


def find_by_unsubscribe_code(session: Session, code: str) -> Subscription | None:
    """Subscription whose mails carry this code."""
    return session.exec(select(Subscription).where(Subscription.unsubscribe_code == code)).first()


def list_feeds(session: Session, organisation_id: int) -> list[CalendarFeed]:
    """Calendar feeds, the revoked ones too, oldest first."""
    query = select(CalendarFeed).where(CalendarFeed.organisation_id == organisation_id)
    return list(session.exec(query.order_by(col(CalendarFeed.id))))


def get_feed(session: Session, organisation_id: int, reference: str) -> CalendarFeed:
    """Calendar feed by its id.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    return get_own(
        session,
        CalendarFeed,
        organisation_id,
        IdKind.CALENDAR_FEED,
        reference,
        "There is no calendar feed with this id.",
    )


def find_feed_by_secret(session: Session, secret: str) -> CalendarFeed | None:
    """Calendar feed with this secret that is not revoked."""
    query = select(CalendarFeed).where(
        CalendarFeed.secret_hash == hash_secret(secret), col(CalendarFeed.revoked_at).is_(None)
    )
    return session.exec(query).first()
