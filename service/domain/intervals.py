"""Intervals, and the point at which each of their limits is reached."""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta

from service.domain.plausibility import INTERVAL_HOURS, INTERVAL_KM, INTERVAL_MONTHS, LAST_DAY
from service.errors import InvalidInputError


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """How far, how long and how many running hours a fluid may stay; None where that limit does not apply."""

    km: float | None = None
    months: int | None = None
    hours: float | None = None

    def __post_init__(self) -> None:
        for pointer, value, bounds in (
            ("/interval_km", self.km, INTERVAL_KM),
            ("/interval_months", self.months, INTERVAL_MONTHS),
            ("/interval_hours", self.hours, INTERVAL_HOURS),
        ):
            if value is not None:
                bounds.check(pointer, value)


@dataclass(frozen=True, slots=True, kw_only=True)
class ServicePoint:
    """Where a vehicle stood when a fluid was last new, or where a limit will be reached."""

    on: date | None
    odometer_km: float | None = None
    engine_hours: float | None = None


def months_after(day: date, n_months: int) -> date:
    """Day so many months later; a day that the month does not have becomes the month's last.

    Always count from the original day: 31 January plus one month is 29 February, plus two is 31 March.
    """
    months = day.year * 12 + day.month - 1 + n_months
    year, month = divmod(months, 12)
    if not date.min.year <= year <= LAST_DAY.year:
        return LAST_DAY if n_months > 0 else date.min
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def due_point(interval: Interval, start: ServicePoint) -> ServicePoint:
    """Where each limit of the hard schedule is reached, counted from the last full-equivalent service."""
    return ServicePoint(
        odometer_km=_sum(start.odometer_km, interval.km),
        on=None if start.on is None or interval.months is None else months_after(start.on, interval.months),
        engine_hours=_sum(start.engine_hours, interval.hours),
    )


def credited_start(previous: ServicePoint, service: ServicePoint, credit: float) -> ServicePoint:
    """Where the schedule starts again after an exchange that renewed only a share of the fluid.

    A credit of 1 starts it at the service, a credit of 0 leaves it where it was; in between it moves in
    proportion, so that a partial exchange never counts as a full one.

    Raises
    ------
    InvalidInputError
        If the credit is no share.
    """
    if not 0 <= credit <= 1:
        raise InvalidInputError("The credit of an exchange is a share from 0 to 1.")
    return ServicePoint(
        odometer_km=_between(previous.odometer_km, service.odometer_km, credit),
        on=_day_between(previous.on, service.on, credit),
        engine_hours=_between(previous.engine_hours, service.engine_hours, credit),
    )


def _sum(start: float | None, length: float | None) -> float | None:
    return None if start is None or length is None else start + length


def _between(before: float | None, after: float | None, share: float) -> float | None:
    if before is None or after is None:
        return after if before is None and share == 1 else before
    return before + share * (after - before)


def _day_between(before: date | None, after: date | None, share: float) -> date | None:
    if before is None or after is None:
        return after if before is None and share == 1 else before
    return before + timedelta(days=int(share * (after - before).days))
