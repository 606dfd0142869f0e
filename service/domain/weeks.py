"""ISO 8601 weeks, and when the list of a week is published."""

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final, Self
from zoneinfo import ZoneInfo

from service.domain.plausibility import FIRST_DAY, LAST_DAY
from service.domain.zones import first_instant, local_date
from service.errors import InvalidInputError
from service.units import DAYS_PER_WEEK

_WRITTEN: Final = re.compile(r"([0-9]{4})-W([0-9]{2})")
_ONE_WEEK: Final = timedelta(weeks=1)


@dataclass(frozen=True, slots=True, order=True)
class IsoWeek:
    """One week from Monday to Sunday, by its ISO year and number."""

    year: int
    number: int

    def __post_init__(self) -> None:
        if not FIRST_DAY.year <= self.year <= LAST_DAY.year:
            raise InvalidInputError(f"The year of a week must be from {FIRST_DAY.year} to {LAST_DAY.year}.")
        if not 1 <= self.number <= n_weeks_in_year(self.year):
            raise InvalidInputError(f"The year {self.year} has weeks 1 to {n_weeks_in_year(self.year)}.")

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read a week as ISO 8601 writes it, 2026-W48."""
        match = _WRITTEN.fullmatch(text)
        if match is None:
            raise InvalidInputError("A week is written as 2026-W48.")
        return cls(int(match[1]), int(match[2]))

    @classmethod
    def of(cls, day: date) -> Self:
        """Return the week that a day belongs to."""
        year, number, _ = day.isocalendar()
        return cls(year, number)

    def __str__(self) -> str:
        return f"{self.year:04d}-W{self.number:02d}"

    @property
    def first_day(self) -> date:
        """Monday."""
        return date.fromisocalendar(self.year, self.number, 1)

    @property
    def last_day(self) -> date:
        """Sunday."""
        return date.fromisocalendar(self.year, self.number, 7)

    def shifted(self, n_weeks: int) -> "IsoWeek":
        """Return the week so many weeks later, or earlier if negative."""
        return IsoWeek.of(self.first_day + n_weeks * _ONE_WEEK)

    def days(self) -> tuple[date, ...]:
        """Seven days from Monday."""
        return tuple(self.first_day + timedelta(days=index) for index in range(7))

    def weeks_until(self, later: "IsoWeek") -> int:
        """Return how many weeks lie between this Monday and another, negative if that one is earlier."""
        return (later.first_day - self.first_day).days // 7


def n_weeks_in_year(year: int) -> int:
    """Return 53 for a long ISO year, else 52: 28 December is always in the last week."""
    return date(year, 12, 28).isocalendar().week


def weeks_from(first: IsoWeek, n_weeks: int) -> tuple[IsoWeek, ...]:
    """Give consecutive weeks, the first one included."""
    return tuple(first.shifted(index) for index in range(n_weeks))


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishingRule:
    """When an organisation publishes: a weekday and local time in the week before the one that is listed."""

    zone: ZoneInfo
    iso_weekday: int = 5
    at: time = time(6, 0)

    def __post_init__(self) -> None:
        if not 1 <= self.iso_weekday <= 7:
            raise InvalidInputError("A weekday is a number from 1 for Monday to 7 for Sunday.")
        if self.at.tzinfo is not None or self.at.microsecond:
            raise InvalidInputError(
                "The publishing time is a local time in whole seconds, without an offset."
            )

    @property
    def days_ahead(self) -> int:
        """Days from the one of publishing to the end of the listed week: how far ahead a list has to guess."""
        return 2 * DAYS_PER_WEEK + 1 - self.iso_weekday


def publishing_instant(week: IsoWeek, rule: PublishingRule) -> datetime:
    """UTC instant at which the due list of a week is published."""
    day = week.first_day - _ONE_WEEK + timedelta(days=rule.iso_weekday - 1)
    return first_instant(day, rule.at, rule.zone)


def next_week_to_publish(now: datetime, rule: PublishingRule) -> IsoWeek:
    """Return the first week whose publishing instant is still ahead."""
    week = IsoWeek.of(local_date(now, rule.zone))
    while publishing_instant(week, rule) <= now:
        week = week.shifted(1)
    return week


def last_week_to_publish(now: datetime, rule: PublishingRule) -> IsoWeek:
    """Return the latest week whose publishing instant has come."""
    return next_week_to_publish(now, rule).shifted(-1)


def weeks_to_catch_up(
    last_published: IsoWeek | None, now: datetime, rule: PublishingRule
) -> tuple[IsoWeek, ...]:
    """Weeks whose publishing instant has come and that have no list yet, in order.

    Without any list so far only the latest one counts: an organisation that is new today missed nothing.
    Because weeks are told apart by their local Monday alone, a change of zone or weekday can neither double
    nor lose one.
    """
    latest = last_week_to_publish(now, rule)
    if last_published is None:
        return (latest,)
    return weeks_from(last_published.shifted(1), last_published.weeks_until(latest))
