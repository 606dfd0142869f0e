"""SQLite has the rows that were meant, however many go into a statement; sqlite3 alone says what it has."""

import sqlite3

import pytest

from service.store.packed_rows import ROWS_A_STATEMENT, packed_inserts

NAMES = ("place", "word", "number", "said")


@pytest.fixture
def connection():
    with sqlite3.connect(":memory:") as connection:
        connection.execute(
            "CREATE TABLE held (place INTEGER, word TEXT, number REAL, said TEXT DEFAULT 'nothing')"
        )
        yield connection
    connection.close()


def held(connection, columns):
    """Rows that are there after storing columns, in their order, and how often a statement was run."""
    runs = [
        connection.executemany(statement, values).rowcount
        for statement, values in packed_inserts("held", columns)
        for values in ([one] for one in values)
    ]
    return connection.execute(f"SELECT {', '.join(NAMES)} FROM held ORDER BY rowid").fetchall(), len(runs)  # noqa: S608


@pytest.mark.parametrize("n_rows", [1, 2, ROWS_A_STATEMENT - 1, ROWS_A_STATEMENT, 3 * ROWS_A_STATEMENT + 7])
def test_any_number_of_rows(connection, n_rows):
    places = list(range(n_rows))
    columns = {
        "place": places,
        "word": ["same"] * n_rows,
        "number": [None if place % 7 == 3 else place / 2 for place in places],
        "said": [None] * n_rows,
    }
    rows, n_runs = held(connection, columns)
    assert rows == list(zip(*columns.values(), strict=True))
    assert n_runs == n_rows // ROWS_A_STATEMENT + n_rows % ROWS_A_STATEMENT


@pytest.mark.parametrize("n_rows", [1, ROWS_A_STATEMENT + 1])
def test_rows_that_all_say_the_same(connection, n_rows):
    columns = {
        "place": [1] * n_rows,
        "word": ["a"] * n_rows,
        "number": [0.5] * n_rows,
        "said": ["b"] * n_rows,
    }
    assert held(connection, columns)[0] == [(1, "a", 0.5, "b")] * n_rows


def test_a_column_of_which_only_the_ends_are_the_same(connection):
    columns = {
        "place": [1, 2, 3],
        "word": ["a", "b", "a"],
        "number": [1.0, 2.0, 1.0],
        "said": [None, "x", None],
    }
    assert held(connection, columns)[0] == list(zip(*columns.values(), strict=True))
