"""API tokens."""

from datetime import datetime, timedelta
from hashlib import sha256
from typing import Final

from sqlalchemy import update
from sqlmodel import Session, col, select

from service.store.tables.access import Token

LAST_USED_STEP: Final = timedelta(minutes=5)
"""The last use of a token is noted this coarsely, so that reads seldom write."""


def hash_secret(secret: str) -> str:
    """SHA-256 of a random secret: 256 random bits need no slow hash, and looking a digest up leaks no timing."""
    return sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def find_token(session: Session, secret: str) -> Token | None:
    """Token with this secret, whatever its state."""
    return session.exec(select(Token).where(Token.secret_hash == hash_secret(secret))).first()


def note_use(session: Session, token: Token, now: datetime) -> None:
    """Remember that the token was used, at most once in a few minutes."""
    if token.last_used_at is None or now - token.last_used_at > LAST_USED_STEP:
        session.exec(update(Token).where(col(Token.id) == token.id).values(last_used_at=now))


def list_tokens(session: Session, organisation_id: int) -> list[Token]:
    """All tokens of an organisation, newest first."""
    query = select(Token).where(Token.organisation_id == organisation_id).order_by(col(Token.id).desc())
    return list(session.exec(query))
