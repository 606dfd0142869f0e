"""Vehicles: look for one, look at it, post a reading, decide on its readings."""

import re
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response

from service.domain.external_ids import IdKind, format_id
from service.domain.outcomes import ReadingOutcome
from service.domain.roles import Scope
from service.errors import ConflictError, InvalidInputError, ServiceError
from service.store.repositories import fleet, vehicle_search, visits
from service.usecases.due.list_fleet import list_fleet
from service.usecases.fleet.driver_links import list_links
from service.usecases.fleet.register_vehicles import vehicles_of_same_vin
from service.usecases.fluids.accept_return import list_returns
from service.usecases.fluids.pending_return import ReturnState
from service.usecases.plans.show_vehicle import VehicleView, show_vehicle
from service.usecases.readings.decide_readings import decide_reading
from service.web.contexts import ReadingPage
from service.web.forms import EMPTY, Form, FormState, Posted
from service.web.readings import read_reading, store_reading
from service.web.rendering import frame_of, path_part, render
from service.web.views.history import HISTORY_SHOWN
from service.web.views.paging import pager_of
from service.web.views.vehicle import Asked, vehicle_page
from service.web.views.vehicles import vehicles_page
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

VehiclePath = Annotated[str, Path(min_length=1, max_length=160)]
ReadingPath = Annotated[str, Path(pattern=r"^rdg_[0-9]{1,19}$")]
Looked = Annotated[str, Query(max_length=80)]
PageNumber = Annotated[int, Query(ge=1, le=100_000)]

VEHICLES_A_PAGE: Final = 50
SOURCE: Final = "page"
TOLD: Final = {
    ReadingOutcome.ACCEPTED: "reading",
    ReadingOutcome.HELD: "reading_held",
    ReadingOutcome.DUPLICATE: "reading_twice",
}


@router.get("/vehicles")
def get_vehicles(
    request: Request, depot: Looked = "", vehicle: Looked = "", page: PageNumber = 1
) -> Response:
    """Look for vehicles."""
    with looking(request) as visit:
        part = list_fleet(
            visit.session,
            visit.caller,
            visit.now,
            part=vehicle.strip(),
            depot=depot,
            offset=(page - 1) * VEHICLES_A_PAGE,
            limit=VEHICLES_A_PAGE,
        )
        depots = [row.reference for row in fleet.list_depots(visit.session, visit.caller.organisation_id)]
        pager = pager_of(part.n_found, VEHICLES_A_PAGE, page)
        context = vehicles_page(
            part,
            pager,
            depots,
            depot,
            vehicle.strip(),
            visit.presentation,
            may_plan=visit.may(Scope.PLANNING),
        )
        return render("vehicles.html", frame_of(visit, "vehicles"), context)


@router.get("/vehicles/{vehicle}")
def get_vehicle(request: Request, vehicle: VehiclePath, page: PageNumber | None = None) -> Response:
    """Look at one vehicle; the page is that of its readings."""
    return show_vehicle_page(request, vehicle, EMPTY, readings_page=page)


@router.get("/vehicles/{vehicle}/reading")
def get_reading(request: Request, vehicle: VehiclePath) -> Response:
    """Show the form for a reading alone: all that a driver needs."""
    return _show_reading(request, vehicle, EMPTY)


@router.post("/vehicles/{vehicle}/reading")
def post_lone_reading(request: Request, vehicle: VehiclePath, form: Form) -> Response:
    """Save a reading from the small form."""
    try:
        with doing(request, form) as visit:
            outcome = _record(visit, vehicle, form)
            return visit.done(f"/vehicles/{path_part(vehicle)}/reading", told=TOLD[outcome])
    except (InvalidInputError, ConflictError) as error:
        return _show_reading(request, vehicle, FormState.after(form, error), error)


@router.post("/vehicles/{vehicle}/readings")
def post_reading(request: Request, vehicle: VehiclePath, form: Form) -> Response:
    """Save a reading from the vehicle's page."""
    try:
        with doing(request, form) as visit:
            outcome = _record(visit, vehicle, form)
            return visit.done(f"/vehicles/{path_part(vehicle)}", told=TOLD[outcome])
    except (InvalidInputError, ConflictError) as error:
        return show_vehicle_page(request, vehicle, FormState.after(form, error), error)


@router.post("/readings/{reading}")
def post_decision(request: Request, reading: ReadingPath, form: Form) -> Response:
    """Say that a reading is right or wrong."""
    with doing(request, form) as visit:
        decision = form.text("decision")
        if decision not in {"release", "discard"}:
            raise InvalidInputError("Press one of the buttons of the page.")
        chosen: Literal["release", "discard"] = "release" if decision == "release" else "discard"
        row = decide_reading(visit.session, visit.caller, visit.now, reading, chosen)
        back = f"/vehicles/{format_id(IdKind.VEHICLE, row.vehicle_id)}"
        told = "released" if chosen == "release" else "discarded"
        return visit.done(back, told=told, page=_page_to_go_back_to(form))


def _page_to_go_back_to(form: Posted) -> str:
    """Which page of the readings was looked at; none for a held one."""
    page = form.text("page")
    return page if re.fullmatch(r"[1-9][0-9]{0,3}", page) else ""


def _record(visit: Visit, reference: str, posted: Posted) -> ReadingOutcome:
    """Store one reading; one that cannot be stored is told at its field."""
    visit.caller.require(Scope.READINGS)
    owner = fleet.get_vehicle(visit.session, visit.caller.organisation_id, reference)
    row = read_reading(posted, owner, visit.zone, SOURCE)
    return store_reading(visit.session, visit.caller, visit.now, row)


def show_vehicle_page(
    request: Request,
    reference: str,
    form: FormState,
    error: ServiceError | None = None,
    readings_page: int | None = None,
) -> Response:
    """Show a vehicle's page, with a form on it as it was just sent."""
    with looking(request) as visit:
        view = show_vehicle(visit.session, visit.caller, visit.now, reference)
        rights = {
            "read": visit.may(Scope.READINGS),
            "decide": visit.may(Scope.PLANNING),
            "work": visit.may(Scope.WORKSHOP),
        }
        asked = _asked(visit, view)
        page = vehicle_page(
            view, visit.presentation, visit.zone, visit.now, form, rights, asked, readings_page
        )
        return render("vehicle.html", frame_of(visit, "vehicles"), page, status_of(error))


def _asked(visit: Visit, view: VehicleView) -> Asked:
    organisation_id, key = visit.caller.organisation_id, view.projection.vehicle.id or 0
    today = view.projection.fluids.today
    pins = visits.list_live_pins(visit.session, organisation_id, today)
    returns = {
        one.compartment.id or 0: [
            planned
            for planned, state in list_returns(
                visit.session, visit.caller, format_id(IdKind.COMPARTMENT, one.compartment.id)
            )
            if state is ReturnState.OPEN
        ]
        for one in view.compartments
    }
    return Asked(
        links=list_links(visit.session, visit.caller, visit.now, key),
        pin=next((pin for pin in pins if pin.vehicle_id == key), None),
        returns=returns,
        voidings=vehicle_search.voidings_of(visit.session, organisation_id, key, HISTORY_SHOWN),
        same_vin=vehicles_of_same_vin(visit.session, view.projection.vehicle),
    )


def _show_reading(
    request: Request, reference: str, form: FormState, error: ServiceError | None = None
) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.READINGS)
        owner = fleet.get_vehicle(visit.session, visit.caller.organisation_id, reference)
        page = ReadingPage(
            vehicle=owner.reference,
            vehicle_id=format_id(IdKind.VEHICLE, owner.id),
            unit=owner.odometer_unit,
            may_look=visit.may(Scope.READ),
            now_local=f"{visit.now.astimezone(visit.zone):%Y-%m-%dT%H:%M}",
            form=form,
        )
        return render(
            "reading.html",
            frame_of(visit, "vehicles" if page.may_look else "reading"),
            page,
            status_of(error),
        )
