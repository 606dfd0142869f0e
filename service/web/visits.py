"""A signed-in person's visit to a page: who, for which organisation, when, and one transaction to work in."""

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from service.clock import Clock
from service.documents.presentation import Presentation
from service.domain.roles import Scope
from service.errors import AuthenticationRequiredError, ConflictError, ServiceError
from service.store.repositories import fleet, idempotency
from service.store.session import Database
from service.store.tables.access import Person
from service.store.tables.operations import IdempotencyKey
from service.store.tables.organisation import Organisation
from service.usecases.access.caller import Caller
from service.usecases.access.sign_in import authenticate_browser
from service.usecases.week.render_due_list import presentation_of
from service.web.forms import ID_FIELD, Posted
from service.web.trust import form_token, require_own_origin, require_own_token

SEE_OTHER: Final = 303


class SignInNeededError(Exception):
    """Nobody is signed in at this browser; carries what was posted, so that it is not lost."""

    def __init__(self, posted: Posted | None = None) -> None:
        super().__init__("sign in")
        self.posted = posted


class SentTwiceError(Exception):
    """The same form came again: its work is done, and this is where the first answer led."""

    def __init__(self, location: str) -> None:
        super().__init__(location)
        self.location = location


@dataclass(slots=True, kw_only=True)
class Visit:
    """One request of a signed-in person."""

    request: Request
    session: Session
    person: Person
    caller: Caller
    organisation: Organisation
    now: datetime
    secret: str
    claimed: IdempotencyKey | None = None

    @property
    def zone(self) -> ZoneInfo:
        """Clock on the organisation's wall."""
        return self.organisation.zone

    @property
    def presentation(self) -> Presentation:
        """How the organisation writes numbers, dates and units."""
        return presentation_of(self.organisation)

    @property
    def token(self) -> str:
        """Token for the forms of this browser."""
        return form_token(self.secret)

    def may(self, scope: Scope) -> bool:
        """Whether the person has a right; pages leave out what would be refused."""
        return scope in self.caller.scopes

    def done(self, path: str, told: str = "", place: str = "", **query: str) -> RedirectResponse:
        """Lead on after a form's work is done, to a place of the page; remember where, in the same transaction."""
        location = with_query(path, **query, told=told) + (f"#{place}" if place else "")
        if self.claimed is not None:
            row = idempotency.get_claimed(self.session, self.claimed)
            row.headers = {"Location": location}
            self.session.add(row)
            self.session.flush()
        return RedirectResponse(location, SEE_OTHER)


def with_query(path: str, **query: str) -> str:
    """Path with the query fields that are not empty."""
    filled = {name: value for name, value in query.items() if value}
    return f"{path}?{urlencode(filled)}" if filled else path


def cookie_name(request: Request) -> str:
    """Name of the session cookie; the prefix binds it to this host where the service is reached over TLS."""
    return "__Host-sumpwise" if is_secure(request) else "sumpwise"


def is_secure(request: Request) -> bool:
    """Whether browsers reach the service over TLS."""
    return str(request.app.state.public_url).startswith("https:")


def now_of(request: Request) -> datetime:
    """Present time on the application's clock."""
    clock: Clock = request.app.state.clock
    return clock.now()


def database_of(request: Request) -> Database:
    """The application's database."""
    database: Database = request.app.state.database
    return database


@contextmanager
def looking(request: Request, posted: Posted | None = None) -> Iterator[Visit]:
    """Open a snapshot for whoever is signed in; what was posted is kept if nobody is."""
    with database_of(request).snapshot() as session:
        yield _visit(request, session, posted)


@contextmanager
def doing(request: Request, posted: Posted) -> Iterator[Visit]:
    """Open a transaction for a form of ours; it is committed when the block ends, before the answer leaves."""
    require_own_origin(request)
    with database_of(request).transaction() as session:
        visit = _visit(request, session, posted)
        require_own_token(posted, visit.secret)
        visit.claimed = claim_form(session, visit.caller, f"page {posted.path}", visit.now, posted)
        yield visit


def _visit(request: Request, session: Session, posted: Posted | None) -> Visit:
    secret = request.cookies.get(cookie_name(request))
    now = now_of(request)
    try:
        signed_in = authenticate_browser(session, secret, now, getattr(request.state, "request_id", None))
    except AuthenticationRequiredError:
        raise SignInNeededError(posted) from None
    return Visit(
        request=request,
        session=session,
        person=signed_in.person,
        caller=signed_in.caller,
        organisation=fleet.get_organisation(session, signed_in.caller.organisation_id),
        now=now,
        secret=secret or "",
    )


def claim_form(
    session: Session, caller: Caller, operation: str, now: datetime, posted: Posted
) -> IdempotencyKey:
    """Take this very form for this request.

    Raises
    ------
    SentTwiceError
        If it was sent before, by a second press of the button or by going back.
    """
    row = IdempotencyKey(
        organisation_id=caller.organisation_id,
        operation=operation[:80],
        key=f"{posted.text(ID_FIELD)[:40] or secrets.token_hex(8)} {posted.fingerprint}",
        body_hash="",
        status=SEE_OTHER,
        body=b"",
        created_at=now,
    )
    earlier = idempotency.claim_key(session, row)
    if earlier is not None:
        raise SentTwiceError(earlier.headers.get("Location", "/"))
    return row


def status_of(error: ServiceError | None) -> int:
    """Status of a form that is shown again."""
    return 200 if error is None else 409 if isinstance(error, ConflictError) else 422
