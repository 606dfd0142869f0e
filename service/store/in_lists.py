"""Long lists of values in a query: cut to what every database takes, or sent as one value."""

import json
from collections.abc import Iterator, Sequence
from typing import Any, Final, cast

from sqlalchemy import ColumnElement, any_, bindparam, func, select
from sqlalchemy.dialects.postgresql import ARRAY
from sqlmodel import Session

MOST_VALUES: Final = 10_000
"""Values in one IN list; SQLite takes 32,766 parameters, PostgreSQL 65,535."""


def in_lists(values: Sequence[int]) -> Iterator[Sequence[int]]:
    """Give the values in parts that fit into one IN list each."""
    return (values[start : start + MOST_VALUES] for start in range(0, len(values), MOST_VALUES))


def is_one_of(session: Session, column: Any, values: Sequence[int] | Sequence[str]) -> ColumnElement[bool]:
    """Ask for a column's value among any number of values, sent as one: no limit, and nothing to compile anew."""
    if session.get_bind().dialect.name == "sqlite":
        listed = func.json_each(json.dumps(list(values))).table_valued("value")
        return cast("ColumnElement[bool]", column.in_(select(listed.c.value)))
    return cast(
        "ColumnElement[bool]", column == any_(bindparam(None, list(values), type_=ARRAY(column.type)))
    )
