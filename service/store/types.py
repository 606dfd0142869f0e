"""Column types and constraints that every table shares."""

from collections.abc import Iterable
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import CheckConstraint, DateTime, Dialect, ForeignKeyConstraint
from sqlalchemy.types import TypeDecorator
from sqlmodel import SQLModel

# Set before any table is defined: every table module imports this one first.
SQLModel.metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


class UtcDateTime(TypeDecorator[datetime]):
    """An instant. Refuses naive values on the way in, gives aware UTC on the way out on every database."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """Turn into UTC; SQLite keeps text, which sorts rightly only in one zone."""
        if value is None:
            return None
        if value.tzinfo is None:
            message = "a time without an offset cannot be stored"
            raise ValueError(message)
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """Say that what was stored is UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def one_of(column: str, members: type[StrEnum] | Iterable[str], name: str) -> CheckConstraint:
    """Let a text column hold the members of an enumeration only."""
    listed = ", ".join(f"'{member!s}'" for member in members)
    return CheckConstraint(f"{column} IN ({listed})", name=name)


def between(column: str, low: float, high: float, name: str) -> CheckConstraint:
    """Let a numeric column hold null or values from `low` to `high` only; NaN compares as neither."""
    return CheckConstraint(f"{column} IS NULL OR ({column} >= {low!r} AND {column} <= {high!r})", name=name)


def belongs_to(table: str, column: str, *, cascade: bool = False) -> ForeignKeyConstraint:
    """Point at a row of the same organisation: the pair of keys makes a foreign row unreachable."""
    options: dict[str, Any] = {"ondelete": "CASCADE"} if cascade else {}
    return ForeignKeyConstraint(["organisation_id", column], [f"{table}.organisation_id", f"{table}.id"], **options)
