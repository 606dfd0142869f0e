"""Run by Alembic: upgrade one connection, one node at a time."""

from alembic import context
from sqlalchemy import Connection, text
from sqlmodel import AutoString

from service.store.tables.all import metadata
from service.store.types import is_partition

UPGRADE_LOCK = 7_861_009_411
"""Any number, the same on every node: PostgreSQL's advisory lock while the schema changes."""


def render_plain_text(kind: str, item: object, _context: object) -> str | bool:
    """Write text columns in SQLAlchemy's own words, so that a migration outlives the model library."""
    if kind == "type" and isinstance(item, AutoString):
        return f"sa.String(length={item.length})"
    return False


def run(connection: Connection) -> None:
    """Apply what is missing; on SQLite the writer's lock keeps other nodes out."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": UPGRADE_LOCK})
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=connection.dialect.name == "sqlite",
        compare_type=True,
        render_item=render_plain_text,
        include_name=lambda name, kind, _parents: kind != "table" or not is_partition(name),
        transactional_ddl=True,
        transaction_per_migration=False,
    )
    context.run_migrations()


run(context.config.attributes["connection"])
