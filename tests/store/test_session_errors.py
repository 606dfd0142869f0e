"""What a failing database is called: busy or away is worth another try, a mistake of ours is not."""

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from service.errors import UnavailableError
from service.store.session import Database


def test_a_statement_that_fits_no_table_is_not_called_unavailable(database):
    with pytest.raises(DBAPIError), database.transaction() as session:
        session.connection().execute(text("SELECT 1 FROM no_such_table"))


def test_a_writer_who_waits_too_long_is_told_to_try_again(tmp_path):
    path = f"sqlite:///{tmp_path / 'busy.sqlite'}"
    first, second = Database(path), Database(path, timeout_seconds=0.2)
    with first.transaction() as session:
        session.connection().execute(text("CREATE TABLE busy (id INTEGER)"))
        with pytest.raises(UnavailableError), second.transaction():
            pass
    first.close()
    second.close()


def _fail_half_way(database: Database) -> None:
    with database.transaction() as session:
        session.connection().execute(text("INSERT INTO kept VALUES (1)"))
        raise RuntimeError("something else went wrong")


def test_what_was_done_before_an_error_is_undone(database):
    with database.transaction() as session:
        session.connection().execute(text("CREATE TABLE kept (id INTEGER)"))
    with pytest.raises(RuntimeError):
        _fail_half_way(database)
    with database.snapshot() as session:
        assert session.connection().execute(text("SELECT count(*) FROM kept")).scalar_one() == 0
