"""What a failing database is called: busy or away is worth another try, a mistake of ours is not."""

import time

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


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_a_statement_that_never_ends_is_broken_off(database):
    hasty = Database(database.engine.url.render_as_string(hide_password=False), timeout_seconds=0.2)
    began = time.monotonic()
    with pytest.raises(UnavailableError), hasty.snapshot() as session:
        session.connection().execute(text("SELECT pg_sleep(30)"))
    assert time.monotonic() - began < 10
    hasty.close()


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


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_a_full_disk_of_postgresql_is_a_refusal_and_passes(database, operator):
    """The server reports 53100, disk_full (PostgreSQL, appendix A); here a trigger does, in its place."""
    raising = (
        "CREATE FUNCTION full_disk() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'no space' USING ERRCODE = '53100'; END $$"
    )
    with database.engine.begin() as connection:
        connection.exec_driver_sql(raising)
        connection.exec_driver_sql(
            "CREATE TRIGGER full_disk BEFORE INSERT ON vehicle FOR EACH ROW EXECUTE FUNCTION full_disk()"
        )
    body = {"vehicle": "VAN-07", "class": "van"}
    refused = operator.post("/v1/vehicles", body, headers={"Idempotency-Key": "k1"})
    assert (refused.status_code, refused.headers["Retry-After"]) == (503, "60")
    assert "full" in refused.json()["detail"]
    assert operator.get("/v1/vehicles").status_code == 200, "reads go on"
    with database.engine.begin() as connection:
        connection.exec_driver_sql("DROP TRIGGER full_disk ON vehicle")
    assert operator.post("/v1/vehicles", body, headers={"Idempotency-Key": "k1"}).status_code == 201
