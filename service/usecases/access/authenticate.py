"""Turn a presented secret into a caller."""

from datetime import datetime

from sqlmodel import Session

from service.domain.roles import Scope
from service.errors import AuthenticationRequiredError
from service.store.repositories import access
from service.usecases.access.caller import Caller


def authenticate_token(
    session: Session, secret: str | None, now: datetime, request_id: str | None = None
) -> Caller:
    """Find out who presents this token.

    Raises
    ------
    AuthenticationRequiredError
        If there is none, or it is unknown, expired or revoked; the sentence does not say which of the last three.
    """
    if not secret:
        raise AuthenticationRequiredError("Send a token: `Authorization: Bearer <token>`.")
    token = access.find_token(session, secret, now)
    if (
        token is None
        or token.revoked_at is not None
        or (token.expires_at is not None and token.expires_at <= now)
    ):
        raise AuthenticationRequiredError("This token is not valid.")
    return Caller(
        organisation_id=token.organisation_id,
        actor=f"token {token.name}",
        scopes=frozenset(Scope(scope) for scope in token.scopes),
        request_id=request_id,
        vehicle_id=token.vehicle_id,
        token_id=token.id,
    )
