"""The list of a week: look at it, take it along, tick lines off, move visits, publish it."""

from dataclasses import replace
from typing import Annotated, Final

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response

from service.domain.external_ids import IdKind, format_id
from service.domain.roles import Scope
from service.domain.weeks import IsoWeek
from service.domain.zones import local_date
from service.errors import ConflictError, InvalidInputError, ServiceError
from service.store.repositories import due_lists, fleet, vehicle_search, visits
from service.usecases.week.contaminated_since import contaminated_since
from service.usecases.week.mark_lines import mark_line
from service.usecases.week.move_visit import move_visit
from service.usecases.week.publish_now import publish_now
from service.usecases.week.render_due_list import FileKind, render_due_list
from service.usecases.week.show_due_list import CURRENT, show_due_list, why_not_published
from service.web.drafts import Drafts
from service.web.forms import EMPTY, Form, FormReader, FormState
from service.web.pages.own_reading import which_vehicle
from service.web.rendering import frame_of, hand_out, render
from service.web.views.line import line_page
from service.web.views.week import Wanted, alarm_rows, week_page
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

WeekPath = Annotated[str, Path(pattern=r"^([0-9]{4}-W[0-9]{2}|current)$")]
LinePath = Annotated[str, Path(pattern=r"^lin_[0-9]{1,19}$")]
Looked = Annotated[str, Query(max_length=80)]
PageNumber = Annotated[int, Query(ge=1, le=100_000)]

MARKS: Final = ("done", "moved", "dropped", "reopened")


@router.get("/")
def get_this_week(
    request: Request, depot: Looked = "", vehicle: Looked = "", page: PageNumber = 1
) -> Response:
    """Show the list of the present week; whoever may not see it finds what they may do."""
    with looking(request) as visit:
        if not visit.may(Scope.READ) and visit.may(Scope.READINGS):
            return which_vehicle(visit, EMPTY)
    return _show_week(request, CURRENT, Wanted(depot=depot, search=vehicle.strip(), page=page))


@router.get("/due-lists/{week}.{kind}")
def get_week_file(request: Request, week: WeekPath, kind: FileKind) -> Response:
    """Give a week's list as a file."""
    with looking(request) as visit:
        shown = show_due_list(visit.session, visit.caller, visit.now, week)
        content, name = render_due_list(shown, kind, visit.now, request.app.state.public_url)
        return hand_out(content, name)


@router.get("/due-lists/{week}")
def get_week(
    request: Request, week: WeekPath, depot: Looked = "", vehicle: Looked = "", page: PageNumber = 1
) -> Response:
    """Show the list of a named week."""
    return _show_week(request, week, Wanted(depot=depot, search=vehicle.strip(), page=page))


@router.post("/due-lists/{week}/publish")
def post_publish(request: Request, week: WeekPath, form: Form) -> Response:
    """Fix a list ahead of its time."""
    with doing(request, form) as visit:
        shown = publish_now(visit.session, visit.caller, visit.now, week, "page")
        return visit.done(f"/due-lists/{shown.week}", told="published")


@router.post("/lines")
def post_tick(request: Request, form: Form) -> Response:
    """Tick off the line whose button was pressed, and show the same part of the list again."""
    with doing(request, form) as visit:
        line, _ = mark_line(visit.session, visit.caller, visit.now, form.text("done"), "done")
        query = {name: form.text(name)[:80] for name in ("depot", "vehicle", "page")}
        place = format_id(IdKind.DUE_LIST_LINE, line.id)
        return visit.done(f"/due-lists/{_week_in(form.text('week'))}", told="done", place=place, **query)


@router.get("/lines/{line}")
def get_line(request: Request, line: LinePath) -> Response:
    """Show one line with what happened to it and what can be done."""
    return _show_line(request, line, EMPTY)


@router.post("/lines/{line}")
def post_line(request: Request, line: LinePath, form: Form) -> Response:
    """Tick a line off, move its visit, drop it, or open it again."""
    kind = form.text("do")
    try:
        with doing(request, form) as visit:
            week = _mark(visit, line, kind, FormReader(form))
            return visit.done(f"/due-lists/{week}", told=kind)
    except (InvalidInputError, ConflictError) as error:
        return _show_line(request, line, FormState.after(form, error), error)


def _mark(visit: Visit, reference: str, kind: str, reader: FormReader) -> str:
    """Write the event, for a whole visit beside every open line of the vehicle; gives the list's week."""
    if kind not in MARKS:
        raise InvalidInputError("Press one of the buttons of the page.")
    to_day = reader.day("moved_to_on") if kind == "moved" else None
    note = reader.optional_line("note", maximum=400)
    reader.finish()
    if to_day is not None and reader.flag("whole_visit"):
        line = move_visit(visit.session, visit.caller, visit.now, reference, to_day, note)
    else:
        line, _ = mark_line(visit.session, visit.caller, visit.now, reference, kind, to_day, note)
    return due_lists.get_list(visit.session, visit.caller.organisation_id, line.due_list_id).iso_week


def _show_week(request: Request, name: str, wanted: Wanted) -> Response:
    with looking(request) as visit:
        drafts: Drafts = request.app.state.drafts
        shown, worked_out_at = drafts.show(visit.session, visit.caller, visit.now, name)
        depots = [depot.reference for depot in fleet.list_depots(visit.session, visit.caller.organisation_id)]
        rights = {
            "plan": visit.may(Scope.PLANNING),
            "tick": visit.may(Scope.WORKSHOP),
            "has_vehicles": bool(shown.lines)
            or fleet.count_vehicles(visit.session, visit.caller.organisation_id) > 0,
            "has_compartments": bool(shown.lines)
            or vehicle_search.has_compartments(visit.session, visit.caller.organisation_id),
            "has_week_before": _has_list(visit, shown.week.shifted(-1)),
        }
        today = local_date(visit.now, visit.zone)
        live = visits.list_live_pins(visit.session, visit.caller.organisation_id, today)
        pins = {pin.vehicle_id: pin for pin in live}
        page = week_page(shown, worked_out_at, wanted, visit.presentation, visit.zone, depots, rights, pins)
        alarms = contaminated_since(visit.session, visit.caller, visit.now, shown)
        page = replace(page, alarms=alarm_rows(alarms, visit.presentation))
        failed = why_not_published(visit.session, visit.caller, shown)
        if failed is not None:
            page = replace(page, failed=visit.presentation.wall_time(failed.at.astimezone(visit.zone)))
        return render("week.html", frame_of(visit, "week"), page)


def _has_list(visit: Visit, week: IsoWeek) -> bool:
    """Whether there is anything to show of a week: weeks that are over have a list only if one was published."""
    if week >= IsoWeek.of(local_date(visit.now, visit.zone)):
        return True
    return due_lists.find_list(visit.session, visit.caller.organisation_id, str(week)) is not None


def _show_line(
    request: Request, reference: str, form: FormState, error: ServiceError | None = None
) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.READ)
        line = due_lists.get_line(visit.session, visit.caller.organisation_id, reference)
        events = due_lists.events_of_lines(visit.session, visit.caller.organisation_id, [line.id])
        listed = due_lists.get_list(visit.session, visit.caller.organisation_id, line.due_list_id)
        page = line_page(
            line,
            events.get(line.id or 0, []),
            listed.iso_week,
            visit.presentation,
            visit.zone,
            form,
            may_plan=visit.may(Scope.PLANNING),
            may_tick=visit.may(Scope.WORKSHOP),
        )
        return render("line.html", frame_of(visit, "week"), page, status_of(error))


def _week_in(text: str) -> str:
    """Week that a form names; anything odd becomes the present one."""
    is_week = len(text) == 8 and text[4:6] == "-W" and text.replace("-W", "").isdecimal()
    return text if is_week else CURRENT
