"""Columns that hold one of a few words take no other, and on SQLite cost no table of the words for every row."""

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError


@pytest.mark.parametrize(("column", "word"), [("outcome", "accepted"), ("unit", "km")])
def test_a_word_that_is_no_member_is_refused(operator, database, column, word):
    assert operator.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"}).status_code == 201
    reading = {"vehicle": "VAN-1", "taken_at": "2026-05-01T08:00:00Z", "odometer": 1000}
    assert operator.post("/v1/readings", {"readings": [reading]}).json()["accepted"] == 1
    change = text(f"UPDATE reading SET {column} = :word")  # noqa: S608
    with database.transaction() as session:
        assert session.execute(change, {"word": word}).rowcount == 1
    with database.engine.connect() as connection, pytest.raises(IntegrityError):
        connection.execute(change, {"word": word.upper()})


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_sqlite_makes_no_table_of_the_words(database):
    with database.engine.connect() as connection:
        steps = connection.execute(text("EXPLAIN UPDATE reading SET outcome = 'held' WHERE id = 1")).all()
    assert "Insert" in {step.opcode for step in steps}
    assert "OpenEphemeral" not in {step.opcode for step in steps}
