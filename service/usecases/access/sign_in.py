"""Sign in to the pages: with a password or a one-time code; a browser then holds a secret of its own."""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlmodel import Session

from service.domain.roles import SCOPES_BY_ROLE, Role
from service.errors import AuthenticationRequiredError, FieldError, InvalidInputError
from service.store.repositories import people
from service.store.repositories.access import hash_secret
from service.store.tables.access import PageSession, Person, SignInCode
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller

SESSION_LASTS: Final = timedelta(hours=12)
"""A long working day; signing in again is quick, a tablet left in a bay is not. Common practice, no source."""

CODE_LASTS: Final = timedelta(hours=72)
PASSWORD_CHARACTERS: Final = (12, 128)
SECRET_BYTES: Final = 32
NO_PASSWORD: Final = "-"  # noqa: S105 - no hash looks like this, so no password fits

WRONG_PASSWORD: Final = "The login or the password is not right."  # noqa: S105 - a sentence

_HASHER: Final = PasswordHasher()


@dataclass(frozen=True, slots=True)
class SignedIn:
    """Somebody at a browser that is signed in."""

    person: Person
    caller: Caller
    expires_at: datetime


def check_password(session: Session, login: str, password: str) -> str:
    """Check a password, which takes its time; gives the hash that it fits, for `sign_in`.

    Apart from it, so that nobody who writes has to wait for what anybody may ask for.

    Raises
    ------
    AuthenticationRequiredError
        If it does not fit; the sentence and the time taken do not say whether the login exists.
    """
    person = people.find_person(session, login)
    known = person is not None and person.disabled_at is None
    stored = person.password_hash if known and person is not None else _hash_of_nobody()
    if not _fits(stored, password) or not known:
        raise AuthenticationRequiredError(WRONG_PASSWORD)
    return stored


def sign_in(session: Session, now: datetime, login: str, fitted: str) -> tuple[Person, str]:
    """Let in whoever knew the password of this hash; the second value is the secret that the browser is to hold.

    Raises
    ------
    AuthenticationRequiredError
        If the password was changed, or the person shut out, since it was checked.
    """
    person = people.find_person(session, login, for_update=True)
    if person is None or person.disabled_at is not None or person.password_hash != fitted:
        raise AuthenticationRequiredError(WRONG_PASSWORD)
    return person, open_session(session, now, person)


def sign_in_with_code(session: Session, now: datetime, secret: str) -> tuple[Person, str]:
    """Use a one-time code up; it stands in for a password that was forgotten, which ends with it, as do other codes.

    Raises
    ------
    AuthenticationRequiredError
        If it is unknown, used or expired.
    """
    person = people.take_code(session, secret, now)
    if person is None or person.disabled_at is not None:
        raise AuthenticationRequiredError("This link was used already or is too old; ask for another one.")
    if has_password(person):
        _end_password(session, now, person)
    return person, open_session(session, now, person)


def open_session(session: Session, now: datetime, person: Person) -> str:
    """Let a browser in; gives the secret that it holds."""
    people.delete_expired(session, now)
    secret = secrets.token_urlsafe(SECRET_BYTES)
    session.add(
        PageSession(
            organisation_id=person.organisation_id,
            person_id=person.id or 0,
            secret_hash=hash_secret(secret),
            created_at=now,
            last_seen_at=now,
            expires_at=now + SESSION_LASTS,
        )
    )
    session.flush()
    record_change(session, caller_of(person, None), now, "signed in", "person", person.id)
    return secret


def authenticate_browser(
    session: Session, secret: str | None, now: datetime, request_id: str | None = None
) -> SignedIn:
    """Find out who sits at a browser.

    Raises
    ------
    AuthenticationRequiredError
        If nobody is signed in there any more.
    """
    found = people.find_page_session(session, secret) if secret else None
    if found is None or found[0].expires_at <= now or found[1].disabled_at is not None:
        raise AuthenticationRequiredError("Sign in first.")
    page_session, person = found
    return SignedIn(person, caller_of(person, request_id), page_session.expires_at)


def sign_out(session: Session, secret: str) -> None:
    """Make what a browser holds worthless."""
    people.delete_page_session(session, secret)


def make_code(session: Session, caller: Caller, now: datetime, person: Person) -> str:
    """Make a one-time code for a person; nobody can read it again."""
    secret = secrets.token_urlsafe(SECRET_BYTES)
    session.add(
        SignInCode(
            organisation_id=person.organisation_id,
            person_id=person.id or 0,
            secret_hash=hash_secret(secret),
            created_at=now,
            expires_at=now + CODE_LASTS,
        )
    )
    session.flush()
    record_change(session, caller, now, "made a sign-in link for", "person", person.id)
    return secret


def has_password(person: Person) -> bool:
    """Whether there is one to sign in with, and to ask for before it is changed."""
    return person.password_hash != NO_PASSWORD


def change_password(
    session: Session, caller: Caller, now: datetime, person: Person, present: str, password: str
) -> None:
    """Let a person set a password of their own; whoever has one already has to know it.

    Raises
    ------
    AuthenticationRequiredError
        If the present one is not right: what sits at a browser left open is not always its owner.
    """
    if has_password(person) and not _fits(person.password_hash, present):
        detail = "This is not your present password."
        raise AuthenticationRequiredError(detail, [FieldError("/present_password", detail)])
    set_password(session, caller, now, person, password)


def set_password(session: Session, caller: Caller, now: datetime, person: Person, password: str) -> None:
    """Give a person a new password; all other browsers of theirs have to sign in again, and no link lets them in.

    Raises
    ------
    InvalidInputError
        If it is too short or too long.
    """
    shortest, longest = PASSWORD_CHARACTERS
    if not shortest <= len(password) <= longest:
        raise InvalidInputError.at("/password", f"Must have {shortest} to {longest} characters.")
    if password.casefold() == person.login.casefold():
        raise InvalidInputError.at("/password", "Must not be the login.")
    person.password_hash = _HASHER.hash(password)
    session.add(person)
    people.delete_sessions_of(session, person.id or 0)
    people.void_codes(session, person.id or 0, now)
    record_change(session, caller, now, "changed the password of", "person", person.id)


def _end_password(session: Session, now: datetime, person: Person) -> None:
    """Take a person's password away, and with it the browsers that could set one without it."""
    person.password_hash = NO_PASSWORD
    session.add(person)
    people.delete_sessions_of(session, person.id or 0)
    record_change(session, caller_of(person, None), now, "ended the password of", "person", person.id)


def caller_of(person: Person, request_id: str | None) -> Caller:
    """Let a person act with the rights of their role."""
    return Caller(
        person.organisation_id, f"person {person.login}"[:80], SCOPES_BY_ROLE[Role(person.role)], request_id
    )


@cache
def _hash_of_nobody() -> str:
    """A hash that takes as long to check as a real one."""
    return _HASHER.hash(secrets.token_urlsafe(SECRET_BYTES))


def _fits(stored: str, password: str) -> bool:
    try:
        return _HASHER.verify(stored, password[: PASSWORD_CHARACTERS[1] + 1])
    except (VerificationError, InvalidHashError):
        return False
