"""Time zones by name, and the way between an instant and the local clock."""

from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from typing import Final
from zoneinfo import ZoneInfo, available_timezones

from service.errors import InvalidInputError

_NO_PLACE: Final = frozenset({"localtime", "posixrules", "Factory"})
"""Names that mean something else on every machine, or that nobody has chosen a zone yet."""


@cache
def allowed_zone_names() -> frozenset[str]:
    """Names that a user may choose: the IANA zones that this machine knows."""
    return frozenset(available_timezones()) - _NO_PLACE


def zone_named(pointer: str, name: str) -> ZoneInfo:
    """Give the zone of a name that came from a user; looked up in the list, never opened as a path.

    Raises
    ------
    InvalidInputError
        If the list does not have it.
    """
    if name not in allowed_zone_names():
        raise InvalidInputError.at(pointer, "Not a time zone of the IANA list, such as Europe/Berlin.")
    return ZoneInfo(name)


def local_date(instant: datetime, zone: ZoneInfo) -> date:
    """Civil date that the calendar on the wall shows at an instant."""
    return instant.astimezone(zone).date()


def first_instant(day: date, at: time, zone: ZoneInfo) -> datetime:
    """UTC instant at which a local clock first shows a time of day, or has passed it.

    A time that comes twice is taken the first time. A time that the clock skips is taken at the end of the
    gap, even where the gap is a whole day.
    """
    wanted = datetime.combine(day, at)
    candidate = wanted.replace(tzinfo=zone, fold=0).astimezone(UTC)
    if _shown(candidate, zone) == wanted:
        return candidate
    return _end_of_gap(wanted, candidate, zone)


def _end_of_gap(wanted: datetime, after: datetime, zone: ZoneInfo) -> datetime:
    """Bisect for the second in which the clock jumps over the wanted time."""
    gap = _shown(after, zone) - wanted
    before = after - gap
    while after - before > timedelta(seconds=1):
        middle = (before + (after - before) / 2).replace(microsecond=0)
        if _shown(middle, zone) < wanted:
            before = middle
        else:
            after = middle
    return after.replace(microsecond=0)


def _shown(instant: datetime, zone: ZoneInfo) -> datetime:
    return instant.astimezone(zone).replace(tzinfo=None, fold=0)
