"""Who wants to be told of what: subscribe, rotate the secret, end; and calendar feeds."""

import secrets
from collections.abc import Sequence
from datetime import datetime
from typing import Final

from sqlmodel import Session

from service.clients.mail import check_address
from service.domain.events import Event
from service.domain.roles import Scope
from service.errors import DuplicateError, InvalidInputError, NotFoundError, StateTransitionError
from service.store.repositories import fleet, outbox, subscriptions
from service.store.repositories.access import hash_secret
from service.store.tables.operations import OutboxMessage
from service.store.tables.subscriptions import CalendarFeed, Subscription
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.access.webhook_secrets import new_secret, replace_secret

CODE_BYTES: Final = 32
MOST_SUBSCRIPTIONS: Final = 50
"""Receivers of one organisation; each costs a message a week and a thread while it hangs."""

ENDED_BY_CALLER: Final = "ended by its organisation"
ENDED_BY_RECEIVER: Final = "ended by its receiver"


def subscribe(
    session: Session, caller: Caller, now: datetime, channel: str, target: str, events: Sequence[Event]
) -> Subscription:
    """Make a subscription; where a webhook leads was checked before, and is checked again at each try.

    Raises
    ------
    DuplicateError
        If the receiver has one already.
    """
    caller.require(Scope.ADMIN)
    if channel == "mail":
        check_address("/target", target)
    fleet.lock_organisation(session, caller.organisation_id)
    active = [
        row
        for row in subscriptions.list_subscriptions(session, caller.organisation_id)
        if row.ended_at is None
    ]
    if any((row.channel, row.target) == (channel, target) for row in active):
        raise DuplicateError("This receiver has a subscription already.")
    if len(active) >= MOST_SUBSCRIPTIONS:
        raise InvalidInputError(f"An organisation has at most {MOST_SUBSCRIPTIONS} subscriptions.")
    row = Subscription(
        organisation_id=caller.organisation_id,
        channel=channel,
        target=target,
        events=sorted({str(event) for event in events}),
        secret=new_secret() if channel == "webhook" else None,
        unsubscribe_code=secrets.token_urlsafe(CODE_BYTES),
        created_at=now,
        created_by=caller.actor[:80],
    )
    session.add(row)
    session.flush()
    record_change(session, caller, now, "made", "subscription", row.id, {"channel": channel})
    return row


def rotate_secret(
    session: Session, caller: Caller, now: datetime, reference: str, old_valid_until: datetime | None
) -> Subscription:
    """Give a webhook a new secret; until then what is sent carries a signature by each.

    Raises
    ------
    StateTransitionError
        If the subscription has ended, or is none of a webhook.
    """
    caller.require(Scope.ADMIN)
    fleet.lock_organisation(session, caller.organisation_id)
    row = subscriptions.get_subscription(session, caller.organisation_id, reference)
    if row.ended_at is not None or row.secret is None:
        raise StateTransitionError("Only a webhook that has not ended has a secret to rotate.")
    replace_secret(row, now, old_valid_until)
    session.add(row)
    record_change(session, caller, now, "rotated", "subscription", row.id)
    return row


def end_subscription(session: Session, caller: Caller, now: datetime, reference: str) -> None:
    """Send a receiver nothing more; what was not delivered yet is given up."""
    caller.require(Scope.ADMIN)
    row = subscriptions.get_subscription(session, caller.organisation_id, reference)
    _end(session, caller, now, row, ENDED_BY_CALLER)


def unsubscribe(session: Session, now: datetime, code: str) -> None:
    """End a subscription by the code that its mails carry.

    Raises
    ------
    NotFoundError
        If no mail carries it.
    """
    row = subscriptions.find_by_unsubscribe_code(session, code)
    if row is None or row.channel != "mail":
        raise NotFoundError("There is no subscription with this code.")
    receiver = Caller(row.organisation_id, "receiver of the mail", frozenset())
    _end(session, receiver, now, row, ENDED_BY_RECEIVER)


def retry_delivery(session: Session, caller: Caller, now: datetime, reference: str) -> OutboxMessage:
    """Try a message again now, under its own id, whatever became of it before unless it was taken.

    Raises
    ------
    StateTransitionError
        If it was sent, is being sent, or its subscription has ended.
    """
    caller.require(Scope.ADMIN)
    message = outbox.lock_message(session, caller.organisation_id, reference)
    row = subscriptions.find_subscription(session, caller.organisation_id, message.subscription_id)
    if message.state not in {"waiting", "given_up"} or row is None or row.ended_at is not None:
        raise StateTransitionError(
            "Only what was not delivered can be tried again, for a receiver that wants it."
        )
    message.state, message.next_try_at = "waiting", now
    session.add(message)
    session.flush()
    record_change(session, caller, now, "retried", "delivery", message.id)
    return message


def make_feed(session: Session, caller: Caller, now: datetime, name: str) -> tuple[CalendarFeed, str]:
    """Make a calendar feed; the second value stands in its address and can be read only now."""
    caller.require(Scope.ADMIN)
    secret = secrets.token_urlsafe(CODE_BYTES)
    row = CalendarFeed(
        organisation_id=caller.organisation_id,
        name=name,
        secret_hash=hash_secret(secret),
        created_at=now,
        created_by=caller.actor[:80],
    )
    session.add(row)
    session.flush()
    record_change(session, caller, now, "made", "calendar feed", row.id, {"name": name})
    return row, secret


def revoke_feed(session: Session, caller: Caller, now: datetime, reference: str) -> None:
    """Make a feed's address lead nowhere."""
    caller.require(Scope.ADMIN)
    row = subscriptions.get_feed(session, caller.organisation_id, reference)
    if row.revoked_at is None:
        row.revoked_at = now
        session.add(row)
        record_change(session, caller, now, "revoked", "calendar feed", row.id, {"name": row.name})


def _end(session: Session, caller: Caller, now: datetime, row: Subscription, reason: str) -> None:
    if row.ended_at is None:
        row.ended_at, row.ended_because = now, reason
        session.add(row)
        outbox.give_up_open(session, row.id or 0, f"The subscription was {reason}.")
        record_change(session, caller, now, "ended", "subscription", row.id, {"because": reason})
