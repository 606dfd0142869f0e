"""The record of changes, asked how far it has come."""

from collections.abc import Collection

from sqlmodel import Session, col, select

from service.store.tables.access import AuditEntry


def latest_change(session: Session, organisation_id: int, apart_from: Collection[str] = ()) -> int:
    """Number of an organisation's latest change, apart from those of some sorts of objects; 0 without any."""
    query = (
        select(AuditEntry.id)
        .where(
            AuditEntry.organisation_id == organisation_id,
            col(AuditEntry.object_type).not_in(list(apart_from)),
        )
        .order_by(col(AuditEntry.id).desc())
        .limit(1)
    )
    return session.exec(query).first() or 0
