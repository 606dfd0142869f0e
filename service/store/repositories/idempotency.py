"""Answers kept for calls that are sent again."""

from sqlmodel import Session, col, select

from service.store.dialects import insert_into
from service.store.tables.operations import IdempotencyKey


def claim_key(session: Session, row: IdempotencyKey) -> IdempotencyKey | None:
    """Take the key, or give the row of the call that had it first.

    On PostgreSQL the insert waits for a concurrent call with the same key; on SQLite the writers queue anyway.
    """
    values = row.model_dump(exclude={"id"})
    statement = (
        insert_into(session, IdempotencyKey)
        .values(values)
        .on_conflict_do_nothing()
        .returning(col(IdempotencyKey.id))
    )
    if session.execute(statement).first() is not None:
        return None
    earlier: IdempotencyKey | None = session.exec(_by_key(row)).first()
    return earlier


def get_claimed(session: Session, row: IdempotencyKey) -> IdempotencyKey:
    """Row that this transaction claimed."""
    claimed: IdempotencyKey = session.exec(_by_key(row)).one()
    return claimed


def _by_key(row: IdempotencyKey):  # type: ignore[no-untyped-def]
    return select(IdempotencyKey).where(
        IdempotencyKey.organisation_id == row.organisation_id,
        IdempotencyKey.operation == row.operation,
        IdempotencyKey.key == row.key,
    )
