"""People who sign in to the pages: add them, change their role, let them in again, shut them out."""

from datetime import datetime

from sqlmodel import Session

from service.domain.roles import Role, Scope
from service.domain.texts import clean_line
from service.errors import DuplicateError, StateTransitionError
from service.store.repositories import fleet, people
from service.store.tables.access import Person
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.access.sign_in import NO_PASSWORD, make_code


def add_person(
    session: Session, caller: Caller, now: datetime, login: str, name: str, role: Role
) -> tuple[Person, str]:
    """Add somebody; the second value is a one-time code with which they come in and set their password.

    Raises
    ------
    DuplicateError
        If the login is taken, in whichever organisation.
    """
    caller.require(Scope.ADMIN)
    login = clean_line("/login", login)
    if people.find_person(session, login) is not None:
        raise DuplicateError("This login is taken; choose another one.")
    person = Person(
        organisation_id=caller.organisation_id,
        login=login,
        name=clean_line("/name", name, maximum=80),
        role=role,
        password_hash=NO_PASSWORD,
        created_at=now,
    )
    session.add(person)
    session.flush()
    record_change(session, caller, now, "added", "person", person.id, {"login": login, "role": str(role)})
    return person, make_code(session, caller, now, person)


def change_role(session: Session, caller: Caller, now: datetime, reference: str, role: Role) -> Person:
    """Give a person another role."""
    caller.require(Scope.ADMIN)
    fleet.lock_organisation(session, caller.organisation_id)
    person = people.get_person(session, caller.organisation_id, reference)
    if person.role == Role.OWNER and role is not Role.OWNER:
        _require_another_owner(session, caller, person)
    before, person.role = person.role, role
    session.add(person)
    detail = {"before": before, "after": str(role)}
    record_change(session, caller, now, "changed the role of", "person", person.id, detail)
    return person


def invite_again(session: Session, caller: Caller, now: datetime, reference: str) -> tuple[Person, str]:
    """Make another one-time code for somebody who cannot come in."""
    caller.require(Scope.ADMIN)
    person = people.get_person(session, caller.organisation_id, reference)
    if person.disabled_at is not None:
        raise StateTransitionError("This person is shut out; add them again under another login.")
    return person, make_code(session, caller, now, person)


def disable_person(session: Session, caller: Caller, now: datetime, reference: str) -> Person:
    """Shut a person out at once; what they recorded stays.

    Raises
    ------
    StateTransitionError
        If nobody would be left who may administer the organisation.
    """
    caller.require(Scope.ADMIN)
    fleet.lock_organisation(session, caller.organisation_id)
    person = people.get_person(session, caller.organisation_id, reference)
    if person.role == Role.OWNER:
        _require_another_owner(session, caller, person)
    if person.disabled_at is None:
        person.disabled_at = now
        session.add(person)
        people.delete_sessions_of(session, person.id or 0)
        record_change(session, caller, now, "shut out", "person", person.id)
    return person


def _require_another_owner(session: Session, caller: Caller, person: Person) -> None:
    if not people.has_another_owner(session, caller.organisation_id, person.id or 0):
        raise StateTransitionError("Nobody else is an owner; make somebody one first.")
