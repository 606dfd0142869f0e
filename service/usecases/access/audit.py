"""Write every change down: who, when, what."""

from datetime import datetime
from typing import Any

from sqlmodel import Session

from service.store.tables.access import AuditEntry
from service.usecases.access.caller import Caller


def record_change(
    session: Session,
    caller: Caller,
    now: datetime,
    action: str,
    object_type: str,
    object_id: int | None = None,
    detail: dict[str, Any] | None = None,
) -> None:
    """Add an entry to the record of changes, in the transaction of the change itself."""
    session.add(
        AuditEntry(
            organisation_id=caller.organisation_id,
            at=now,
            actor=caller.actor,
            action=action,
            object_type=object_type,
            object_id=object_id,
            detail=detail or {},
            request_id=caller.request_id,
        )
    )
