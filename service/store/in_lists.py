"""Long lists of values in a query: cut to what every database takes, or sent as one value."""

import json
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final, TypeVar

from sqlalchemy import ColumnElement, Text, any_, cast, func, literal, select
from sqlalchemy.dialects.postgresql import ARRAY
from sqlmodel import Session

from service.store.dialects import is_sqlite

Value = TypeVar("Value")

MOST_VALUES: Final = 10_000
"""Values in one IN list; SQLite takes 32,766 parameters, PostgreSQL 65,535."""

_SEPARATOR: Final = "\x1f"
"""A control character, which no text that is kept has."""


def in_lists(values: Sequence[Value]) -> Iterator[Sequence[Value]]:
    """Give the values in parts that fit into one IN list each."""
    return (values[start : start + MOST_VALUES] for start in range(0, len(values), MOST_VALUES))


def is_one_of(session: Session, column: Any, values: Sequence[int] | Sequence[str]) -> ColumnElement[bool]:
    """Ask for a column's value among any number of values, sent as one: no limit, and nothing to compile anew."""
    if is_sqlite(session):
        listed = func.json_each(json.dumps(list(values))).table_valued("value")
        among: ColumnElement[bool] = column.in_(select(listed.c.value))
        return among
    texts = func.string_to_array(literal(written(values), Text), _SEPARATOR)
    equal: ColumnElement[bool] = column == any_(cast(texts, ARRAY(column.type)))
    return equal


def written(values: Iterable[object]) -> str:
    """Write a list as one text for `cut`: the driver of PostgreSQL takes several times as long over a list's values."""
    return _SEPARATOR.join(map(str, values))


def cut(kind: str) -> str:
    """PostgreSQL's expression for the list that was written, its values of this type; none may be null or a control."""
    return f"string_to_array(%s, E'\\x1f')::{kind}[]"
