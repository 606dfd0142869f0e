"""The record of changes as the outside sees it."""

from datetime import datetime
from typing import Any, Self

from pydantic import BaseModel

from service.domain.external_ids import IdKind, format_id
from service.store.tables.access import AuditEntry


class AuditEntryRead(BaseModel):
    """A change: who, when, what."""

    id: str
    at: datetime
    actor: str
    action: str
    object_type: str
    object_number: int | None
    detail: dict[str, Any]
    request_id: str | None

    @classmethod
    def of(cls, row: AuditEntry) -> Self:
        """Show an entry."""
        fields = {"at", "actor", "action", "object_type", "detail", "request_id"}
        return cls(
            id=format_id(IdKind.AUDIT_ENTRY, row.id),
            object_number=row.object_id,
            **row.model_dump(include=fields),
        )


class AuditPage(BaseModel):
    """Changes, the newest first."""

    entries: list[AuditEntryRead]
