"""What a route works with: a session, a caller and the time; one request is one transaction.

The writing one commits before the answer leaves (scope "function"), and a call with an Idempotency-Key has one
effect: its answer is stored in the same transaction and given again to the same call.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from typing import Annotated, Final
from urllib.parse import quote

from fastapi import Depends, Header, Request, Response
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from pydantic import BaseModel
from sqlmodel import Session

from service.api.answers import entity_tag
from service.api.known_callers import KnownCallers
from service.api.limiter import Limiter
from service.clock import Clock
from service.errors import AuthenticationRequiredError, InvalidInputError, StaleVersionError
from service.store.repositories import idempotency
from service.store.session import Database
from service.store.tables.operations import IdempotencyKey
from service.usecases.access.authenticate import authenticate_token
from service.usecases.access.caller import Caller

bearer = HTTPBearer(
    auto_error=False, description="A token made with `sumpwise tokens create` or POST /v1/tokens."
)
Credentials = Annotated[HTTPAuthorizationCredentials | None, Depends(bearer)]
MOST_CHARACTERS: Final = 80
"""Of an operation, as it is stored."""

KEY_PATTERN: Final = r"^[\x21-\x7e]+$"
KeyHeader = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=1,
        max_length=255,
        pattern=KEY_PATTERN,
        description="Send the same key with the same body again and the work is done once.",
    ),
]


def check_key(
    _key: Annotated[
        str | None,
        Header(
            alias="Idempotency-Key",
            min_length=1,
            max_length=255,
            pattern=KEY_PATTERN,
            description="Taken as with every POST; sent again, this call has no other effect than once, key or not.",
        ),
    ] = None,
) -> None:
    """Check the form of a key where none is needed: nothing is stored, or what is done twice is done once."""


UnneededKey = Depends(check_key)


class ReplayedAnswer(Exception):  # noqa: N818 - not an error: the way out of a route whose work is done already
    """The answer that an earlier call with the same key was given."""

    def __init__(self, row: IdempotencyKey) -> None:
        super().__init__(row.key)
        self.row = row


@dataclass(slots=True)
class Unit:
    """One request's session, caller and time."""

    session: Session
    caller: Caller
    now: datetime


@dataclass(slots=True)
class WriteUnit(Unit):
    """A unit whose answer is remembered if the call carried a key."""

    claimed: IdempotencyKey | None = field(default=None)

    def answer(
        self,
        content: BaseModel | bytes | None,
        status: int = 200,
        headers: Mapping[str, str] | None = None,
        *,
        remembered: BaseModel | None = None,
    ) -> Response:
        """Render the answer, unless it is JSON already, and for a keyed call store it in this transaction.

        What is `remembered` instead, for answers that carry a secret, is given when the call is sent again.
        """
        body = _rendered(content)
        all_headers = dict(headers or {})
        if content is not None:
            all_headers["Content-Type"] = "application/json"
        if self.claimed is not None:
            row = idempotency.get_claimed(self.session, self.claimed)
            kept = body if remembered is None else _rendered(remembered)
            row.status, row.headers, row.body = status, all_headers, kept
            self.session.add(row)
            self.session.flush()
        return Response(body, status, headers=all_headers)

    def changed(self, content: BaseModel) -> Response:
        """Render the answer to a change, with the tag that the next one can name in If-Match."""
        return self.answer(content, headers={"ETag": entity_tag(_rendered(content))})

    def require_match(self, request: Request, present: BaseModel) -> None:
        """Refuse an edit of something that changed since the client read it (If-Match, RFC 9110, 13.1.1)."""
        header = request.headers.get("if-match")
        if header is None or header.strip() == "*":
            return
        if entity_tag(present.model_dump_json().encode()) not in {tag.strip() for tag in header.split(",")}:
            raise StaleVersionError("Somebody changed this since you read it; read it again.")

    def created(self, content: BaseModel, location: str, *, remembered: BaseModel | None = None) -> Response:
        """Render the answer to a create."""
        return self.answer(content, 201, {"Location": quote(location)}, remembered=remembered)


def _rendered(content: BaseModel | bytes | None) -> bytes:
    if isinstance(content, BaseModel):
        return content.model_dump_json().encode()
    return content or b""


def replay(_request: Request, error: Exception) -> Response:
    """Give the stored answer again."""
    assert isinstance(error, ReplayedAnswer)  # noqa: S101
    row = error.row
    return Response(row.body, row.status, headers={**row.headers, "Idempotency-Replayed": "true"})


def get_now(request: Request) -> datetime:
    """Present time on the application's clock."""
    clock: Clock = request.app.state.clock
    return clock.now()


def get_database(request: Request) -> Database:
    """The application's database."""
    database: Database = request.app.state.database
    return database


def open_read(
    request: Request, credentials: Credentials, now: Annotated[datetime, Depends(get_now)]
) -> Iterator[Unit]:
    """Open a snapshot for the caller."""
    with get_database(request).snapshot() as session:
        yield Unit(session, authenticate(request, session, credentials, now), now)


async def hash_body(request: Request) -> str:
    """SHA-256 of query and body, to tell a repeated call from another one with the same key."""
    if request.headers.get("idempotency-key") is None:
        return ""
    return sha256(asked_beside(request) + await request.body()).hexdigest()


def asked_beside(request: Request) -> bytes:
    """What a call asks for beside its body: with another query the same body is another call."""
    query = request.url.query
    return f"?{query}\n".encode() if query else b""


def open_write(
    request: Request,
    credentials: Credentials,
    body_hash: Annotated[str, Depends(hash_body)],
    key: KeyHeader = None,
) -> Iterator[WriteUnit]:
    """Open a transaction for the caller; it is committed before the answer leaves."""
    with writing(request, credentials, body_hash, key) as unit:
        yield unit


@contextmanager
def writing(
    request: Request, credentials: Credentials, body_hash: str, key: str | None
) -> Iterator[WriteUnit]:
    """Do the work of `open_write` for a route that reads its body itself."""
    now = get_now(request)
    with get_database(request).transaction() as session:
        caller = authenticate(request, session, credentials, now)
        claimed = claim_key(session, caller, operation_of(request), key, body_hash, now) if key else None
        yield WriteUnit(session, caller, now, claimed)


def claim_key(
    session: Session, caller: Caller, operation: str, key: str, body_hash: str, now: datetime
) -> IdempotencyKey:
    """Take the key for this call.

    Raises
    ------
    ReplayedAnswer
        If the same call was answered before.
    InvalidInputError
        If the key was used with another body, or by somebody with other rights.
    """
    called = _called_by(caller, body_hash)
    row = IdempotencyKey(
        organisation_id=caller.organisation_id,
        operation=operation,
        key=key,
        body_hash=called,
        status=0,
        body=b"",
        created_at=now,
    )
    earlier = idempotency.claim_key(session, row)
    if earlier is None:
        return row
    if earlier.body_hash != called:
        raise InvalidInputError.at(
            "header/Idempotency-Key", "This key was used with another body or other rights; take a new one."
        )
    raise ReplayedAnswer(earlier)


def _called_by(caller: Caller, body_hash: str) -> str:
    """What was asked and with which rights: an answer is given again only to who could have asked for it."""
    return sha256(f"{sorted(caller.scopes)} {caller.vehicle_id} {body_hash}".encode()).hexdigest()


def store_answer(
    session: Session, caller: Caller, operation: str, key: str, body_hash: str, now: datetime, body: str
) -> None:
    """Remember the answer to a keyed call whose work was several transactions."""
    row = claim_key(session, caller, operation, key, body_hash, now)
    claimed = idempotency.get_claimed(session, row)
    claimed.status, claimed.body = 200, body.encode()
    claimed.headers = {"Content-Type": "application/json"}
    session.add(claimed)


def operation_of(request: Request) -> str:
    """What a key is bound to besides the organisation: method and path, a long one by its hash."""
    told = f"{request.method} {request.url.path}"
    return told if len(told) <= MOST_CHARACTERS else f"{request.method} {sha256(told.encode()).hexdigest()}"


def authenticate(
    request: Request, session: Session, credentials: HTTPAuthorizationCredentials | None, now: datetime
) -> Caller:
    """Find out who calls, within the rate limits."""
    limiter: Limiter = request.app.state.limiter
    known: KnownCallers = request.app.state.known_callers
    source = request.client.host if request.client else "unknown"
    secret = credentials.credentials if credentials is not None else None
    try:
        caller = authenticate_token(session, secret, now, getattr(request.state, "request_id", None))
    except AuthenticationRequiredError:
        if secret is not None:
            limiter.slow_down(source, now)
            known.forget(secret)
        raise
    if not getattr(request.state, "is_counted", False):
        limiter.check_call(caller.organisation_id, now)
    known.note(secret, caller.organisation_id)
    if caller.token_id is not None:
        request.app.state.token_uses.note(caller.token_id, now)
    return caller


def charge_rows(request: Request, caller: Caller, n_rows: int, now: datetime) -> None:
    """Take rows from what an organisation may send in an hour.

    Raises
    ------
    RateLimitedError
        If it has used that up.
    """
    limiter: Limiter = request.app.state.limiter
    limiter.check_rows(caller.organisation_id, n_rows, now)


Reading = Annotated[Unit, Depends(open_read, scope="function")]
Writing = Annotated[WriteUnit, Depends(open_write, scope="function")]
