"""The record of changes, asked how far it has come."""

from collections.abc import Collection
from datetime import datetime

from sqlmodel import Session, col, select

from service.store.tables.access import AuditEntry


def latest_change(
    session: Session, organisation_id: int, apart_from: Collection[str] = ()
) -> tuple[int, datetime] | None:
    """Number and instant of an organisation's latest change, apart from those of some sorts of objects.

    Both, since SQLite may give the number of a deleted row again.
    """
    query = (
        select(AuditEntry.id, AuditEntry.at)
        .where(
            AuditEntry.organisation_id == organisation_id,
            col(AuditEntry.object_type).not_in(list(apart_from)),
        )
        .order_by(col(AuditEntry.id).desc())
        .limit(1)
    )
    row = session.exec(query).first()
    return None if row is None else (row[0] or 0, row[1])
