"""Register a vehicle, change it, take it out of use."""

from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.domain import texts
from service.domain.duties import Duty
from service.domain.external_ids import IdKind, format_id
from service.domain.roles import Scope
from service.domain.units_of_distance import DistanceUnit
from service.domain.vehicle_classes import VehicleClass
from service.domain.vin import clean_vin
from service.errors import ConflictError, InvalidInputError, ServiceError
from service.store.repositories import fleet
from service.usecases.fleet.register_vehicles import (
    NewVehicle,
    change_vehicle,
    register_vehicle,
    retire_vehicle,
)
from service.web.forms import EMPTY, Form, FormReader, FormState, Posted
from service.web.pages.vehicles import VehiclePath
from service.web.rendering import frame_of, render
from service.web.views.register import vehicle_form_page
from service.web.visits import doing, looking, status_of

router = APIRouter()

REFERENCE: Final = "vehicle_reference"


@router.get("/vehicles/new")
def get_new(request: Request) -> Response:
    """Show the form for a new vehicle."""
    return _show(request, None, EMPTY)


@router.post("/vehicles/new")
def post_new(request: Request, form: Form) -> Response:
    """Register a vehicle and go on with its fluids."""
    try:
        with doing(request, form) as visit:
            row = register_vehicle(visit.session, visit.caller, visit.now, NewVehicle(**_facts(form)))
            key = format_id(IdKind.VEHICLE, row.id)
            return visit.done(f"/vehicles/{key}/compartments/new", told="vehicle_new")
    except (InvalidInputError, ConflictError) as error:
        return _show(request, None, FormState.after(form, error), error)


@router.get("/vehicles/{vehicle}/change")
def get_change(request: Request, vehicle: VehiclePath) -> Response:
    """Show what is known of a vehicle, ready to be changed."""
    return _show(request, vehicle, EMPTY)


@router.post("/vehicles/{vehicle}/change")
def post_change(request: Request, vehicle: VehiclePath, form: Form) -> Response:
    """Change a vehicle, or take it out of use."""
    try:
        with doing(request, form) as visit:
            if form.text("do") == "retire":
                retire_vehicle(visit.session, visit.caller, visit.now, vehicle)
                return visit.done("/vehicles", told="vehicle_retired")
            row = change_vehicle(visit.session, visit.caller, visit.now, vehicle, _facts(form))
            return visit.done(f"/vehicles/{format_id(IdKind.VEHICLE, row.id)}", told="vehicle_changed")
    except (InvalidInputError, ConflictError) as error:
        return _show(request, vehicle, FormState.after(form, error), error)


def _facts(posted: Posted) -> dict[str, Any]:
    reader = FormReader(posted)
    weekdays = tuple(day for day in range(1, 8) if reader.flag(f"weekday-{day}"))
    facts = {
        "reference": reader.text(REFERENCE, texts.clean_vehicle_reference),
        "vehicle_class": reader.choice("vehicle_class", VehicleClass, VehicleClass.VAN),
        "depot": reader.line("depot", maximum=40),
        "duty": reader.choice("duty", Duty, Duty.NORMAL),
        "odometer_unit": reader.choice("odometer_unit", DistanceUnit, DistanceUnit.KM),
        "vin": reader.text("vin", clean_vin) or None if posted.text("vin").strip() else None,
        "in_service_on": reader.optional_day("in_service_on"),
        "available_weekdays": weekdays,
    }
    if not weekdays:
        reader.refuse("weekdays", "Tick at least one day.")
    reader.finish()
    return facts


def _show(
    request: Request, reference: str | None, form: FormState, error: ServiceError | None = None
) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.PLANNING)
        organisation_id = visit.caller.organisation_id
        row = None if reference is None else fleet.get_vehicle(visit.session, organisation_id, reference)
        depots = fleet.list_depots(visit.session, organisation_id)
        page = vehicle_form_page(row, depots, visit.presentation, form)
        return render("vehicle_form.html", frame_of(visit, "vehicles"), page, status_of(error))
