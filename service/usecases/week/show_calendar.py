"""The visits of the latest due lists as a calendar to subscribe to.

A visit keeps its identifier for as long as it is listed. Its sequence number grows with each list that it stands on
and each thing said about it since, and never falls, whatever is forgotten at the far end.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final

from sqlmodel import Session

from service.documents.calendar_file import due_list_calendar
from service.documents.models import CancelledVisit, DueLine
from service.domain.roles import Scope
from service.domain.weeks import IsoWeek
from service.errors import NotFoundError
from service.store.repositories import due_lists, fleet, subscriptions
from service.store.tables.due_lists import DueList, DueListLine, LineEvent
from service.usecases.access.caller import Caller
from service.usecases.week.publish_due_list import listed_lines
from service.usecases.week.render_due_list import (
    EVENTS_A_WEEK,
    document_line,
    due_list_document,
    presentation_of,
    sequence_number,
)
from service.usecases.week.show_due_list import ShownList

LISTS_SHOWN: Final = 8
"""Published lists in a feed, the latest ones; older visits are over."""


@dataclass(frozen=True, slots=True)
class _Listed:
    line: DueListLine
    events: Sequence[LineEvent]
    week: IsoWeek


def caller_of_feed(session: Session, secret: str) -> Caller:
    """Who reads through a feed's address: somebody who may read, and nothing else.

    Raises
    ------
    NotFoundError
        If there is no such feed, or it was revoked.
    """
    feed = subscriptions.find_feed_by_secret(session, secret)
    if feed is None:
        raise NotFoundError("There is no such calendar.")
    return Caller(feed.organisation_id, f"calendar feed {feed.name}"[:80], frozenset({Scope.READ}))


def show_calendar(session: Session, caller: Caller, now: datetime, public_url: str) -> bytes:
    """Write the visits of the latest lists as iCalendar."""
    caller.require(Scope.READ)
    organisation = fleet.get_organisation(session, caller.organisation_id)
    lists = due_lists.list_lists(session, caller.organisation_id, LISTS_SHOWN)
    newest = {} if not lists else _newest_by_line(session, caller.organisation_id, lists)
    shown = ShownList(
        organisation=organisation,
        week=IsoWeek.parse(lists[0].iso_week) if lists else IsoWeek.of(now.date()),
        published=lists[0] if lists else None,
        lines=[],
        since_last={},
    )
    # Without a list the founding is the one instant that stays the same from one look to the next.
    document = due_list_document(shown, organisation.created_at, public_url)
    visits = [_visit(lines, shown.week) for lines in _by_visit(newest.values())]
    document = replace(
        document,
        lines=tuple(line for visit in visits if isinstance(visit, tuple) for line in visit),
        cancelled=tuple(visit for visit in visits if isinstance(visit, CancelledVisit)),
        url=f"{public_url}/",
    )
    return due_list_calendar(document, presentation_of(organisation))


def _newest_by_line(
    session: Session, organisation_id: int, lists: Sequence[DueList]
) -> dict[tuple[int, str], _Listed]:
    """Each piece of work as the latest list that names it has it."""
    newest: dict[tuple[int, str], _Listed] = {}
    for one in reversed(lists):
        for line, events in listed_lines(session, organisation_id, one):
            key = (line.compartment_id, line.first_listed_week)
            newest[key] = _Listed(line, events, IsoWeek.parse(one.iso_week))
    return newest


def _by_visit(lines: Iterable[_Listed]) -> list[list[_Listed]]:
    """Gather what one vehicle comes for at once."""
    visits: dict[tuple[int, str], list[_Listed]] = {}
    for listed in sorted(lines, key=lambda one: one.line.position):
        visits.setdefault((listed.line.vehicle_id, listed.line.first_listed_week), []).append(listed)
    return [visits[key] for key in sorted(visits)]


def _visit(lines: Sequence[_Listed], latest: IsoWeek) -> tuple[DueLine, ...] | CancelledVisit:
    """One visit: its lines that still stand, on the day last said for any of them, or that it does not take place."""
    standing = [listed for listed in lines if not _has_left(listed, latest)]
    sequence = max(_sequence(listed, latest) for listed in lines)
    day = _day(standing or lines)
    if not standing:
        first = document_line(lines[0].line)
        return CancelledVisit(
            visit_id=first.visit_id,
            visit_sequence=sequence,
            vehicle=first.vehicle,
            visit_on=day or first.due_p50_on or lines[0].week.first_day,
            reason="No longer on the list.",
        )
    return tuple(
        replace(document_line(listed.line), visit_on=day, visit_sequence=sequence) for listed in standing
    )


def _has_left(listed: _Listed, latest: IsoWeek) -> bool:
    """Whether nobody will come for a line: dropped, or open and not on the latest list any more."""
    state = due_lists.state_of(listed.events)
    return state == "dropped" or (state != "done" and listed.week != latest)


def _sequence(listed: _Listed, latest: IsoWeek) -> int:
    has_left = _has_left(listed, latest) and listed.week != latest
    return sequence_number(listed.line, listed.week, listed.events) + has_left * EVENTS_A_WEEK


def _day(lines: Sequence[_Listed]) -> date | None:
    """Day last said for any line: a vehicle comes once for all of them."""
    moves = [event for listed in lines for event in listed.events if event.moved_to_on is not None]
    if moves:
        return max(moves, key=lambda event: event.id or 0).moved_to_on
    return next((listed.line.planned_on for listed in lines if listed.line.planned_on is not None), None)
