"""Days that the plan may not choose: pinned by somebody, moved on a list, or promised by a published list."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Final

from sqlmodel import Session

from service.domain.weeks import IsoWeek
from service.store.repositories import visits
from service.store.repositories.visits import PromisedDay
from service.store.tables.visits import VisitPin

_BEFORE_ALL: Final = datetime.min.replace(tzinfo=UTC)


class Origin(StrEnum):
    """Who fixed the day of a visit."""

    PINNED = "pinned"
    MOVED = "moved"
    PUBLISHED = "published"


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedDay:
    """The day of a vehicle's next visit, or with `not_before` the first day on which it may be."""

    day: date
    origin: Origin
    not_before: bool = False
    by: str = ""
    at: datetime = _BEFORE_ALL


@dataclass(frozen=True, slots=True, kw_only=True)
class Fixed:
    """What is fixed, by vehicle, and the weeks that are published."""

    days: dict[int, FixedDay]
    published: frozenset[str]


def read_fixed(session: Session, organisation_id: int, first_week: IsoWeek, today: date) -> Fixed:
    """Read what a plan that begins with this week has to keep; of several wishes the latest counts."""
    first_day = max(first_week.first_day, today)
    promised = visits.promised_days(session, organisation_id, str(first_week))
    pins = visits.list_live_pins(session, organisation_id, today)
    days: dict[int, FixedDay] = {}
    for vehicle_id, fixed in [*_promised(promised, first_week, first_day), *_pinned(pins)]:
        if vehicle_id not in days or days[vehicle_id].at <= fixed.at:
            days[vehicle_id] = fixed
    published = visits.published_weeks(session, organisation_id, str(first_week))
    return Fixed(days=days, published=frozenset(published))


def _promised(
    lines: Iterable[PromisedDay], first_week: IsoWeek, first_day: date
) -> Iterable[tuple[int, FixedDay]]:
    """Days of open lines that are still to come; of the list before the plan only what somebody moved."""
    for line in lines:
        if line.moved_to_on is not None:
            day, origin = line.moved_to_on, Origin.MOVED
        elif line.iso_week >= str(first_week) and line.planned_on is not None:
            day, origin = line.planned_on, Origin.PUBLISHED
        else:
            continue
        if day >= first_day:
            fixed = FixedDay(day=day, origin=origin, by=line.moved_by or "", at=line.moved_at or _BEFORE_ALL)
            yield line.vehicle_id, fixed


def _pinned(pins: Iterable[VisitPin]) -> Iterable[tuple[int, FixedDay]]:
    for pin in pins:
        yield (
            pin.vehicle_id,
            FixedDay(
                day=pin.day,
                origin=Origin.PINNED,
                not_before=pin.kind == "not_before",
                by=pin.by,
                at=pin.created_at,
            ),
        )
