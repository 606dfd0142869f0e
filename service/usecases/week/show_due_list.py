"""A week's due list as it stands: the published one, or what would be published now."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypeVar

from sqlmodel import Session

from service.domain.roles import Scope
from service.domain.weeks import IsoWeek
from service.errors import NotFoundError
from service.store.repositories import due_lists, fleet, jobs
from service.store.tables.due_lists import DueList, DueListLine, LineEvent
from service.store.tables.operations import JobFailure
from service.store.tables.organisation import Organisation
from service.usecases.access.caller import Caller
from service.usecases.visits.kept_work import KeptWork
from service.usecases.week.describe_line import ListedLine
from service.usecases.week.publish_due_list import JOB, draft_list, listed_lines

CURRENT = "current"
Line = TypeVar("Line", DueListLine, ListedLine)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownList:
    """A due list with its lines and what happened to them; `published` is none for a draft."""

    organisation: Organisation
    week: IsoWeek
    published: DueList | None
    lines: Sequence[tuple[DueListLine | ListedLine, Sequence[LineEvent]]]
    """By the day that each stands on now, those without one last; within a day the most urgent first."""

    since_last: dict[str, Any]


def week_named(session: Session, caller: Caller, name: str, now: datetime) -> IsoWeek:
    """Week that a path names: an ISO week such as 2026-W19, or `current`, in the organisation's zone."""
    if name != CURRENT:
        return IsoWeek.parse(name)
    organisation = fleet.get_organisation(session, caller.organisation_id)
    return IsoWeek.of(organisation.today(now))


def show_due_list(
    session: Session, caller: Caller, now: datetime, name: str, kept: KeptWork | None = None
) -> ShownList:
    """Give a published list, or a draft of the present week or a coming one.

    A draft uses what an earlier one left in `kept`, and leaves its own there.

    Raises
    ------
    NotFoundError
        If the week is over and nothing was published for it.
    """
    week = week_named(session, caller, name, now)
    fixed = show_published(session, caller, week)
    if fixed is not None:
        return fixed
    if week < week_named(session, caller, CURRENT, now):
        raise NotFoundError("No list was published for this week.")
    draft, since_last = draft_list(session, caller.organisation_id, week, now, kept)
    return ShownList(
        organisation=fleet.get_organisation(session, caller.organisation_id),
        week=week,
        published=None,
        lines=_by_day([(line, ()) for line in draft]),
        since_last=since_last,
    )


def show_published(session: Session, caller: Caller, week: IsoWeek) -> ShownList | None:
    """Give the list of a week if it is published."""
    caller.require(Scope.READ)
    published = due_lists.find_list(session, caller.organisation_id, str(week))
    if published is None:
        return None
    return ShownList(
        organisation=fleet.get_organisation(session, caller.organisation_id),
        week=week,
        published=published,
        lines=_by_day(listed_lines(session, caller.organisation_id, published)),
        since_last=published.since_last,
    )


def _by_day(lines: Sequence[tuple[Line, Sequence[LineEvent]]]) -> list[tuple[Line, Sequence[LineEvent]]]:
    return sorted(lines, key=lambda found: due_lists.day_of(*found) or date.max)


def why_not_published(session: Session, caller: Caller, shown: ShownList) -> JobFailure | None:
    """Why a draft is not the published list that it should be; it is tried again until it works."""
    if shown.published is not None:
        return None
    return jobs.latest_failure(session, caller.organisation_id, JOB, str(shown.week))
