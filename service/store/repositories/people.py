"""People, their signed-in browsers and the codes that let them in once."""

from datetime import datetime

from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from service.domain.external_ids import IdKind
from service.domain.roles import Role
from service.store.own_rows import get_own
from service.store.repositories.access import hash_secret
from service.store.row_locks import locked
from service.store.tables.access import PageSession, Person, SignInCode


def find_person(session: Session, login: str, *, for_update: bool = False) -> Person | None:
    """Person with this login, whatever the organisation: logins are unique in the whole service; locked if asked."""
    query = select(Person).where(Person.login == login)
    return session.exec(locked(query) if for_update else query).first()


def get_person(session: Session, organisation_id: int, reference: str) -> Person:
    """Person by id.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    return get_own(
        session, Person, organisation_id, IdKind.PERSON, reference, "There is nobody with this id."
    )


def list_people(session: Session, organisation_id: int) -> list[Person]:
    """Everybody of an organisation, by login."""
    query = select(Person).where(Person.organisation_id == organisation_id).order_by(col(Person.login))
    return list(session.exec(query))


def has_another_owner(session: Session, organisation_id: int, person_id: int) -> bool:
    """Whether an owner would be left without this person; asked of the database, whoever was read before."""
    query = select(Person.id).where(
        Person.organisation_id == organisation_id,
        Person.role == Role.OWNER,
        col(Person.disabled_at).is_(None),
        Person.id != person_id,
    )
    return session.exec(query.limit(1)).first() is not None


def find_page_session(session: Session, secret: str) -> tuple[PageSession, Person] | None:
    """Browser that holds this secret, and whose it is; expired ones too."""
    query = (
        select(PageSession, Person)
        .join(Person, col(Person.id) == PageSession.person_id)
        .where(PageSession.secret_hash == hash_secret(secret))
    )
    return session.exec(query).first()


def delete_page_session(session: Session, secret: str) -> None:
    """Forget one browser."""
    session.execute(delete(PageSession).where(col(PageSession.secret_hash) == hash_secret(secret)))


def delete_sessions_of(session: Session, person_id: int) -> None:
    """Forget all browsers of a person."""
    session.execute(delete(PageSession).where(col(PageSession.person_id) == person_id))


def delete_expired(session: Session, now: datetime) -> None:
    """Forget browsers and codes whose time is over."""
    session.execute(delete(PageSession).where(col(PageSession.expires_at) <= now))
    session.execute(delete(SignInCode).where(col(SignInCode.expires_at) <= now))


def take_code(session: Session, secret: str, now: datetime) -> Person | None:
    """Person whom an unused code lets in; every code of the person is used up in the same statement.

    In one statement, so that two codes of a person that are sent at the same time wait for each other in one order.
    """
    own = hash_secret(secret)
    owner = select(SignInCode.person_id).where(
        SignInCode.secret_hash == own, col(SignInCode.used_at).is_(None), SignInCode.expires_at > now
    )
    taken = session.execute(
        update(SignInCode)
        .where(
            col(SignInCode.person_id) == owner.scalar_subquery(),
            col(SignInCode.used_at).is_(None),
        )
        .values(used_at=now)
        .returning(col(SignInCode.secret_hash), col(SignInCode.person_id))
    )
    person_id = dict(tuple(row) for row in taken).get(own)
    return None if person_id is None else session.get(Person, person_id)


def void_codes(session: Session, person_id: int, now: datetime) -> None:
    """Use up whatever codes of a person are left."""
    session.execute(
        update(SignInCode)
        .where(col(SignInCode.person_id) == person_id, col(SignInCode.used_at).is_(None))
        .values(used_at=now)
    )
