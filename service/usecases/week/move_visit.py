"""Move the visit of a vehicle to another day: every line of it that is still open."""

from datetime import date, datetime

from sqlmodel import Session

from service.domain.external_ids import IdKind, format_id
from service.store.repositories import due_lists
from service.store.tables.due_lists import DueListLine
from service.usecases.access.caller import Caller
from service.usecases.week.mark_lines import mark_line


def move_visit(
    session: Session, caller: Caller, now: datetime, reference: str, to_day: date, note: str | None
) -> DueListLine:
    """Move a line, and with it the other open lines of its vehicle on the same list."""
    line, _ = mark_line(session, caller, now, reference, "moved", to_day, note)
    others = due_lists.list_lines(session, caller.organisation_id, line.due_list_id)
    events = due_lists.events_of_lines(session, caller.organisation_id, [one.id for one in others])
    for other in others:
        is_open = not due_lists.is_closed(events.get(other.id or 0, []))
        if other.vehicle_id == line.vehicle_id and other.id != line.id and is_open:
            key = format_id(IdKind.DUE_LIST_LINE, other.id)
            mark_line(session, caller, now, key, "moved", to_day, note)
    return line
