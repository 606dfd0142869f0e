"""Say what became of a line of a published list: done, moved to another day, dropped, or open again."""

from collections.abc import Sequence
from datetime import date, datetime

from sqlmodel import Session

from service.domain.roles import Scope
from service.domain.weeks import IsoWeek
from service.errors import InvalidInputError, StateTransitionError
from service.store.repositories import due_lists, fleet
from service.store.tables.due_lists import DueListLine, LineEvent
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.visits.visit_days import require_visit_day


def mark_line(
    session: Session,
    caller: Caller,
    now: datetime,
    reference: str,
    kind: str,
    moved_to_on: date | None = None,
    note: str | None = None,
) -> tuple[DueListLine, list[LineEvent]]:
    """Write an event beside a line; the line itself never changes.

    Raises
    ------
    StateTransitionError
        If the line is closed already, or is to be opened again and is not closed.
    InvalidInputError
        If a line is moved to a day that is over or too far ahead.
    """
    caller.require(Scope.PLANNING if kind in {"moved", "dropped"} else Scope.WORKSHOP)
    line = due_lists.get_line(session, caller.organisation_id, reference)
    due_lists.lock_lists(session, caller.organisation_id, [line])
    events = due_lists.events_of_lines(session, caller.organisation_id, [line.id]).get(line.id or 0, [])
    if (kind == "reopened") != due_lists.is_closed(events):
        state = "closed" if due_lists.is_closed(events) else "open"
        raise StateTransitionError(f"This line is {state}; it cannot be {kind}.")
    if (kind == "moved") != (moved_to_on is not None):
        raise InvalidInputError.at("/moved_to_on", "Give a day when a line is moved, and only then.")
    if moved_to_on is not None:
        require_visit_day(session, caller, now, "/moved_to_on", moved_to_on)
    return line, [*events, _note(session, caller, now, line, kind, moved_to_on, note)]


def drop_lines(
    session: Session, caller: Caller, now: datetime, compartment_ids: Sequence[int], note: str
) -> None:
    """Drop what is open of compartments on the lists of this week and later ones; older lists are history."""
    organisation = fleet.get_organisation(session, caller.organisation_id)
    present = IsoWeek.of(organisation.today(now))
    lists = due_lists.list_lists(session, caller.organisation_id)
    standing = {one.id for one in lists if IsoWeek.parse(one.iso_week) >= present}
    for line in due_lists.lock_open_lines(session, caller.organisation_id, compartment_ids):
        if line.due_list_id in standing:
            _note(session, caller, now, line, "dropped", note=note)


def _note(
    session: Session,
    caller: Caller,
    now: datetime,
    line: DueListLine,
    kind: str,
    moved_to_on: date | None = None,
    note: str | None = None,
) -> LineEvent:
    event = LineEvent(
        organisation_id=caller.organisation_id,
        line_id=line.id or 0,
        kind=kind,
        moved_to_on=moved_to_on,
        note=note,
        at=now,
        by=caller.actor[:80],
    )
    due_lists.add_event(session, event)
    record_change(session, caller, now, kind, "due list line", line.id, {"note": note})
    return event
