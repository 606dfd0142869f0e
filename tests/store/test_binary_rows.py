"""PostgreSQL reads from the binary form what was put into it, and what its driver would have sent row by row."""

from datetime import UTC, date, datetime

import numpy as np
import pytest

from service.store.binary_rows import binary_rows

LANDED = datetime(1969, 7, 20, 20, 17, 40, tzinfo=UTC)
TYPES = ("int8", "int4", "float8", "bool", "date", "timestamptz", "text", "bytea")
COLUMNS = {
    "int8": np.array([-(2**40), 0, 7]),
    "int4": np.array([-5, 0, 2**31 - 1]),
    "float8": np.array([-0.1, np.nan, np.inf]),
    "bool": np.array([True, False, True]),
    "date": np.array(["1999-12-31", "NaT", "2026-05-04"], dtype="datetime64[D]"),
    "timestamptz": np.array(["1969-07-20T20:17:40", "2026-05-04T08:00:00.000001", "NaT"], dtype="datetime64[us]"),
    "text": ["a longer word", "", None],
    "bytea": np.array([b"\x00\x01\x00", b"abc", b"\xff\x00\x00"], dtype="V3"),
}  # fmt: skip
ROWS = [
    (-(2**40), -5, -0.1, True, date(1999, 12, 31), LANDED, "a longer word", b"\x00\x01\x00"),
    (0, 0, None, False, None, datetime(2026, 5, 4, 8, 0, 0, 1, tzinfo=UTC), "", b"abc"),
    (7, 2**31 - 1, float("inf"), True, date(2026, 5, 4), None, None, b"\xff\x00\x00"),
]  # fmt: skip


@pytest.fixture
def cursor(database):
    with database.engine.connect() as connection:
        yield connection.connection.cursor()


def copied(cursor, columns):
    """Rows that the server has after the copy, in their order."""
    names = ", ".join(f"c{place} {name}" for place, (name, _) in enumerate(columns))
    cursor.execute(f"CREATE TEMP TABLE held (place serial, {names})")
    listed = ", ".join(f"c{place}" for place in range(len(columns)))
    with cursor.copy(f"COPY held ({listed}) FROM STDIN (FORMAT BINARY)") as copy:
        for part in binary_rows(columns):
            copy.write(part)
    cursor.execute(f"SELECT {listed} FROM held ORDER BY place")  # noqa: S608
    return cursor.fetchall()


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_the_server_reads_what_was_meant(cursor):
    assert copied(cursor, [(name, COLUMNS[name]) for name in TYPES]) == ROWS


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
@pytest.mark.parametrize("n_rows", [0, 1, 2_000, 4_001])
def test_any_number_of_rows(cursor, n_rows):
    number = np.arange(n_rows, dtype=np.float64)
    word = [str(int(one)) for one in number]
    columns = [("float8", np.where(number % 7 == 3, np.nan, number)), ("text", word)]
    told = [(None if n % 7 == 3 else float(n), str(n)) for n in range(n_rows)]
    assert copied(cursor, columns) == told


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_words_of_any_script_and_columns_of_nothing(cursor):
    words = ["Öl", "油", None, "\N{OIL DRUM}", ""]
    assert copied(cursor, [("text", words), ("text", [None] * 5)]) == [(word, None) for word in words]


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_bytes_of_any_length(cursor):
    told = [b"", b"\x00", b"abc\x00\x00", b"\xff" * 300]
    assert copied(cursor, [("bytea", np.array(told, dtype=object))]) == [(one,) for one in told]
