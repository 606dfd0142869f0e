"""Tick lines of the published due list off when their work was done, and open them again when it was not."""

from collections.abc import Sequence
from datetime import date, datetime

from sqlmodel import Session

from service.domain.weeks import IsoWeek
from service.store.repositories import due_lists
from service.store.tables.due_lists import DueListLine, LineEvent
from service.store.tables.services import Service
from service.usecases.access.caller import Caller


def tick_off(
    session: Session,
    caller: Caller,
    now: datetime,
    service: Service,
    done_on: date,
    compartment_ids: Sequence[int],
) -> None:
    """Say of the open lines of these compartments that they are done, if the work was done in their time."""
    for line in due_lists.lock_open_lines(session, caller.organisation_id, compartment_ids):
        if done_on >= _settled_from(line):
            _add(session, caller, now, service, line.id, "done")


def reopen_lines(session: Session, caller: Caller, now: datetime, service: Service) -> None:
    """Open the lines that a voided service had ticked off."""
    for line_id in due_lists.lock_lines_done_by(session, caller.organisation_id, service.id or 0):
        _add(session, caller, now, service, line_id, "reopened")


def _settled_from(line: DueListLine) -> date:
    """First day whose work is that of the line, in whatever order services are typed in.

    It is the Monday of the week in which the first list with this line was fixed, or the day from which the work
    could be due, if that is earlier. Older work is history: whether it leaves anything to do the next list says.
    """
    fixed_in = IsoWeek.parse(line.first_listed_week).shifted(-1)
    return min(fixed_in.first_day, line.due_q10_on or fixed_in.first_day)


def _add(
    session: Session, caller: Caller, now: datetime, service: Service, line_id: int | None, kind: str
) -> None:
    due_lists.add_event(
        session,
        LineEvent(
            organisation_id=caller.organisation_id,
            line_id=line_id or 0,
            kind=kind,
            service_id=service.id,
            at=now,
            by=caller.actor[:80],
        ),
    )
