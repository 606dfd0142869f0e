"""How SQLite keeps instants, for statements below the object layer."""

from datetime import UTC, datetime
from typing import Final

_LENGTH: Final = len("2026-05-01 07:30:00.000000")


def sqlite_instant(instant: datetime) -> str:
    """Write an instant as the column type keeps it: in UTC, so that texts sort as times do."""
    utc = instant if instant.tzinfo is UTC else instant.astimezone(UTC)
    return utc.isoformat(" ", "microseconds")[:_LENGTH]
