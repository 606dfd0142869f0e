"""Compartments: the places in a vehicle that hold a fluid."""

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Request, Response

from service.api.answers import show
from service.api.inputs import IdPath, VehiclePath
from service.api.problems import describe_problems
from service.api.schemas.vehicles import (
    CompartmentCreate,
    CompartmentList,
    CompartmentRead,
    CompartmentUpdate,
)
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Unit, Writing
from service.domain.roles import Scope
from service.store.repositories import fleet, fluids
from service.store.tables.vehicles import Compartment, Vehicle
from service.usecases.fleet import register_compartments
from service.usecases.fluids.own_ageing import early_wear, reads_hours
from service.usecases.fluids.told_meters import told_in_vain

router = APIRouter(tags=["compartments"], route_class=TokenFirst)

COLUMN_BY_FIELD = {
    "compartment": "reference",
    "last_service_on": "baseline_on",
    "last_service_odometer_km": "baseline_odometer_km",
    "last_service_engine_hours": "baseline_engine_hours",
}


@router.post(
    "/vehicles/{vehicle}/compartments",
    operation_id="register_compartment",
    summary="Register a compartment",
    status_code=201,
    response_model=CompartmentRead,
    responses=describe_problems(404, 409, 422),
)
def post_compartment(vehicle: VehiclePath, body: CompartmentCreate, unit: Writing) -> Response:
    """Register a compartment; what the maker's figures leave open is filled from the fluid kind."""
    row = register_compartments.register_compartment(
        unit.session, unit.caller, unit.now, vehicle, body.kind, _columns(body.model_dump(exclude={"kind"}))
    )
    owner = fleet.get_vehicle(unit.session, unit.caller.organisation_id, vehicle)
    (answer,) = _read(unit, owner, [row])
    return unit.created(answer, f"/v1/compartments/{answer.id}")


@router.get(
    "/vehicles/{vehicle}/compartments",
    operation_id="list_compartments",
    summary="List a vehicle's compartments",
    response_model=CompartmentList,
    responses=describe_problems(404, 422),
)
def get_compartments(request: Request, vehicle: VehiclePath, unit: Reading) -> Response:
    """List the compartments of a vehicle."""
    unit.caller.require(Scope.READ)
    owner = fleet.get_vehicle(unit.session, unit.caller.organisation_id, vehicle)
    assert owner.id is not None  # noqa: S101 - it was read
    rows = fleet.list_compartments(unit.session, unit.caller.organisation_id, owner.id)
    return show(request, CompartmentList(compartments=_read(unit, owner, rows)))


@router.get(
    "/compartments/{compartment}",
    operation_id="get_compartment",
    summary="Look at a compartment",
    response_model=CompartmentRead,
    responses=describe_problems(404, 422),
)
def get_compartment(request: Request, compartment: IdPath, unit: Reading) -> Response:
    """Look at one compartment."""
    unit.caller.require(Scope.READ)
    return show(
        request,
        _read_one(unit, fleet.get_compartment(unit.session, unit.caller.organisation_id, compartment)),
    )


@router.patch(
    "/compartments/{compartment}",
    operation_id="change_compartment",
    summary="Change a compartment",
    response_model=CompartmentRead,
    responses=describe_problems(404, 409, 412, 422),
)
def patch_compartment(
    request: Request, compartment: IdPath, body: CompartmentUpdate, unit: Writing
) -> Response:
    """Change what the body names; with If-Match, only if nobody else changed it meanwhile."""
    row = fleet.get_compartment(unit.session, unit.caller.organisation_id, compartment, for_update=True)
    unit.require_match(request, _read_one(unit, row))
    changes = _columns(body.named())
    row = register_compartments.change_compartment(unit.session, unit.caller, unit.now, compartment, changes)
    return unit.changed(_read_one(unit, row))


def _columns(facts: dict[str, Any]) -> dict[str, Any]:
    return {COLUMN_BY_FIELD.get(name, name): value for name, value in facts.items()}


def _read(unit: Unit, owner: Vehicle, rows: Sequence[Compartment]) -> list[CompartmentRead]:
    organisation_id = unit.caller.organisation_id
    names = {fluid.id: fluid.reference for fluid in fluids.list_fluids(unit.session, organisation_id)}
    has_hours = reads_hours(unit.session, organisation_id, owner.id or 0)
    in_vain = told_in_vain(unit.session, organisation_id, rows)
    return [
        CompartmentRead.of(
            row,
            owner.reference,
            names.get(row.fluid_id),
            early=early_wear(row, has_hours=has_hours),
            less=in_vain.get(row.id, []),
        )
        for row in rows
    ]


def _read_one(unit: Unit, row: Compartment) -> CompartmentRead:
    owner = fleet.get_vehicle_by_id(unit.session, unit.caller.organisation_id, row.vehicle_id)
    (answer,) = _read(unit, owner, [row])
    return answer
