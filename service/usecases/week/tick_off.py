"""Tick lines of the published due list off when their work was done, and open them again when it was not."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session

from service.store.repositories import due_lists
from service.store.tables.due_lists import LineEvent
from service.store.tables.services import Service
from service.usecases.access.caller import Caller


def tick_off(
    session: Session, caller: Caller, now: datetime, service: Service, compartment_ids: Sequence[int]
) -> None:
    """Say of every open line of these compartments that it is done."""
    for line in due_lists.open_lines(session, caller.organisation_id, compartment_ids):
        _add(session, caller, now, service, line.id, "done")


def reopen_lines(session: Session, caller: Caller, now: datetime, service: Service) -> None:
    """Open the lines that a voided service had ticked off."""
    for line_id in due_lists.lines_done_by(session, caller.organisation_id, service.id or 0):
        _add(session, caller, now, service, line_id, "reopened")


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
