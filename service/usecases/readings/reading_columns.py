"""Readings as they came, one by one or a column each."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from service.engine.arrays import Floats
from service.usecases.readings.instant_columns import InstantColumn
from service.usecases.readings.row_outcomes import RowResult


@dataclass(slots=True, kw_only=True)
class ReadingRow:
    """One reading as it came; texts are clean already, numbers within bounds."""

    vehicle: str
    taken_at: datetime
    odometer: float | None = None
    unit: str | None = None
    engine_hours: float | None = None
    source: str = "api"
    reference: str | None = None


@dataclass(slots=True, kw_only=True)
class ReadingColumns:
    """Readings of one call by their place in it; what stands at the place of a refused row means nothing."""

    vehicle: Sequence[str]
    taken_at: InstantColumn
    odometer: Floats
    """NaN where none was given, as in `engine_hours`."""

    unit: Sequence[str | None]
    engine_hours: Floats
    source: Sequence[str]
    reference: Sequence[str | None]
    refused: dict[int, RowResult] = field(default_factory=dict)
    """Rows that cannot be read, by their place."""

    def __len__(self) -> int:
        return len(self.vehicle)

    @classmethod
    def of_rows(cls, rows: Sequence[ReadingRow]) -> "ReadingColumns":
        """Turn rows into columns."""
        taken_at = InstantColumn.of(len(rows))
        for place, row in enumerate(rows):
            taken_at.put(place, row.taken_at)
        return cls(
            vehicle=[row.vehicle for row in rows],
            taken_at=taken_at,
            odometer=np.array([row.odometer for row in rows], dtype=np.float64),
            unit=[row.unit for row in rows],
            engine_hours=np.array([row.engine_hours for row in rows], dtype=np.float64),
            source=[row.source for row in rows],
            reference=[row.reference for row in rows],
        )


def clean_column(
    name: str, values: Sequence[str | None], longest: int, clean: Callable[[str, str, int], str | None]
) -> list[str | None]:
    """Clean a column of texts; the usual ones, short printable ASCII without outer spaces, need no work.

    `clean` gets the name of the column, a text that is not one of these, and its place.
    """
    given = [value for value in values if value is not None]
    whole = "".join(given)
    if (
        whole.isascii()
        and whole.isprintable()
        and all(given)
        and max(map(len, given), default=0) <= longest
        and (" " not in whole or given == [*map(str.strip, given)])
    ):
        return list(values)
    return [
        value if value is None or _is_plain(value, longest) else clean(name, value, place)
        for place, value in enumerate(values)
    ]


def _is_plain(value: str, longest: int) -> bool:
    return 0 < len(value) <= longest and value.isascii() and value.isprintable() and value == value.strip()
