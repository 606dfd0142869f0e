"""Long lists of values in a query: cut to what every database takes."""

from collections.abc import Iterator, Sequence
from typing import Final

MOST_VALUES: Final = 10_000
"""Values in one IN list; SQLite takes 32,766 parameters, PostgreSQL 65,535."""


def in_lists(values: Sequence[int]) -> Iterator[Sequence[int]]:
    """Give the values in parts that fit into one IN list each."""
    return (values[start : start + MOST_VALUES] for start in range(0, len(values), MOST_VALUES))
