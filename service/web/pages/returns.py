"""Plan to come back for more rounds, on a vehicle's page."""

from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from service.domain import plausibility
from service.domain.external_ids import IdKind, format_id
from service.errors import ConflictError, FieldError, InvalidInputError
from service.store.repositories import fleet
from service.usecases.fluids.accept_return import accept_return, cancel_return
from service.web.forms import Form, FormReader, FormState
from service.web.pages.compartments import CompartmentPath
from service.web.pages.vehicles import show_vehicle_page
from service.web.rendering import path_part
from service.web.visits import Visit, doing, looking

router = APIRouter()

ReturnPath = Annotated[str, Path(pattern=r"^ret_[0-9]{1,19}$")]


@router.post("/compartments/{compartment}/returns")
def post_return(request: Request, compartment: CompartmentPath, form: Form) -> Response:
    """Accept a plan to come back."""
    try:
        with doing(request, form) as visit:
            vehicle = _accept(visit, compartment, FormReader(form))
            return visit.done(f"/vehicles/{vehicle}", told="return")
    except (InvalidInputError, ConflictError) as error:
        moved = [_at_field(one, compartment) for one in error.errors]
        with looking(request, form) as visit:
            vehicle = _vehicle_of(visit, compartment)
        return show_vehicle_page(
            request, vehicle, FormState.after(form, type(error)(error.detail, moved)), error
        )


@router.post("/vehicles/{vehicle}/returns/{planned}")
def post_cancel(request: Request, vehicle: str, planned: ReturnPath, form: Form) -> Response:
    """Take it off the plan."""
    with doing(request, form) as visit:
        cancel_return(visit.session, visit.caller, visit.now, planned)
        return visit.done(f"/vehicles/{path_part(vehicle)}", told="return_cancelled")


def _accept(visit: Visit, compartment: str, reader: FormReader) -> str:
    km_a_unit = 1.0 / visit.presentation.distance_value(1.0)
    rounds = reader.number(f"{compartment}-rounds", plausibility.ROUNDS)
    km = reader.optional_number(
        f"{compartment}-after_km", plausibility.INTERVAL_KM, to_base=lambda typed: typed * km_a_unit
    )
    days = reader.optional_number(f"{compartment}-after_days", plausibility.RETURN_DAYS)
    note = reader.optional_line(f"{compartment}-note", maximum=400)
    reader.finish()
    accept_return(
        visit.session,
        visit.caller,
        visit.now,
        compartment,
        round(rounds),
        after_km=km,
        after_days=None if days is None else round(days),
        note=note,
    )
    return _vehicle_of(visit, compartment)


def _vehicle_of(visit: Visit, compartment: str) -> str:
    row = fleet.get_compartment(visit.session, visit.caller.organisation_id, compartment)
    return format_id(IdKind.VEHICLE, row.vehicle_id)


def _at_field(error: FieldError, compartment: str) -> FieldError:
    """Fields of several compartments stand on one page, so each is named after its own."""
    name = error.pointer.removeprefix("/").removeprefix(f"{compartment}-")
    return FieldError(f"/{compartment}-{name}", error.detail)
