"""Published due lists, and what happened to their lines afterwards."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, Literal, Protocol

from sqlalchemy import func, insert, update
from sqlalchemy import select as core_select
from sqlmodel import Session, col, select

from service.domain.external_ids import IdKind
from service.store.in_lists import in_lists
from service.store.own_rows import get_own
from service.store.tables.due_lists import DueList, DueListLine, LineEvent

CLOSED = ("done", "dropped")
LineState = Literal["open", "done", "dropped"]


class Planned(Protocol):
    """A line of a list, published or a draft."""

    @property
    def planned_on(self) -> date | None:
        """Day that the list gave."""
        ...


def lock_lists(session: Session, organisation_id: int, lines: Iterable[DueListLine]) -> None:
    """Let one writer at a time say what became of the lines of these lists, always in the order of ids.

    What was read of the lines' events before may be old by now. On SQLite the writers queue anyway.
    """
    ids = sorted({line.due_list_id for line in lines})
    query = select(DueList.id).where(DueList.organisation_id == organisation_id, col(DueList.id).in_(ids))
    session.exec(query.order_by(col(DueList.id)).with_for_update(key_share=True)).all()


def lock_open_lines(
    session: Session, organisation_id: int, compartment_ids: Sequence[int]
) -> list[DueListLine]:
    """Open lines of some compartments, of which nobody else says anything until this transaction ends."""
    lock_lists(session, organisation_id, open_lines(session, organisation_id, compartment_ids))
    return open_lines(session, organisation_id, compartment_ids)


def open_lines(session: Session, organisation_id: int, compartment_ids: Sequence[int]) -> list[DueListLine]:
    """Lines of published lists for some compartments that nobody has ticked off or dropped."""
    lines: list[DueListLine] = []
    for some in in_lists(compartment_ids):
        query = select(DueListLine).where(
            DueListLine.organisation_id == organisation_id, col(DueListLine.compartment_id).in_(some)
        )
        lines.extend(session.exec(query.order_by(col(DueListLine.id))))
    latest = last_events(session, organisation_id, [line.id for line in lines if line.id is not None])
    return [line for line in lines if line.id not in latest or latest[line.id].kind not in CLOSED]


def lock_lines_done_by(session: Session, organisation_id: int, service_id: int) -> list[int]:
    """Lines that a service ticked off, of which nobody else says anything until this transaction ends."""
    done = lines_done_by(session, organisation_id, service_id)
    query = select(DueListLine).where(
        DueListLine.organisation_id == organisation_id, col(DueListLine.id).in_(done)
    )
    lock_lists(session, organisation_id, session.exec(query))
    return lines_done_by(session, organisation_id, service_id)


def last_events(session: Session, organisation_id: int, line_ids: Sequence[int]) -> dict[int, LineEvent]:
    """Latest event of each line that has one; a move is none: the line stays open."""
    found: dict[int, LineEvent] = {}
    for some in in_lists(line_ids):
        newest = (
            select(func.max(col(LineEvent.id)))
            .where(
                LineEvent.organisation_id == organisation_id,
                col(LineEvent.line_id).in_(some),
                LineEvent.kind != "moved",
            )
            .group_by(col(LineEvent.line_id))
        )
        rows = session.exec(select(LineEvent).where(col(LineEvent.id).in_(newest)))
        found |= {event.line_id: event for event in rows}
    return found


def lines_done_by(session: Session, organisation_id: int, service_id: int) -> list[int]:
    """Lines that a service ticked off and that are still ticked off by it."""
    query = select(LineEvent.line_id).where(
        LineEvent.organisation_id == organisation_id,
        LineEvent.service_id == service_id,
        LineEvent.kind == "done",
    )
    latest = last_events(session, organisation_id, list(session.exec(query)))
    return [
        line_id
        for line_id, event in latest.items()
        if event.kind == "done" and event.service_id == service_id
    ]


def find_list(session: Session, organisation_id: int, iso_week: str) -> DueList | None:
    """Published list of a week."""
    query = select(DueList).where(DueList.organisation_id == organisation_id, DueList.iso_week == iso_week)
    return session.exec(query).first()


def get_list(session: Session, organisation_id: int, due_list_id: int) -> DueList:
    """Published list by its key."""
    query = select(DueList).where(DueList.organisation_id == organisation_id, DueList.id == due_list_id)
    return session.exec(query).one()


def latest_list(session: Session, organisation_id: int) -> DueList | None:
    """Published list of the latest week; weeks sort as they are written."""
    query = select(DueList).where(DueList.organisation_id == organisation_id)
    return session.exec(query.order_by(col(DueList.iso_week).desc())).first()


def list_lists(session: Session, organisation_id: int, limit: int = 60) -> list[DueList]:
    """Published lists, the latest week first."""
    query = select(DueList).where(DueList.organisation_id == organisation_id)
    return list(session.exec(query.order_by(col(DueList.iso_week).desc()).limit(limit)))


def list_weeks(session: Session, organisation_id: int | None = None) -> dict[int, set[str]]:
    """ISO weeks that have a list, by organisation; of one organisation or of all."""
    query = select(DueList.organisation_id, DueList.iso_week)
    if organisation_id is not None:
        query = query.where(DueList.organisation_id == organisation_id)
    found: dict[int, set[str]] = {}
    for key, week in session.exec(query):
        found.setdefault(key, set()).add(week)
    return found


def read_tag(session: Session, organisation_id: int, iso_week: str) -> str | None:
    """What changes when a published list, or what is told beside it, does; none if the week has no list."""
    query = core_select(col(DueList.content_hash), col(DueList.n_events)).where(
        col(DueList.organisation_id) == organisation_id, col(DueList.iso_week) == iso_week
    )
    row = session.execute(query).first()
    return None if row is None else f"{row[0][:32]}-{row[1]}"


def add_event(session: Session, event: LineEvent) -> None:
    """Write down what happened to a line, and that its list has something to tell."""
    session.add(event)
    own = core_select(col(DueListLine.due_list_id)).where(
        col(DueListLine.organisation_id) == event.organisation_id, col(DueListLine.id) == event.line_id
    )
    session.execute(
        update(DueList)
        .where(
            col(DueList.organisation_id) == event.organisation_id,
            col(DueList.id).in_(own),
        )
        .values(n_events=DueList.n_events + 1)
        .execution_options(synchronize_session=False)
    )
    session.flush()


def list_lines(session: Session, organisation_id: int, due_list_id: int) -> list[DueListLine]:
    """Lines of a list, in its order."""
    query = select(DueListLine).where(
        DueListLine.organisation_id == organisation_id, DueListLine.due_list_id == due_list_id
    )
    return list(session.exec(query.order_by(col(DueListLine.position))))


def insert_lines(session: Session, rows: Sequence[dict[str, Any]]) -> None:
    """Store the lines of a list."""
    if rows:
        session.execute(insert(DueListLine), list(rows))


def get_line(session: Session, organisation_id: int, reference: str) -> DueListLine:
    """Line by its id.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    return get_own(
        session,
        DueListLine,
        organisation_id,
        IdKind.DUE_LIST_LINE,
        reference,
        "There is no line with this id.",
    )


def events_of_lines(
    session: Session, organisation_id: int, line_ids: Iterable[int | None]
) -> dict[int, list[LineEvent]]:
    """What happened to lines, by line, oldest first."""
    found: dict[int, list[LineEvent]] = {}
    for some in in_lists([key for key in line_ids if key is not None]):
        query = select(LineEvent).where(
            LineEvent.organisation_id == organisation_id, col(LineEvent.line_id).in_(some)
        )
        for event in session.exec(query.order_by(col(LineEvent.id))):
            found.setdefault(event.line_id, []).append(event)
    return found


def state_of(events: Sequence[LineEvent]) -> LineState:
    """What a line with these events is, in their order; moving one changes its day only."""
    lasting = [event.kind for event in events if event.kind != "moved"]
    if not lasting or lasting[-1] == "reopened":
        return "open"
    return "done" if lasting[-1] == "done" else "dropped"


def is_closed(events: Sequence[LineEvent]) -> bool:
    """Whether a line with these events is done or dropped."""
    return state_of(events) != "open"


def day_of(line: Planned, events: Sequence[LineEvent]) -> date | None:
    """Day on which a line is to be done: the one it was last moved to, else the one it was planned for."""
    moves = [event.moved_to_on for event in events if event.kind == "moved"]
    return moves[-1] if moves else line.planned_on
