"""The day of a vehicle's next visit: pin it, or say that it cannot be before one."""

from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from service.domain.external_ids import IdKind, format_id
from service.domain.roles import Scope
from service.domain.weeks import IsoWeek
from service.domain.zones import local_date
from service.errors import ConflictError, InvalidInputError, ServiceError
from service.store.repositories import fleet, visits
from service.usecases.visits.pin_visits import NewPin, pin_visit, remove_pin
from service.web.forms import EMPTY, Form, FormReader, FormState
from service.web.pages.vehicles import VehiclePath
from service.web.rendering import frame_of, render
from service.web.views.days import day_page
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

WeekName = Annotated[str, Query(pattern=r"^([0-9]{4}-W[0-9]{2})?$")]
KINDS: Final = ("on", "not_before")


@router.get("/vehicles/{vehicle}/day")
def get_day(request: Request, vehicle: VehiclePath, week: WeekName = "") -> Response:
    """Show what is asked of the next visit."""
    return _show(request, vehicle, week, EMPTY)


@router.post("/vehicles/{vehicle}/day")
def post_day(request: Request, vehicle: VehiclePath, form: Form) -> Response:
    """Pin the day, keep the vehicle out of a week, or let the plan choose again."""
    week = _week(form.text("week"))
    try:
        with doing(request, form) as visit:
            row = fleet.get_vehicle(visit.session, visit.caller.organisation_id, vehicle)
            key = format_id(IdKind.VEHICLE, row.id)
            told = _decide(visit, key, week, FormReader(form))
            return visit.done(f"/due-lists/{week}" if week else f"/vehicles/{key}", told=told)
    except (InvalidInputError, ConflictError) as error:
        return _show(request, vehicle, "" if week is None else str(week), FormState.after(form, error), error)


def _decide(visit: Visit, vehicle: str, week: IsoWeek | None, reader: FormReader) -> str:
    step = reader.posted.text("do")
    if step == "remove":
        remove_pin(visit.session, visit.caller, visit.now, reader.posted.text("pin"))
        return "unpinned"
    if step == "not_this_week" and week is not None:
        new = NewPin(vehicle=vehicle, kind="not_before", day=week.shifted(1).first_day)
    else:
        kind, day = reader.one_of("kind", KINDS), reader.day("day")
        new = NewPin(vehicle=vehicle, kind=kind, day=day, note=reader.optional_line("note", maximum=400))
        reader.finish()
    pin_visit(visit.session, visit.caller, visit.now, new)
    return "not_this_week" if step == "not_this_week" else "pinned"


def _week(text: str) -> IsoWeek | None:
    try:
        return IsoWeek.parse(text) if text else None
    except InvalidInputError:
        return None


def _show(
    request: Request, reference: str, week: str, form: FormState, error: ServiceError | None = None
) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.PLANNING)
        organisation_id = visit.caller.organisation_id
        row = fleet.get_vehicle(visit.session, organisation_id, reference)
        pin = visits.find_pin(visit.session, organisation_id, row.id or 0)
        today = local_date(visit.now, visit.zone)
        page = day_page(row, pin, week, today, visit.presentation, form)
        return render("day.html", frame_of(visit, "week"), page, status_of(error))
