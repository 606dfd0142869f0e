"""New rows as SQLite takes them fastest: many a statement, and what all of them say bound once.

Python's driver spends as long on one value as SQLite on the row, twice as long on a null, and the same again on each
run of a statement.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import chain
from typing import Any, Final

ROWS_A_STATEMENT: Final = 100

Values = list[tuple[Any, ...]]


def packed_inserts(table: str, columns: Mapping[str, Sequence[Any]]) -> Iterator[tuple[str, Values]]:
    """Give statements that insert rows, given a column each, with the values of each run."""
    same = {name: values[0] for name, values in columns.items() if _says_one_thing(values)}
    own = {name: values for name, values in columns.items() if name not in same}
    rows: Values = list(zip(*own.values(), strict=True)) or [()] * len(next(iter(columns.values())))
    head, n_packed = tuple(same.values()), len(rows) - len(rows) % ROWS_A_STATEMENT
    for size, part in ((ROWS_A_STATEMENT, rows[:n_packed]), (1, rows[n_packed:])):
        if part:
            marks = [f"?{place}" for place in range(1, len(head) + 1)] + ["?"] * len(own)
            written = ", ".join([f"({', '.join(marks)})"] * size)
            statement = f"INSERT INTO {table} ({', '.join([*same, *own])}) VALUES {written}"  # noqa: S608
            yield (
                statement,
                [
                    head + tuple(chain.from_iterable(part[start : start + size]))
                    for start in range(0, len(part), size)
                ],
            )


def _says_one_thing(values: Sequence[Any]) -> bool:
    return values[-1] == values[0] and values.count(values[0]) == len(values)
