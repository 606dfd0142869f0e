"""Column types and constraints that every table shares."""

import re
from collections.abc import Iterable
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any, Final

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Connection,
    DateTime,
    Dialect,
    ForeignKeyConstraint,
    Integer,
    PrimaryKeyConstraint,
    Table,
    event,
)
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import DDLCompiler
from sqlalchemy.types import TypeDecorator, TypeEngine
from sqlmodel import SQLModel

from service.domain.plausibility import Bounds

# Set before any table is defined: every table module imports this one first.
SQLModel.metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


N_PARTITIONS: Final = 16
"""Of a table that is cut on PostgreSQL. Another number needs a migration that moves the rows."""

BY_ORGANISATION: Final = "HASH (organisation_id)"
"""How such a table is cut: every query names the organisation, so it looks into one part only."""


def is_partition(name: str) -> bool:
    """Whether a table is a part of another, which models know nothing of."""
    return re.search(r"_part\d\d$", name) is not None


@compiles(PrimaryKeyConstraint, "postgresql")
def _key_of_parts(constraint: PrimaryKeyConstraint, compiler: DDLCompiler, **options: Any) -> str:
    """PostgreSQL wants the column that a table is cut by in its primary key."""
    if constraint.table.dialect_options["postgresql"]["partition_by"] is None:
        return str(compiler.visit_primary_key_constraint(constraint, **options))
    return f"CONSTRAINT pk_{constraint.table.name} PRIMARY KEY (organisation_id, id)"


@event.listens_for(Table, "after_create")
def _make_parts(table: Table, connection: Connection, **_options: Any) -> None:
    """Cut a table right after a migration made it."""
    is_cut = table.dialect_options["postgresql"]["partition_by"] is not None
    for number in range(N_PARTITIONS if is_cut and connection.dialect.name == "postgresql" else 0):
        connection.exec_driver_sql(
            f"CREATE TABLE {table.name}_part{number:02d} PARTITION OF {table.name}"
            f" FOR VALUES WITH (MODULUS {N_PARTITIONS}, REMAINDER {number})"
        )


class LongKey(TypeDecorator[int]):
    """A key of rows of which a large host has thousands of millions; SQLite's own are as long as these."""

    impl = BigInteger
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[int]:
        """Only a key of this name counts itself up on SQLite."""
        return dialect.type_descriptor(Integer() if dialect.name == "sqlite" else BigInteger())


class UtcDateTime(TypeDecorator[datetime]):
    """An instant. Refuses naive values on the way in, gives aware UTC on the way out on every database."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn into UTC; SQLite keeps text, which sorts rightly only in one zone."""
        if value is None:
            return None
        if value.tzinfo is None:
            message = "a time without an offset cannot be stored"
            raise ValueError(message)
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Say that what was stored is UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def one_of(column: str, members: type[StrEnum] | Iterable[str], name: str) -> CheckConstraint:
    """Let a text column hold the members of an enumeration only.

    Not by IN: of a longer list SQLite makes a table for every row that it writes.
    """
    return CheckConstraint(" OR ".join(f"{column} = '{member!s}'" for member in members), name=name)


def within(column: str, bounds: Bounds) -> CheckConstraint:
    """Let a numeric column hold null or what its bounds allow; NaN is neither."""
    condition = f"{column} IS NULL OR ({column} >= {bounds.minimum!r} AND {column} <= {bounds.maximum!r})"
    return CheckConstraint(condition, name=column)


def either(first: str, second: str) -> CheckConstraint:
    """Let exactly one of two columns be filled."""
    return CheckConstraint(f"({first} IS NULL) <> ({second} IS NULL)", name=f"{first}_or_{second}")


def belongs_to(table: str, column: str, *, cascade: bool = False) -> ForeignKeyConstraint:
    """Point at a row of the same organisation: the pair of keys makes a foreign row unreachable."""
    options: dict[str, Any] = {"ondelete": "CASCADE"} if cascade else {}
    return ForeignKeyConstraint(
        ["organisation_id", column], [f"{table}.organisation_id", f"{table}.id"], **options
    )
