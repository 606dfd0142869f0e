"""How SQLite keeps instants, for statements below the object layer."""

from datetime import UTC, datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

_LENGTH: Final = len("2026-05-01 07:30:00.000000")
_SPACE_AT: Final = len("2026-05-01")


def sqlite_instant(instant: datetime) -> str:
    """Write an instant as the column type keeps it: in UTC, so that texts sort as times do."""
    utc = instant if instant.tzinfo is UTC else instant.astimezone(UTC)
    return utc.isoformat(" ", "microseconds")[:_LENGTH]


def sqlite_instants(instants: NDArray[np.datetime64]) -> list[str]:
    """Write a column of instants likewise; they are UTC, in microseconds."""
    if instants.size == 0:
        return []
    texts = np.datetime_as_string(instants, unit="us")
    characters = np.ascontiguousarray(texts).view(np.uint32).reshape(texts.size, -1)
    characters[:, _SPACE_AT] = ord(" ")
    listed: list[str] = texts.tolist()
    return listed


def aware_instants(instants: NDArray[np.datetime64]) -> list[datetime]:
    """Turn a column of instants into what the driver of PostgreSQL takes."""
    return [naive.replace(tzinfo=UTC) for naive in instants.astype("datetime64[us]").tolist()]
