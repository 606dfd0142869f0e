"""Make, rotate and revoke API tokens; a secret is shown once and stored as its hash."""

import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from sqlmodel import Session

from service.domain.roles import Scope
from service.domain.vehicle_life import require_in_use
from service.errors import InvalidInputError, PermissionDeniedError, StateTransitionError
from service.store.repositories import access, fleet
from service.store.tables.access import Token
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller

PREFIX: Final = "sump_"
SECRET_BYTES: Final = 32
"""256 random bits."""

LONGEST_OVERLAP: Final = timedelta(days=30)
"""After a rotation the old secret may go on for at most so long."""


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
        If the token would outrank its maker, has expired before it begins, or is for one vehicle and may do more
        than post its readings.
    """
    caller.require(Scope.ADMIN)
    if not scopes or not set(scopes) <= caller.scopes:
        raise InvalidInputError.at(
            "/scopes", "Name at least one scope, and none that you do not have yourself."
        )
    if expires_at is not None and expires_at <= now:
        raise InvalidInputError.at("/expires_at", "Lies in the past.")
    bound = None if vehicle is None else fleet.get_vehicle(session, caller.organisation_id, vehicle)
    if bound is not None:
        require_in_use(bound.reference, bound.retired_at)
        if set(scopes) != {Scope.READINGS}:
            raise InvalidInputError.at(
                "/scopes", "A token for one vehicle posts its readings; it has the scope readings alone."
            )
    bound_to = None if bound is None else bound.id
    return issue_token(session, caller, now, name, scopes, expires_at=expires_at, vehicle_id=bound_to)


def issue_token(
    session: Session,
    caller: Caller,
    now: datetime,
    name: str,
    scopes: Sequence[Scope],
    *,
    expires_at: datetime | None,
    vehicle_id: int | None,
) -> tuple[Token, str]:
    """Store a token that was found to be right; the second value is its secret."""
    secret = PREFIX + secrets.token_urlsafe(SECRET_BYTES)
    token = Token(
        organisation_id=caller.organisation_id,
        name=name,
        secret_hash=access.hash_secret(secret),
        scopes=sorted(scopes),
        vehicle_id=vehicle_id,
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
    token = access.get_token(session, caller.organisation_id, reference)
    if token.revoked_at is None:
        token.revoked_at = now
        session.add(token)
        record_change(session, caller, now, "revoked", "token", token.id, {"name": token.name})
    return token


def rotate_token(
    session: Session, caller: Caller, now: datetime, reference: str, old_valid_until: datetime | None = None
) -> tuple[Token, str]:
    """Give a token a new secret; the old one works until then, or not at all any more.

    Raises
    ------
    StateTransitionError
        If the token is revoked or has expired.
    """
    caller.require(Scope.ADMIN)
    fleet.lock_organisation(session, caller.organisation_id)
    token = access.get_token(session, caller.organisation_id, reference)
    session.refresh(token)  # it may be the one that was presented, and read before the lock
    if not set(token.scopes) <= caller.scopes:
        raise PermissionDeniedError("This token has a scope that you do not have yourself.")
    if token.revoked_at is not None or (token.expires_at is not None and token.expires_at <= now):
        raise StateTransitionError("This token is not valid any more; make a new one.")
    require_overlap(now, old_valid_until)
    secret = PREFIX + secrets.token_urlsafe(SECRET_BYTES)
    token.previous_secret_hash = token.secret_hash if old_valid_until is not None else None
    token.previous_secret_until = old_valid_until
    token.secret_hash = access.hash_secret(secret)
    session.add(token)
    detail = {"name": token.name, "old_valid_until": old_valid_until and old_valid_until.isoformat()}
    record_change(session, caller, now, "rotated", "token", token.id, detail)
    return token, secret


def require_overlap(now: datetime, old_valid_until: datetime | None) -> None:
    """Refuse an end of the old secret that is past or too far off."""
    if old_valid_until is not None and not now < old_valid_until <= now + LONGEST_OVERLAP:
        raise InvalidInputError.at(
            "/old_valid_until", f"Must lie within the next {LONGEST_OVERLAP.days} days, or be left out."
        )
