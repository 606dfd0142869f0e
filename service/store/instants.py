"""How SQLite keeps instants, for statements below the object layer."""

from datetime import UTC, datetime


def sqlite_instant(instant: datetime) -> str:
    """Write an instant as the column type keeps it: in UTC, so that texts sort as times do."""
    return instant.astimezone(UTC).replace(tzinfo=None).isoformat(" ", "microseconds")
