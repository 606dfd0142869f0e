"""Settings of the organisation and its depots."""

import re
from datetime import date
from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from service.documents.presentation import Presentation
from service.domain import plausibility
from service.domain.money import CURRENCY_CODE
from service.domain.roles import Scope
from service.domain.used_fluid import WasteStream
from service.domain.zones import allowed_zone_names
from service.errors import ConflictError, FieldError, InvalidInputError, ServiceError
from service.store.repositories import fleet
from service.usecases.fleet.change_settings import change_depot, change_organisation, make_depot
from service.web.forms import EMPTY, Form, FormReader, FormState, Posted
from service.web.rendering import frame_of, render
from service.web.views.settings import DISTANCE_UNITS, VOLUME_UNITS, WEEKDAYS, settings_page
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

DepotPath = Annotated[str, Path(pattern=r"^dep_[0-9]{1,19}$")]
MOST_CLOSING_DAYS: Final = 400
_LOCALE: Final = re.compile(r"[a-z]{2,3}(-[A-Z]{2})?")
_CURRENCY: Final = re.compile(CURRENCY_CODE)
_TIME: Final = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])")


@router.get("/settings")
def get_settings(request: Request) -> Response:
    """Show the organisation and its depots."""
    return _show(request)


@router.post("/settings")
def post_settings(request: Request, form: Form) -> Response:
    """Change the organisation."""
    try:
        with doing(request, form) as visit:
            change_organisation(visit.session, visit.caller, visit.now, _organisation(form))
            return visit.done("/settings", told="settings")
    except (InvalidInputError, ConflictError) as error:
        return _show(request, FormState.after(form, error), error=error)


@router.post("/settings/depots")
def post_new_depot(request: Request, form: Form) -> Response:
    """Add a depot."""
    try:
        with doing(request, form) as visit:
            reader = FormReader(form)
            name = reader.line("depot_name", maximum=40)
            reader.finish()
            make_depot(visit.session, visit.caller, visit.now, name, {})
            return visit.done("/settings", told="settings")
    except (InvalidInputError, ConflictError) as error:
        return _show(request, FormState.after(form, error), error=error)


@router.post("/settings/depots/{depot}")
def post_depot(request: Request, depot: DepotPath, form: Form) -> Response:
    """Change a depot."""
    try:
        with doing(request, form) as visit:
            change_depot(visit.session, visit.caller, visit.now, depot, _depot(visit, form))
            return visit.done("/settings", told="settings")
    except (InvalidInputError, ConflictError) as error:
        return _show(request, EMPTY, FormState.after(form, error), depot, error)


def _organisation(posted: Posted) -> dict[str, Any]:
    reader = FormReader(posted)
    at = _TIME.fullmatch(posted.text("publishing_time").strip())
    if at is None:
        reader.errors.append(FieldError("/publishing_time", "Write a time of day such as 06:00."))
    for name, pattern in (("locale", _LOCALE), ("currency", _CURRENCY)):
        if pattern.fullmatch(posted.text(name).strip()) is None:
            reader.errors.append(FieldError(f"/{name}", "Not written as it should be."))
    changes = {
        "time_zone": reader.one_of("time_zone", sorted(allowed_zone_names())),
        "locale": posted.text("locale").strip(),
        "currency": posted.text("currency").strip(),
        "distance_unit": reader.one_of("distance_unit", DISTANCE_UNITS),
        "volume_unit": reader.one_of("volume_unit", VOLUME_UNITS),
        "publishing_weekday": reader.one_of("publishing_weekday", [str(day) for day in WEEKDAYS]),
    }
    reader.finish()
    minute = 0 if at is None else int(at[1]) * 60 + int(at[2])
    return changes | {
        "publishing_weekday": int(changes["publishing_weekday"]),
        "publishing_minute": minute,
    }


def _depot(visit: Visit, posted: Posted) -> dict[str, Any]:
    reader = FormReader(posted)
    litres_a_unit = 1.0 / visit.presentation.volume_value(1.0)

    def room(name: str) -> float | None:
        return reader.optional_number(
            name, plausibility.ROOM_LITRES, to_base=lambda typed: typed * litres_a_unit
        )

    rooms = {stream: room(f"capacity-{stream}") for stream in WasteStream}
    changes = {
        "bay_minutes": [
            round(reader.number(f"minutes-{day}", plausibility.BAY_MINUTES_A_DAY)) for day in WEEKDAYS
        ],
        "holiday_region": reader.optional_line("holiday_region", maximum=16),
        "closed_on": _days(reader, posted.text("closed_on"), visit.presentation),
        "used_fluid_capacity_litres": room("capacity"),
        "used_fluid_capacity_by_stream": {
            stream: litres for stream, litres in rooms.items() if litres is not None
        },
    }
    reader.finish()
    return changes


def _days(reader: FormReader, text: str, presentation: Presentation) -> list[date]:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    days = []
    for line in lines[:MOST_CLOSING_DAYS]:
        try:
            days.append(plausibility.planned_day("/closed_on", presentation.typed_day(line)))
        except (ValueError, InvalidInputError):
            reader.errors.append(FieldError("/closed_on", f"{line[:20]}: no date such as 2026-12-24."))
    if len(lines) > MOST_CLOSING_DAYS:
        reader.errors.append(FieldError("/closed_on", f"At most {MOST_CLOSING_DAYS} days."))
    return days


def _show(
    request: Request,
    form: FormState = EMPTY,
    depot_form: FormState = EMPTY,
    depot_id: str = "",
    error: ServiceError | None = None,
) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.ADMIN)
        depots = fleet.list_depots(visit.session, visit.caller.organisation_id)
        page = settings_page(visit.organisation, depots, visit.presentation, form, depot_form, depot_id)
        return render("settings.html", frame_of(visit, "settings"), page, status_of(error))
