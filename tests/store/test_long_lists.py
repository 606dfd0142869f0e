"""Questions about more rows than a database takes parameters (SQLite: 32,766; PostgreSQL: 65,535)."""

import pytest
from sqlmodel import Session, col, select

from service.store.in_lists import cut, is_one_of, written
from service.store.repositories import due_lists
from service.store.session import Database
from service.store.tables.organisation import Organisation
from tests.service_fixtures import START

N_KEYS = 70_000


def test_the_events_of_a_list_of_seventy_thousand_lines_can_be_asked_for(database: Database):
    keys = range(1, N_KEYS + 1)
    with database.snapshot() as session:
        assert _asked(session, list(keys)) == ({}, {}, [])


def test_rows_are_found_among_any_number_of_keys_or_names(database: Database):
    names = ["Plain", 'With "quotes", {braces} and \\', "NULL"]
    with database.transaction() as session:
        made = [Organisation(name=name, created_at=START) for name in names]
        session.add_all(made)
        session.flush()
        keys = [one.id or 0 for one in made]
        for wanted in (keys, keys[1:], [-1, 0, *keys[:1], *range(10_000, N_KEYS)], []):
            query = select(Organisation.id).where(is_one_of(session, col(Organisation.id), wanted))
            assert set(session.exec(query)) == set(wanted) & set(keys)
        for asked in (names, names[1:2], ["plain", "", *names[2:]], []):
            query = select(Organisation.name).where(is_one_of(session, col(Organisation.name), asked))
            assert set(session.exec(query)) == set(asked) & set(names)


def _asked(session: Session, keys: list[int]) -> tuple[object, object, object]:
    return (
        due_lists.events_of_lines(session, 1, keys),
        due_lists.last_events(session, 1, keys),
        due_lists.open_lines(session, 1, keys),
    )


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_postgresql_cuts_a_written_list_where_it_was_joined(database: Database):
    words = ["VAN-1", "", "a,b", "{x}", '"', "\\", "NULL", "100 %", "Öl 油", " "]
    with database.engine.connect() as connection:
        read = connection.exec_driver_sql(f"SELECT {cut('text')}", (written(words),)).scalar_one()
        none = connection.exec_driver_sql(f"SELECT {cut('integer')}", (written([]),)).scalar_one()
    assert (read, none) == (words, [])


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_postgresql_plans_a_query_for_the_list_that_it_gets(database: Database):
    """A plan that is kept cuts the list anew for every row that it compares: a hundred times as slow for a thousand."""
    with database.snapshot() as session:
        for length in range(20):
            query = select(Organisation.id).where(is_one_of(session, col(Organisation.id), range(length)))
            session.exec(query).all()
        kept = session.connection().exec_driver_sql("SELECT statement FROM pg_prepared_statements").all()
    assert kept == []
