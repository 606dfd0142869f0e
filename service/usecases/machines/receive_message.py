"""Take a signed message of a machine source: once, and only while its signature is fresh."""

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Final

from sqlmodel import Session

from service.domain.roles import Scope
from service.domain.webhook_signatures import check_signature
from service.errors import AuthenticationRequiredError, DuplicateError, InvalidInputError
from service.store.repositories import idempotency, machine_sources
from service.store.tables.operations import IdempotencyKey
from service.usecases.access.caller import Caller
from service.usecases.access.webhook_secrets import valid_secrets

UNKNOWN: Final = "The message is not signed by a secret of this source."


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedMessage:
    """A message as it arrived."""

    source: str
    """Id of the source that it was sent to."""

    message_id: str
    timestamp: str
    signatures: str
    body: bytes


def identify_sender(session: Session, message: SignedMessage, now: datetime, wire_now: datetime) -> Caller:
    """Find out for which organisation a message speaks; an unknown source is told like a wrong signature.

    `wire_now` is the time of the machine's own clock, which senders compare with theirs.

    Raises
    ------
    AuthenticationRequiredError
        If no secret of an open source has signed it just now.
    """
    source = machine_sources.find_open_source(session, message.source)
    secrets = [] if source is None else valid_secrets(source, now)
    check_signature(
        secrets, message.message_id, message.timestamp, message.signatures, message.body, wire_now
    )
    if source is None:  # without a secret nothing passes the check above; this tells the type checker
        raise AuthenticationRequiredError(UNKNOWN)
    return Caller(source.organisation_id, f"machine source {source.name}"[:80], frozenset({Scope.READINGS}))


def claim_message(
    session: Session, caller: Caller, message: SignedMessage, now: datetime
) -> tuple[IdempotencyKey, bool]:
    """Row that keeps the answer to a message, and whether it holds one already because the sender tried again.

    A sender that tries again signs anew, with another time; the same signed message twice is somebody else's doing.

    Raises
    ------
    DuplicateError
        If the very same message was here before.
    InvalidInputError
        If its id was used for another body.
    """
    own = _key(caller, message, f"{message.message_id}.{message.timestamp}", now)
    if idempotency.claim_key(session, own) is not None:
        raise DuplicateError("This message was taken before; one that is tried again is signed again.")
    row = _key(caller, message, message.message_id, now)
    earlier = idempotency.claim_key(session, row)
    if earlier is None:
        return idempotency.get_claimed(session, row), False
    if earlier.body_hash != row.body_hash:
        raise InvalidInputError.at("header/webhook-id", "This id was used for another message.")
    return earlier, True


def _key(caller: Caller, message: SignedMessage, key: str, now: datetime) -> IdempotencyKey:
    return IdempotencyKey(
        organisation_id=caller.organisation_id,
        operation=f"message {message.source}"[:80],
        key=key,
        body_hash=sha256(message.body).hexdigest(),
        status=0,
        body=b"",
        created_at=now,
    )
