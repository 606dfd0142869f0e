"""Due lists: the published one of a week, a draft of a coming one, as data or as a file."""

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from service.api.answers import describe_file, show, show_file, show_tagged
from service.api.inputs import IdPath
from service.api.problems import describe_problems
from service.api.schemas.due_lists import DueLineRead, DueListHead, DueListHeads, DueListRead, LineMark
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Unit, Writing
from service.domain.roles import Scope
from service.store.repositories import due_lists
from service.store.repositories.contaminated import list_contaminated
from service.usecases.week.contaminated_since import contaminated_since
from service.usecases.week.mark_lines import mark_line
from service.usecases.week.publish_now import publish_now
from service.usecases.week.render_due_list import FileKind, render_due_list
from service.usecases.week.show_due_list import CURRENT, ShownList, show_due_list, week_named

router = APIRouter(tags=["due lists"], route_class=TokenFirst)

WeekPath = Annotated[
    str,
    Path(
        pattern=r"^([0-9]{4}-W[0-9]{2}|current)$",
        description="ISO week in the organisation's time zone, or `current`.",
        examples=["2026-W19"],
    ),
]


@router.get(
    "/due-lists",
    operation_id="list_due_lists",
    summary="List published due lists",
    response_model=DueListHeads,
    responses=describe_problems(),
)
def get_due_lists(request: Request, unit: Reading) -> Response:
    """List the published lists, the latest week first."""
    unit.caller.require(Scope.READ)
    rows = due_lists.list_lists(unit.session, unit.caller.organisation_id)
    heads = [
        DueListHead(iso_week=row.iso_week, published_at=row.published_at, n_lines=row.n_lines) for row in rows
    ]
    return show(request, DueListHeads(due_lists=heads))


@router.get(
    "/due-lists/{iso_week}.{kind}",
    operation_id="get_due_list_file",
    summary="Fetch a due list as a file",
    response_class=Response,
    responses={**describe_problems(404, 422), **describe_file("The list as a file.", *FileKind)},
)
def get_due_list_file(request: Request, iso_week: WeekPath, kind: FileKind, unit: Reading) -> Response:
    """Fetch a week's list as CSV, XLSX, PDF or iCalendar."""
    shown = show_due_list(unit.session, unit.caller, unit.now, iso_week)
    content, name = render_due_list(shown, kind, unit.now, request.app.state.public_url)
    return show_file(request, content, name)


@router.get(
    "/due-lists/{iso_week}",
    operation_id="get_due_list",
    summary="Look at a due list",
    response_model=DueListRead,
    responses=describe_problems(404, 422),
)
def get_due_list(request: Request, iso_week: WeekPath, unit: Reading) -> Response:
    """Give the published list of a week, or a draft of the present or a coming week."""
    unit.caller.require(Scope.READ)
    week = iso_week if iso_week != CURRENT else str(week_named(unit.session, unit.caller, iso_week, unit.now))
    organisation_id = unit.caller.organisation_id
    # What a list's own tag does not know of is told by that of the whole answer.
    has_alarms = bool(list_contaminated(unit.session, organisation_id))
    tag = None if has_alarms else due_lists.read_tag(unit.session, organisation_id, week)
    return show_tagged(
        request,
        tag,
        lambda: _read(unit, show_due_list(unit.session, unit.caller, unit.now, iso_week)),
    )


@router.post(
    "/due-lists/{iso_week}/publish",
    operation_id="publish_due_list",
    summary="Publish a due list now",
    response_model=DueListRead,
    responses=describe_problems(404, 422),
)
def post_publish(iso_week: WeekPath, unit: Writing) -> Response:
    """Fix the list of the present or a coming week ahead of its time; a published list stays as it is."""
    return unit.answer(_read(unit, publish_now(unit.session, unit.caller, unit.now, iso_week, "api")))


def _read(unit: Unit, shown: ShownList) -> DueListRead:
    return DueListRead.of(shown, contaminated_since(unit.session, unit.caller, unit.now, shown))


@router.get(
    "/due-list-lines/{line}",
    operation_id="get_due_line",
    summary="Look at a line of a due list",
    response_model=DueLineRead,
    responses=describe_problems(404, 422),
)
def get_due_line(request: Request, line: IdPath, unit: Reading) -> Response:
    """Look at one line of a published list, and at what became of it."""
    unit.caller.require(Scope.READ)
    row = due_lists.get_line(unit.session, unit.caller.organisation_id, line)
    events = due_lists.events_of_lines(unit.session, unit.caller.organisation_id, [row.id])
    return show(request, DueLineRead.of(row, events.get(row.id or 0, [])))


@router.post(
    "/due-list-lines/{line}/events",
    operation_id="mark_due_line",
    summary="Say what became of a line",
    status_code=201,
    response_model=DueLineRead,
    responses=describe_problems(404, 409, 422),
)
def post_line_event(line: IdPath, body: LineMark, unit: Writing) -> Response:
    """Tick a line off, move it to another day, drop it, or open it again; the published line itself never changes."""
    row, events = mark_line(unit.session, unit.caller, unit.now, line, body.kind, body.moved_to_on, body.note)
    return unit.created(DueLineRead.of(row, events), f"/v1/due-list-lines/{line}")
