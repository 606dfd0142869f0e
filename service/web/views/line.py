"""One line of a list with what happened to it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.store.repositories.due_lists import day_of, is_closed
from service.store.tables.due_lists import DueListLine, LineEvent
from service.web.catalogue import tell, translate
from service.web.forms import FormState
from service.web.views.actors import told_actor
from service.web.views.lines import LineRow, line_row


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePage:
    """The whole page."""

    line_id: str
    week: str
    row: LineRow
    events: tuple[str, ...]
    planned_on: date | None
    cautions: tuple[str, ...]
    is_closed: bool
    may_plan: bool
    may_tick: bool
    form: FormState


def line_page(
    line: DueListLine,
    events: Sequence[LineEvent],
    week: str,
    presentation: Presentation,
    zone: ZoneInfo,
    form: FormState,
    *,
    may_plan: bool,
    may_tick: bool,
) -> LinePage:
    """Fill the page of a line; a message has no field to stand at where the form is not offered."""
    closed = is_closed(events)
    return LinePage(
        line_id=format_id(IdKind.DUE_LIST_LINE, line.id),
        week=week,
        row=line_row(line, events, presentation, zone),
        events=tuple(_told(event, presentation, zone) for event in events),
        planned_on=day_of(line, events),
        cautions=tuple(tell(caution) for caution in line.detail.get("cautions", ())),
        is_closed=closed,
        may_plan=may_plan,
        may_tick=may_tick,
        form=form if may_plan and not closed else FormState(problem=form.problem),
    )


def _told(event: LineEvent, presentation: Presentation, zone: ZoneInfo) -> str:
    what = translate(f"event_{event.kind}")
    if event.kind == "moved":
        what = f"{what} {presentation.day(event.moved_to_on)}"
    when = presentation.wall_time(event.at.astimezone(zone))
    told = translate("event_at", what=what, who=told_actor(event.by), when=when)
    return f"{told}: {event.note}" if event.note else told
