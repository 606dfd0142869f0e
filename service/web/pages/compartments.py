"""Register a compartment of a vehicle, and change it."""

from collections.abc import Callable
from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from service.documents.presentation import Presentation
from service.domain import plausibility
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.roles import Scope
from service.errors import ConflictError, InvalidInputError, ServiceError
from service.store.repositories import fleet, fluids
from service.store.tables.vehicles import Compartment
from service.usecases.fleet.register_compartments import change_compartment, register_compartment
from service.usecases.fluids.own_ageing import EarlyWear, early_wear, reads_hours
from service.web.compartment_lines import seals_of, temperatures_of
from service.web.forms import EMPTY, Form, FormReader, FormState, Posted
from service.web.pages.vehicles import VehiclePath
from service.web.rendering import frame_of, path_part, render
from service.web.views.register import compartment_form_page, compartment_values
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

CompartmentPath = Annotated[str, Path(pattern=r"^cmp_[0-9]{1,19}$")]
COLUMN_BY_FIELD: Final = {
    "name": "reference",
    "last_service_on": "baseline_on",
    "last_service_odometer_km": "baseline_odometer_km",
    "last_service_engine_hours": "baseline_engine_hours",
}
FLAGS: Final = ("has_fluid_counter", "partial_is_full")


@router.get("/vehicles/{vehicle}/compartments/new")
def get_new(request: Request, vehicle: VehiclePath) -> Response:
    """Show the form for a new compartment."""
    return _show(request, vehicle, None, EMPTY)


@router.post("/vehicles/{vehicle}/compartments/new")
def post_new(request: Request, vehicle: VehiclePath, form: Form) -> Response:
    """Register a compartment; what is left empty gets the usual figures of the kind and class."""
    try:
        with doing(request, form) as visit:
            reader = FormReader(form)
            kind = reader.choice("kind", FluidKind, FluidKind.AXLE)
            facts = _facts(reader, visit.presentation)
            reader.finish()
            facts |= {name: facts[name] or None for name in FLAGS}
            row = register_compartment(visit.session, visit.caller, visit.now, vehicle, kind, facts)
            again = form.text("do") == "another"
            path = f"/vehicles/{path_part(vehicle)}" + ("/compartments/new" if again else "")
            return visit.done(path, told=_told(visit, "compartment_new", row))
    except (InvalidInputError, ConflictError) as error:
        return _show(request, vehicle, None, FormState.after(form, _at_fields(error)), error)


@router.get("/compartments/{compartment}/change")
def get_change(request: Request, compartment: CompartmentPath) -> Response:
    """Show what is known of a compartment, ready to be changed."""
    return _show(request, None, compartment, EMPTY)


@router.post("/compartments/{compartment}/change")
def post_change(request: Request, compartment: CompartmentPath, form: Form) -> Response:
    """Change what reads otherwise than it was shown."""
    try:
        with doing(request, form) as visit:
            row = fleet.get_compartment(visit.session, visit.caller.organisation_id, compartment)
            changes = _changes(visit, row, form)
            if changes:
                change_compartment(visit.session, visit.caller, visit.now, compartment, changes)
            back = f"/vehicles/{format_id(IdKind.VEHICLE, row.vehicle_id)}"
            return visit.done(back, told=_told(visit, "compartment_changed", row))
    except (InvalidInputError, ConflictError) as error:
        return _show(request, None, compartment, FormState.after(form, _at_fields(error)), error)


def _told(visit: Visit, told: str, row: Compartment) -> str:
    return f"{told}_early" if _early_wear(visit, row) else told


def _early_wear(visit: Visit, row: Compartment) -> list[EarlyWear]:
    has_hours = reads_hours(visit.session, visit.caller.organisation_id, row.vehicle_id)
    return early_wear(row, has_hours=has_hours)


def _changes(visit: Visit, row: Compartment, posted: Posted) -> dict[str, Any]:
    """Only what was typed anew: a volume that is shown in gallons is not rounded by looking at it."""
    visit.caller.require(Scope.PLANNING)
    reader = FormReader(posted)
    facts = _facts(reader, visit.presentation)
    reader.finish()
    shown = compartment_values(row, _fluid_of(visit, row), visit.presentation)
    fields = {column: field for field, column in COLUMN_BY_FIELD.items()}
    return {
        column: value
        for column, value in facts.items()
        if (
            value != getattr(row, column)
            if column in FLAGS
            else _typed(posted, fields.get(column, column)) != shown[fields.get(column, column)]
        )
    }


def _typed(posted: Posted, name: str) -> str:
    return posted.text(name).replace("\r\n", "\n").strip()


def _facts(reader: FormReader, presentation: Presentation) -> dict[str, Any]:
    """Read everything but the kind, in the service's own units and under its own names."""
    litres_a_unit, km_a_unit = 1.0 / presentation.volume_value(1.0), 1.0 / presentation.distance_value(1.0)

    def number(name: str, bounds: plausibility.Bounds, a_unit: float = 1.0) -> float | None:
        return reader.optional_number(name, bounds, to_base=_times(a_unit))

    months = number("interval_months", plausibility.INTERVAL_MONTHS)
    facts: dict[str, Any] = {
        "name": reader.optional_line("name", maximum=40),
        "fluid": reader.optional_line("fluid", maximum=160),
        "specification": reader.optional_line("specification"),
        "total_litres": number("total_litres", plausibility.COMPARTMENT_LITRES, litres_a_unit),
        "drainable_litres": number("drainable_litres", plausibility.COMPARTMENT_LITRES, litres_a_unit),
        "interval_km": number("interval_km", plausibility.INTERVAL_KM, km_a_unit),
        "interval_months": None if months is None else round(months),
        "interval_hours": number("interval_hours", plausibility.INTERVAL_HOURS),
        "level_min_celsius": number("level_min_celsius", plausibility.EXPANSION_CELSIUS),
        "level_max_celsius": number("level_max_celsius", plausibility.EXPANSION_CELSIUS),
        "maker_notes": reader.note("maker_notes"),
        "seals": seals_of(reader),
        "life_km": number("life_km", plausibility.INTERVAL_KM, km_a_unit),
        "life_months": number("life_months", plausibility.INTERVAL_MONTHS),
        "life_hours": number("life_hours", plausibility.INTERVAL_HOURS),
        "oil_temperatures": temperatures_of(reader),
        "last_service_on": reader.optional_day("last_service_on"),
        "last_service_odometer_km": number("last_service_odometer_km", plausibility.ODOMETER_KM, km_a_unit),
        "last_service_engine_hours": number("last_service_engine_hours", plausibility.ENGINE_HOURS),
    } | {name: reader.flag(name) for name in FLAGS}
    if (facts["level_min_celsius"] is None) != (facts["level_max_celsius"] is None):
        reader.refuse("level_max_celsius", "The level window needs both ends.")
    return {COLUMN_BY_FIELD.get(name, name): value for name, value in facts.items()}


def _times(factor: float) -> Callable[[float], float]:
    return lambda typed: typed * factor


def _at_fields(error: ServiceError) -> ServiceError:
    """Point errors of columns at the fields that they are typed into."""
    fields = {f"/{column}": f"/{field}" for field, column in COLUMN_BY_FIELD.items()}
    moved = [type(one)(fields.get(one.pointer, one.pointer), one.detail) for one in error.errors]
    return type(error)(error.detail, moved)


def _fluid_of(visit: Visit, row: Compartment) -> str:
    known = fluids.list_fluids(visit.session, visit.caller.organisation_id)
    return next((fluid.reference for fluid in known if fluid.id == row.fluid_id), "")


def _show(
    request: Request,
    vehicle: str | None,
    compartment: str | None,
    form: FormState,
    error: ServiceError | None = None,
) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.PLANNING)
        organisation_id = visit.caller.organisation_id
        row = (
            None
            if compartment is None
            else fleet.get_compartment(visit.session, organisation_id, compartment)
        )
        owner = (
            fleet.get_vehicle(visit.session, organisation_id, vehicle or "")
            if row is None
            else fleet.get_vehicle_by_id(visit.session, organisation_id, row.vehicle_id)
        )
        known = fluids.list_fluids(visit.session, organisation_id)
        early = [] if row is None else _early_wear(visit, row)
        page = compartment_form_page(owner, row, known, early, visit.presentation, form)
        return render("compartment_form.html", frame_of(visit, "vehicles"), page, status_of(error))
