"""Messages to send once the transaction that caused them is on disk."""

from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import update
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from service.domain.external_ids import IdKind
from service.store.dialects import insert_into
from service.store.own_rows import get_own
from service.store.repositories.occupied import NOBODY, Occupied
from service.store.tables.operations import OutboxMessage

OPEN = ("waiting", "sending")


def add_message(session: Session, values: dict[str, Any]) -> None:
    """Put a message into the outbox, unless one with its key is there."""
    session.execute(insert_into(session, OutboxMessage).values(**values).on_conflict_do_nothing())


def is_any_due(session: Session, now: datetime) -> bool:
    """Whether there is anything to send, so that an idle node takes no lock."""
    return session.exec(_due(now).limit(1)).first() is not None


def claim_due(
    session: Session, now: datetime, lease: timedelta, occupied: Occupied = NOBODY
) -> OutboxMessage | None:
    """Take the longest-waiting message, but none for the occupied; others leave it alone for the lease.

    Killed while sending, a node loses its lease by and by, and the message is sent again under the same id.
    """
    query = _due(now).order_by(col(OutboxMessage.next_try_at), col(OutboxMessage.id)).limit(1)
    for column, values in (
        (OutboxMessage.subscription_id, occupied.ids),
        (OutboxMessage.organisation_id, occupied.organisation_ids),
        (OutboxMessage.channel, occupied.channels),
    ):
        if values:
            query = query.where(col(column).not_in(values))
    message = session.exec(query.with_for_update(skip_locked=True)).first()
    if message is not None:
        message.state = "sending"
        message.n_tries += 1
        message.next_try_at = now + lease
        session.add(message)
        session.flush()
    return message


def settle(session: Session, message: OutboxMessage, values: dict[str, Any]) -> bool:
    """Write down how a try ended; a failure does not count once another node has taken over."""
    statement = update(OutboxMessage).where(col(OutboxMessage.id) == message.id)
    if values.get("state") != "sent":
        statement = statement.where(
            col(OutboxMessage.n_tries) == message.n_tries, col(OutboxMessage.state) == "sending"
        )
    result = session.execute(statement.values(**values))
    return int(getattr(result, "rowcount", 0)) == 1


def give_up_open(session: Session, subscription_id: int, reason: str) -> None:
    """Send nothing more to a receiver that has ended."""
    session.execute(
        update(OutboxMessage)
        .where(
            col(OutboxMessage.subscription_id) == subscription_id,
            col(OutboxMessage.state).in_(OPEN),
        )
        .values(state="given_up", last_error=reason)
    )


def list_messages(
    session: Session, organisation_id: int, *, state: str | None, before_id: int | None, limit: int
) -> list[OutboxMessage]:
    """Messages, the newest first."""
    query = select(OutboxMessage).where(OutboxMessage.organisation_id == organisation_id)
    if state is not None:
        query = query.where(OutboxMessage.state == state)
    if before_id is not None:
        query = query.where(col(OutboxMessage.id) < before_id)
    return list(session.exec(query.order_by(col(OutboxMessage.id).desc()).limit(limit)))


def lock_message(session: Session, organisation_id: int, reference: str) -> OutboxMessage:
    """Message by its id, as it is now; nobody sends it until this transaction ends.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    message = get_own(
        session,
        OutboxMessage,
        organisation_id,
        IdKind.DELIVERY,
        reference,
        "There is no delivery with this id.",
    )
    session.refresh(message, with_for_update={"key_share": True})
    return message


def _due(now: datetime) -> SelectOfScalar[OutboxMessage]:
    return select(OutboxMessage).where(
        col(OutboxMessage.state).in_(OPEN), col(OutboxMessage.next_try_at) <= now
    )
