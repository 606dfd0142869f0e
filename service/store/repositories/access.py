"""API tokens, and the record of changes."""

from collections.abc import Mapping
from datetime import datetime
from hashlib import sha256

from sqlalchemy import update
from sqlmodel import Session, col, select

from service.domain.external_ids import IdKind
from service.store.own_rows import get_own
from service.store.tables.access import AuditEntry, Token


def hash_secret(secret: str) -> str:
    """SHA-256 of a random secret: 256 random bits need no slow hash, and looking a digest up leaks no timing."""
    return sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def find_token(session: Session, secret: str, now: datetime) -> Token | None:
    """Token with this secret, or with this one until it was rotated not long ago; whatever its state else."""
    digest = hash_secret(secret)
    token = session.exec(select(Token).where(Token.secret_hash == digest)).first()
    if token is not None:
        return token
    return session.exec(
        select(Token).where(Token.previous_secret_hash == digest, col(Token.previous_secret_until) > now)
    ).first()


def get_token(session: Session, organisation_id: int, reference: str) -> Token:
    """Token by its id.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    return get_own(
        session, Token, organisation_id, IdKind.TOKEN, reference, "There is no token with this id."
    )


def note_uses(session: Session, uses: Mapping[int, datetime]) -> None:
    """Remember when tokens were used; an earlier time never replaces a later one."""
    for token_id, used_at in sorted(uses.items()):
        is_older = col(Token.last_used_at).is_(None) | (col(Token.last_used_at) < used_at)
        session.execute(update(Token).where(col(Token.id) == token_id, is_older).values(last_used_at=used_at))


def list_tokens(session: Session, organisation_id: int) -> list[Token]:
    """All tokens of an organisation, newest first."""
    query = select(Token).where(Token.organisation_id == organisation_id).order_by(col(Token.id).desc())
    return list(session.exec(query))


def list_vehicle_tokens(session: Session, organisation_id: int, vehicle_id: int) -> list[Token]:
    """Tokens that are bound to a vehicle, newest first."""
    query = select(Token).where(Token.organisation_id == organisation_id, Token.vehicle_id == vehicle_id)
    return list(session.exec(query.order_by(col(Token.id).desc())))


def list_entries(
    session: Session,
    organisation_id: int,
    *,
    object_type: str | None,
    object_id: int | None,
    before_id: int | None,
    limit: int,
) -> list[AuditEntry]:
    """Recorded changes, the newest first."""
    query = select(AuditEntry).where(AuditEntry.organisation_id == organisation_id)
    if object_type is not None:
        query = query.where(AuditEntry.object_type == object_type)
    if object_id is not None:
        query = query.where(AuditEntry.object_id == object_id)
    if before_id is not None:
        query = query.where(col(AuditEntry.id) < before_id)
    return list(session.exec(query.order_by(col(AuditEntry.id).desc()).limit(limit)))
