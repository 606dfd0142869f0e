"""Fix the due list of a week, once: what is new, carried over, done and moved since the list before."""

import json
from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import date, datetime
from hashlib import sha256
from typing import Any, Final

from sqlmodel import Session

from service.domain.roles import Scope
from service.domain.weeks import IsoWeek
from service.store.repositories import due_lists, jobs
from service.store.tables.due_lists import DueList, DueListLine, LineEvent
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.visits.fleet_names import load_names
from service.usecases.visits.kept_work import KeptWork
from service.usecases.visits.plan_visits import plan_visits
from service.usecases.week.announce_list import announce_list
from service.usecases.week.catch_up import catch_up
from service.usecases.week.describe_line import ListedLine
from service.usecases.week.draft_lines import draft_lines

JOB: Final = "weekly due list"


def draft_list(
    session: Session, organisation_id: int, week: IsoWeek, now: datetime, kept: KeptWork | None = None
) -> tuple[list[ListedLine], dict[str, Any]]:
    """Plan a week's visits and compare their lines with the latest list before it; nothing is stored."""
    names = load_names(session, organisation_id)
    plan = plan_visits(session, names, week, now, kept=kept)
    return _compare(session, organisation_id, week, draft_lines(session, names, plan, week, now))


def publish_list(
    session: Session,
    caller: Caller,
    week: IsoWeek,
    due_at: datetime,
    now: datetime,
    node: str,
    draft: tuple[list[ListedLine], dict[str, Any]],
) -> DueList | None:
    """Store a drafted list if nobody has published the week; none if somebody has.

    The claim, the list and the messages to its subscribers are one transaction: killed at any moment, either all
    are there or none.
    """
    caller.require(Scope.PLANNING)
    if not jobs.claim_run(session, caller.organisation_id, JOB, str(week), due_at, now, node):
        return None
    lines, since_last = draft
    due_list = DueList(
        organisation_id=caller.organisation_id,
        iso_week=str(week),
        due_at=due_at,
        published_at=now,
        n_lines=len(lines),
        since_last=since_last,
        content_hash=_hash(week, lines, since_last),
    )
    session.add(due_list)
    session.flush()
    due_lists.insert_lines(session, [_row(caller, due_list, place, line) for place, line in enumerate(lines)])
    detail = {"week": str(week), "n_lines": len(lines)}
    record_change(session, caller, now, "published", "due list", due_list.id, detail)
    catch_up(session, caller, now, lines)
    announce_list(session, now, due_list, lines)
    return due_list


def listed_lines(
    session: Session, organisation_id: int, due_list: DueList
) -> list[tuple[DueListLine, list[LineEvent]]]:
    """Lines of a published list with what happened to them since."""
    lines = due_lists.list_lines(session, organisation_id, due_list.id or 0)
    events = due_lists.events_of_lines(session, organisation_id, [line.id for line in lines])
    return [(line, events.get(line.id or 0, [])) for line in lines]


def _compare(
    session: Session, organisation_id: int, week: IsoWeek, lines: Sequence[ListedLine]
) -> tuple[list[ListedLine], dict[str, Any]]:
    """Say of every line whether it is new, and of every earlier open line where it went."""
    earlier = _list_before(session, organisation_id, week)
    before = [] if earlier is None else listed_lines(session, organisation_id, earlier)
    open_before = {
        line.compartment_id: (line, events) for line, events in before if not due_lists.is_closed(events)
    }
    compared = [_with_change(line, week, open_before.get(line.compartment_id)) for line in lines]
    listed = {line.compartment_id for line in lines}
    done = [_told(line) for line, events in before if due_lists.is_closed(events)]
    moved = [_told(line) for key, (line, _) in open_before.items() if key not in listed]
    return compared, {"list": None if earlier is None else earlier.iso_week, "done": done, "moved": moved}


def _list_before(session: Session, organisation_id: int, week: IsoWeek) -> DueList | None:
    lists = due_lists.list_lists(session, organisation_id)
    return next((one for one in lists if one.iso_week < str(week)), None)


def _with_change(
    line: ListedLine, week: IsoWeek, before: tuple[DueListLine, Sequence[LineEvent]] | None
) -> ListedLine:
    if before is None:
        return replace(line, change="new", first_listed_week=str(week))
    earlier, events = before
    was_moved = any(event.kind == "moved" for event in events)
    is_ahead = (
        earlier.change == "moved" and earlier.planned_on is not None and earlier.planned_on >= week.first_day
    )
    change = "moved" if was_moved or is_ahead else "carried_over"
    return replace(line, change=change, first_listed_week=earlier.first_listed_week)


def _told(line: DueListLine) -> dict[str, str]:
    return {"vehicle": line.vehicle, "compartment": line.compartment}


def _row(caller: Caller, due_list: DueList, place: int, line: ListedLine) -> dict[str, Any]:
    return {
        "organisation_id": caller.organisation_id,
        "due_list_id": due_list.id,
        "position": place,
        **asdict(line),
    }


def _hash(week: IsoWeek, lines: Sequence[ListedLine], since_last: dict[str, Any]) -> str:
    content = {"week": str(week), "lines": [asdict(line) for line in lines], "since_last": since_last}
    return sha256(json.dumps(content, sort_keys=True, default=date.isoformat).encode()).hexdigest()
