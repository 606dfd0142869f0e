"""Send what waits in the outbox: prepare, send, settle; the sending itself happens in no transaction."""

import json
from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from typing import Any

import numpy as np
from sqlmodel import Session

from service.clients.mail import Mailer
from service.clients.webhooks import Call, WebhookSender
from service.domain.retries import is_given_up, wait_before_retry
from service.errors import ReceiverGoneError, ServiceError
from service.store.repositories import outbox, subscriptions
from service.store.tables.operations import OutboxMessage
from service.usecases.access.caller import system_caller
from service.usecases.access.webhook_secrets import valid_secrets
from service.usecases.deliveries.compose_mail import Sender, compose_mail
from service.usecases.week.show_due_list import show_due_list

JOB = "deliveries"
ENDED = "The subscription has ended."


@dataclass(frozen=True, slots=True, kw_only=True)
class Mail:
    """A mail for one recipient."""

    message: EmailMessage
    recipient: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Carriers:
    """What messages leave by, and in whose name."""

    webhooks: WebhookSender
    mailer: Mailer
    sender: Sender

    def carry(self, outgoing: Call | Mail) -> None:
        """Send one message, or raise an `UpstreamError`."""
        if isinstance(outgoing, Call):
            self.webhooks.send(outgoing)
        else:
            self.mailer.send(outgoing.message, outgoing.recipient)


def prepare(session: Session, message: OutboxMessage, now: datetime, sender: Sender) -> Call | Mail | None:
    """Write what is to be sent; none if its receiver has ended the subscription."""
    receiver = subscriptions.find_subscription(session, message.organisation_id, message.subscription_id)
    if receiver is None or receiver.ended_at is not None:
        return None
    if message.channel == "webhook":
        return Call(
            target=receiver.target,
            message_id=message.message_key,
            body=webhook_body(message, sender.public_url),
            secrets=valid_secrets(receiver, now),
        )
    caller = system_caller(message.organisation_id, JOB)
    shown = show_due_list(session, caller, now, message.payload["iso_week"])
    return Mail(
        message=compose_mail(shown, message, receiver, sender, now),
        recipient=receiver.target,
    )


def webhook_body(message: OutboxMessage, public_url: str) -> str:
    """Body of a webhook: type, time and data, the same over all tries."""
    week = message.payload["iso_week"]
    links = {"page": f"{public_url}/due-lists/{week}", "data": f"{public_url}/v1/due-lists/{week}"}
    content = {
        "type": message.event,
        "timestamp": message.payload["published_at"],
        "data": {**message.payload, "links": links},
    }
    return json.dumps(content, ensure_ascii=False, separators=(",", ":"))


def settle_sent(session: Session, message: OutboxMessage, now: datetime) -> None:
    """Write down that a message was taken."""
    outbox.settle(session, message, {"state": "sent", "sent_at": now, "last_error": None})


def settle_ended(session: Session, message: OutboxMessage) -> None:
    """Write down that nobody waits for a message any more."""
    outbox.settle(session, message, {"state": "given_up", "last_error": ENDED})


def settle_failed(
    session: Session, message: OutboxMessage, error: Exception, now: datetime, rng: np.random.Generator
) -> None:
    """Write down that a try failed, and when to try again; a receiver that is gone gets nothing more."""
    told = error.detail if isinstance(error, ServiceError) else f"Internal error ({type(error).__name__})."
    values: dict[str, Any] = {"last_error": told[:400]}
    is_gone = isinstance(error, ReceiverGoneError)
    if is_gone or is_given_up(message.n_tries, now - message.created_at):
        values["state"] = "given_up"
    else:
        wait = wait_before_retry(message.n_tries, float(rng.uniform(-1.0, 1.0)))
        values |= {"state": "waiting", "next_try_at": now + wait}
    is_settled = outbox.settle(session, message, values)
    if is_gone and is_settled:
        _end(session, message, now, told)


def _end(session: Session, message: OutboxMessage, now: datetime, reason: str) -> None:
    receiver = subscriptions.find_subscription(session, message.organisation_id, message.subscription_id)
    if receiver is not None and receiver.ended_at is None:
        receiver.ended_at, receiver.ended_because = now, reason
        session.add(receiver)
        outbox.give_up_open(session, message.subscription_id, ENDED)
