"""Questions about more rows than a database takes parameters (SQLite: 32,766; PostgreSQL: 65,535)."""

from sqlmodel import Session

from service.store.repositories import due_lists
from service.store.session import Database

N_KEYS = 70_000


def test_the_events_of_a_list_of_seventy_thousand_lines_can_be_asked_for(database: Database):
    keys = range(1, N_KEYS + 1)
    with database.snapshot() as session:
        assert _asked(session, list(keys)) == ({}, {}, [])


def _asked(session: Session, keys: list[int]) -> tuple[object, object, object]:
    return (
        due_lists.events_of_lines(session, 1, keys),
        due_lists.last_events(session, 1, keys),
        due_lists.open_lines(session, 1, keys),
    )
