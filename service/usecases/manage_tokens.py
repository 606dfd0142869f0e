"""Make, list and revoke API tokens; a secret is shown once and stored as its hash."""

import secrets
from collections.abc import Sequence
from datetime import datetime
from typing import Final

from sqlmodel import Session

from service.domain.external_ids import IdKind, parse_id
from service.domain.roles import Scope
from service.errors import InvalidInputError, NotFoundError
from service.store.repositories import access, fleet
from service.store.tables.access import Token
from service.usecases.audit import record_change
from service.usecases.caller import Caller

PREFIX: Final = "sump_"
SECRET_BYTES: Final = 32
"""256 random bits."""


def create_token(
    session: Session,
    caller: Caller,
    now: datetime,
    name: str,
    scopes: Sequence[Scope],
    *,
    expires_at: datetime | None = None,
    vehicle: str | None = None,
) -> tuple[Token, str]:
    """Make a token; the second value is its secret, which nobody can ever read again.

    Raises
    ------
    InvalidInputError
        If the token would outrank its maker, or has expired before it begins.
    """
    caller.require(Scope.ADMIN)
    if not scopes or not set(scopes) <= caller.scopes:
        raise InvalidInputError.at(
            "/scopes", "Name at least one scope, and none that you do not have yourself."
        )
    if expires_at is not None and expires_at <= now:
        raise InvalidInputError.at("/expires_at", "Lies in the past.")
    bound = None if vehicle is None else fleet.get_vehicle(session, caller.organisation_id, vehicle).id
    secret = PREFIX + secrets.token_urlsafe(SECRET_BYTES)
    token = Token(
        organisation_id=caller.organisation_id,
        name=name,
        secret_hash=access.hash_secret(secret),
        scopes=sorted(scopes),
        vehicle_id=bound,
        created_at=now,
        created_by=caller.actor,
        expires_at=expires_at,
    )
    session.add(token)
    session.flush()
    detail = {"name": name, "scopes": token.scopes}
    record_change(session, caller, now, "created", "token", token.id, detail)
    return token, secret


def revoke_token(session: Session, caller: Caller, now: datetime, reference: str) -> Token:
    """Make a token worthless from the next call on.

    Raises
    ------
    NotFoundError
        If the organisation has no such token.
    """
    caller.require(Scope.ADMIN)
    number = parse_id(IdKind.TOKEN, reference)
    token = next(
        (one for one in access.list_tokens(session, caller.organisation_id) if one.id == number), None
    )
    if token is None:
        raise NotFoundError("There is no token with this id.")
    if token.revoked_at is None:
        token.revoked_at = now
        session.add(token)
        record_change(session, caller, now, "revoked", "token", token.id, {"name": token.name})
    return token
