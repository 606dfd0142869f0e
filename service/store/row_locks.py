"""Rows that will be changed: locked until the transaction ends, on SQLite by the transaction itself."""

from typing import TypeVar

from sqlmodel.sql.expression import SelectOfScalar

Row = TypeVar("Row")


def locked(query: SelectOfScalar[Row]) -> SelectOfScalar[Row]:
    """Lock what the query finds, and read it as it is then.

    Whoever waited for the lock may have read the row before; unless told to, the session would keep what it has.
    """
    return query.with_for_update(key_share=True).execution_options(populate_existing=True)
