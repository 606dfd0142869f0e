"""Links by which whoever drives a vehicle posts its readings, and can do and see nothing else."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlmodel import Session

from service.domain.roles import Scope
from service.domain.vehicle_life import require_in_use
from service.errors import NotFoundError
from service.store.repositories import access, fleet
from service.store.tables.access import Token
from service.store.tables.organisation import Organisation
from service.store.tables.vehicles import Vehicle
from service.usecases.access.audit import record_change
from service.usecases.access.authenticate import authenticate_token
from service.usecases.access.caller import Caller
from service.usecases.access.manage_tokens import issue_token

LINK_SCOPES: Final = (Scope.READINGS,)
NO_LINK: Final = "There is no such link; it may have ended. Ask the workshop for a new one."


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenedLink:
    """What stands behind a link that is in force."""

    caller: Caller
    organisation: Organisation
    vehicle: Vehicle
    expires_at: datetime


def make_link(
    session: Session, caller: Caller, now: datetime, reference: str, name: str, expires_at: datetime
) -> tuple[Token, str]:
    """Make a link for a vehicle; the second value is its secret, which nobody can ever read again."""
    caller.require(Scope.PLANNING)
    vehicle = fleet.get_vehicle(session, caller.organisation_id, reference)
    require_in_use(vehicle.reference, vehicle.retired_at)
    return issue_token(session, caller, now, name, LINK_SCOPES, expires_at=expires_at, vehicle_id=vehicle.id)


def list_links(session: Session, caller: Caller, now: datetime, vehicle_id: int) -> list[Token]:
    """Links of a vehicle that are in force, the newest first."""
    rows = access.list_vehicle_tokens(session, caller.organisation_id, vehicle_id)
    return [token for token in rows if _is_link(token) and _is_in_force(token, now)]


def revoke_link(session: Session, caller: Caller, now: datetime, reference: str, link: str) -> None:
    """Make a link worthless from the next call on.

    Raises
    ------
    NotFoundError
        If the vehicle has no such link.
    """
    caller.require(Scope.PLANNING)
    vehicle = fleet.get_vehicle(session, caller.organisation_id, reference)
    token = access.get_token(session, caller.organisation_id, link)
    if token.vehicle_id != vehicle.id or not _is_link(token):
        raise NotFoundError(NO_LINK)
    if token.revoked_at is None:
        token.revoked_at = now
        session.add(token)
        session.flush()
        record_change(session, caller, now, "revoked", "token", token.id, {"name": token.name})


def open_link(session: Session, secret: str, now: datetime, request_id: str | None = None) -> OpenedLink:
    """Find out which vehicle a link is for; a token for programs, which need not end, is none.

    Raises
    ------
    NotFoundError
        If it is unknown, ended, revoked or no link for a vehicle in use; the sentence does not say which.
    """
    token = access.find_token(session, secret, now)
    if token is None or token.expires_at is None or not _is_link(token) or not _is_in_force(token, now):
        raise NotFoundError(NO_LINK)
    vehicle = fleet.get_vehicle_by_id(session, token.organisation_id, token.vehicle_id or 0)
    if vehicle.retired_at is not None:
        raise NotFoundError(NO_LINK)
    return OpenedLink(
        caller=authenticate_token(session, secret, now, request_id),
        organisation=fleet.get_organisation(session, token.organisation_id),
        vehicle=vehicle,
        expires_at=token.expires_at,
    )


def _is_link(token: Token) -> bool:
    is_for_readings = token.scopes == [str(scope) for scope in LINK_SCOPES]
    return is_for_readings and token.vehicle_id is not None and token.expires_at is not None


def _is_in_force(token: Token, now: datetime) -> bool:
    return token.revoked_at is None and token.expires_at is not None and token.expires_at > now
