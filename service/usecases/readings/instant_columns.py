"""Columns of instants: microseconds since 1970 UTC, and the offset that each one came with."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.domain import plausibility
from service.engine.arrays import Booleans, Integers
from service.usecases.usage.engine_time import EPOCH

MICROSECOND: Final = timedelta(microseconds=1)
MICROSECONDS_PER_MINUTE: Final = 60_000_000
_NO_OFFSET: Final = timedelta(0)
_WESTERNMOST: Final = plausibility.WESTERNMOST // timedelta(minutes=1)
_EASTERNMOST: Final = plausibility.EASTERNMOST // timedelta(minutes=1)

_CLOCK: Final = b"0000-00-00T00:00:00"
_FRACTIONS: Final = (b"", b".000", b".000000")
_ZONES: Final = (b"Z", b"+00:00")
_LAYOUTS: Final = {
    len(_CLOCK + fraction + zone): (_CLOCK + fraction, zone) for fraction in _FRACTIONS for zone in _ZONES
}
"""How programs write times; every layout has a length of its own."""


@dataclass(frozen=True, slots=True)
class InstantColumn:
    """Instants by place."""

    microseconds: Integers
    offset_minutes: Integers

    @classmethod
    def of(cls, n_rows: int) -> "InstantColumn":
        """Room for so many."""
        return cls(*np.zeros((2, n_rows), dtype=np.int64))

    def put(self, place: int, instant: datetime) -> None:
        """Set one of them."""
        offset = instant.utcoffset() or _NO_OFFSET
        self.microseconds[place] = (instant - EPOCH) // MICROSECOND
        self.offset_minutes[place] = offset // timedelta(minutes=1)

    def instant(self, place: int) -> datetime:
        """Spell one of them out, on the clock it came from."""
        offset = timedelta(minutes=int(self.offset_minutes[place]))
        local = EPOCH.replace(tzinfo=None) + MICROSECOND * int(self.microseconds[place]) + offset
        return local.replace(tzinfo=timezone(offset))


def read_instants(texts: Sequence[str], read_one: Callable[[int, str], datetime | None]) -> InstantColumn:
    """Read a column of texts; `read_one` is asked, and says none where it refused, for what has no usual layout."""
    column = InstantColumn.of(len(texts))
    lengths = np.fromiter(map(len, texts), np.int64, len(texts))
    unread = np.ones(len(texts), dtype=np.bool_)
    for length in np.unique(lengths).tolist():
        if length in _LAYOUTS:
            places = np.flatnonzero(lengths == length)
            listed = texts if places.size == len(texts) else [texts[place] for place in places.tolist()]
            unread[places] = ~_read_layout(listed, *_LAYOUTS[length], column, places)
    for place in np.flatnonzero(unread).tolist():
        instant = read_one(place, texts[place])
        if instant is not None:
            column.put(place, instant)
    return column


def _read_layout(
    texts: Sequence[str], clock: bytes, zone: bytes, column: InstantColumn, places: Integers
) -> Booleans:
    """Read texts of one layout into the column; marks those that have it and are times of the calendar."""
    encoded = "".join(texts).encode("ascii", "replace")
    table = np.frombuffer(encoded, dtype=np.uint8).reshape(len(texts), len(clock) + len(zone))
    fits = _has_layout(table, np.frombuffer(clock + zone, dtype=np.uint8))
    local, is_in_calendar = _calendar_time(table[fits, : len(clock)].astype(np.int64) - ord("0"))
    tail = table[fits, len(clock) :].astype(np.int64)
    minutes = _offset_minutes(tail) if tail.shape[1] > 1 else np.zeros(local.size, dtype=np.int64)
    first, end = (
        np.datetime64(f"{year}-01-01", "us").astype(np.int64)
        for year in (plausibility.FIRST_DAY.year, plausibility.LAST_DAY.year + 1)
    )
    is_sound = (
        is_in_calendar
        & (local >= first)
        & (local < end)
        & (minutes >= _WESTERNMOST)
        & (minutes <= _EASTERNMOST)
    )
    at = places[fits][is_sound]
    column.microseconds[at] = (local - minutes * MICROSECONDS_PER_MINUTE)[is_sound]
    column.offset_minutes[at] = minutes[is_sound]
    fits[fits] = is_sound
    return fits


def _has_layout(table: NDArray[np.uint8], layout: NDArray[np.uint8]) -> Booleans:
    is_digit = layout == ord("0")
    numbers, marks = table[:, is_digit] - np.uint8(ord("0")), table[:, ~is_digit]
    same = marks == layout[~is_digit]
    same |= (layout[~is_digit] == ord("T")) & (marks == ord(" "))
    same |= (layout[~is_digit] == ord("+")) & (marks == ord("-"))
    return np.asarray(np.all(numbers <= 9, axis=1) & np.all(same, axis=1))


def _calendar_time(digits: Integers) -> tuple[Integers, Booleans]:
    """Microseconds of the civil times, and which of them the calendar has.

    From the digits, because NumPy's own reading of more than 500 texts ends the process where one of them is no date
    (2.4.6: it says so without holding the interpreter).
    """

    def number(*places: int) -> Integers:
        return np.asarray(digits[:, places] @ 10 ** np.arange(len(places) - 1, -1, -1))

    year, month, day = number(0, 1, 2, 3), number(5, 6), number(8, 9)
    hour, minute, second = number(11, 12), number(14, 15), number(17, 18)
    fraction = number(*range(len("0000-00-00T00:00:00."), digits.shape[1]))
    months = (year - 1970) * 12 + month - 1
    first_day, end = (
        number_of.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
        for number_of in (months, months + 1)
    )
    is_in_calendar = (month >= 1) & (month <= 12) & (day >= 1) & (day <= end - first_day)
    is_in_calendar &= (hour < 24) & (minute < 60) & (second < 60)
    seconds = ((first_day + day - 1) * 24 + hour) * 3600 + minute * 60 + second
    decimals = max(0, digits.shape[1] - len("0000-00-00T00:00:00."))
    return seconds * 1_000_000 + fraction * 10 ** (6 - decimals), is_in_calendar


def _offset_minutes(tail: Integers) -> Integers:
    """Minutes of offsets such as +01:30; a day, which no clock is off, where the minutes are none."""
    digits = tail[:, [1, 2, 4, 5]] - ord("0")
    hours, minutes = digits[:, 0] * 10 + digits[:, 1], digits[:, 2] * 10 + digits[:, 3]
    sign = np.where(tail[:, 0] == ord("-"), -1, 1)
    return np.asarray(np.where(minutes < 60, sign * (hours * 60 + minutes), 1440))
