"""Enter a sample: how a fluid looked, or what a laboratory measured."""

from typing import Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from service.domain import plausibility
from service.domain.external_ids import IdKind, format_id
from service.domain.laboratory import LaboratoryProperty
from service.domain.roles import Scope
from service.domain.units_of_distance import DistanceUnit
from service.domain.visual_grades import VisualGrade
from service.errors import ConflictError, FieldError, InvalidInputError, ServiceError
from service.store.repositories import fleet
from service.units import km_from_miles
from service.usecases.fluids.judge_sample import judge_sample
from service.usecases.fluids.record_samples import record_sample
from service.usecases.fluids.sample_entries import NewSample
from service.web.forms import Form, FormReader, FormState, Posted
from service.web.pages.vehicles import VehiclePath
from service.web.rendering import frame_of, path_part, render
from service.web.views.sample import asked_unit, sample_page
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

SOURCE: Final = "page"
WIDEST: Final = plausibility.Bounds(-1e9, 1e9, "Check the digits.")
"""What a value can be at all is checked once its unit is known."""


@router.get("/vehicles/{vehicle}/sample")
def get_sample(
    request: Request, vehicle: VehiclePath, compartment: str = Query(default="", max_length=40)
) -> Response:
    """Show the form."""
    return _show(request, vehicle, FormState({"compartment": compartment} if compartment else {}))


@router.post("/vehicles/{vehicle}/sample")
def post_sample(request: Request, vehicle: VehiclePath, form: Form) -> Response:
    """Record a sample."""
    try:
        with doing(request, form) as visit:
            row = record_sample(visit.session, visit.caller, visit.now, _sample(visit, vehicle, form))
            if row.is_contaminated:
                return visit.done(f"/vehicles/{path_part(vehicle)}", told="sample_alarm")
            if judge_sample(visit.session, visit.caller.organisation_id, row).limits:
                return visit.done(f"/samples/{format_id(IdKind.SAMPLE, row.id)}", told="sample_limit")
            return visit.done(f"/vehicles/{path_part(vehicle)}", told="sample")
    except (InvalidInputError, ConflictError) as error:
        moved = type(error)(error.detail, [_at_field(one) for one in error.errors])
        return _show(request, vehicle, FormState.after(form, moved), error)


def _sample(visit: Visit, vehicle: str, posted: Posted) -> NewSample:
    visit.caller.require(Scope.WORKSHOP)
    owner = fleet.get_vehicle(visit.session, visit.caller.organisation_id, vehicle)
    places = fleet.list_compartments(visit.session, visit.caller.organisation_id, owner.id or 0)
    reader = FormReader(posted)
    unit = reader.choice("unit", DistanceUnit, DistanceUnit(owner.odometer_unit))
    to_km = km_from_miles if unit is DistanceUnit.MI else float
    measured = {one: reader.optional_number(f"lab-{one}", WIDEST) for one in LaboratoryProperty}
    of_new = {one: reader.optional_number(f"new-{one}", WIDEST) for one in LaboratoryProperty}
    named = [one for one in LaboratoryProperty if measured[one] is not None or of_new[one] is not None]
    grade = posted.text("grade")
    sample = NewSample(
        compartment=reader.one_of("compartment", [format_id(IdKind.COMPARTMENT, one.id) for one in places]),
        taken_at=reader.moment("taken_at", visit.zone),
        odometer=reader.optional_number("odometer", plausibility.ODOMETER_KM, to_base=to_km),
        unit=DistanceUnit.KM,
        engine_hours=reader.optional_number("engine_hours", plausibility.ENGINE_HOURS),
        grade=reader.choice("grade", VisualGrade, VisualGrade.CLEAR) if grade else None,
        laboratory={one: value for one, value in measured.items() if value is not None},
        units={one: asked_unit(one) for one in named},
        new_values={one: value for one, value in of_new.items() if value is not None},
        source=SOURCE,
        reference=reader.optional_line("reference", maximum=80),
        note=reader.note("note"),
    )
    reader.finish()
    return sample


def _at_field(error: FieldError) -> FieldError:
    """Point an error of the record at the field that was typed into."""
    pointer = error.pointer.replace("/laboratory/", "/lab-").replace("/new_values/", "/new-")
    return FieldError(pointer.replace("/units/", "/lab-"), error.detail)


def _show(request: Request, reference: str, form: FormState, error: ServiceError | None = None) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.WORKSHOP)
        owner = fleet.get_vehicle(visit.session, visit.caller.organisation_id, reference)
        places = fleet.list_compartments(visit.session, visit.caller.organisation_id, owner.id or 0)
        now_local = f"{visit.now.astimezone(visit.zone):%Y-%m-%dT%H:%M}"
        may_plan = visit.may(Scope.PLANNING)
        page = sample_page(owner, places, visit.presentation, now_local, form, may_plan=may_plan)
        return render("sample.html", frame_of(visit, "vehicles"), page, status_of(error))
