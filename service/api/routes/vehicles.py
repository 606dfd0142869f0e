"""Vehicles: register, look at, change, take out of use."""

from fastapi import APIRouter, Request, Response

from service.api.answers import number_in, page_of, show
from service.api.inputs import Cursor, PageLimit, VehiclePath
from service.api.problems import describe_problems
from service.api.schemas.vehicles import VehicleCreate, VehiclePage, VehicleRead, VehicleUpdate
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Writing
from service.domain.roles import Scope
from service.store.repositories import fleet
from service.store.tables.vehicles import Vehicle
from service.usecases.fleet import register_vehicles
from service.usecases.fleet.register_vehicles import NewVehicle
from service.usecases.readings.unit_changes import unit_warnings

router = APIRouter(tags=["vehicles"], route_class=TokenFirst)


@router.post(
    "/vehicles",
    operation_id="register_vehicle",
    summary="Register a vehicle",
    status_code=201,
    response_model=VehicleRead,
    responses=describe_problems(409, 422),
)
def post_vehicle(body: VehicleCreate, unit: Writing) -> Response:
    """Register a vehicle by the fleet's own number."""
    new = NewVehicle(
        reference=body.vehicle,
        vehicle_class=body.vehicle_class,
        depot=body.depot,
        duty=body.duty,
        odometer_unit=body.odometer_unit,
        vin=body.vin,
        in_service_on=body.in_service_on,
        available_weekdays=None if body.available_weekdays is None else tuple(body.available_weekdays),
    )
    vehicle = register_vehicles.register_vehicle(unit.session, unit.caller, unit.now, new)
    return unit.created(_read(unit, vehicle), f"/v1/vehicles/{vehicle.reference}")


@router.get(
    "/vehicles",
    operation_id="list_vehicles",
    summary="List vehicles",
    response_model=VehiclePage,
    responses=describe_problems(422),
)
def get_vehicles(request: Request, unit: Reading, limit: PageLimit = 100, cursor: Cursor = None) -> Response:
    """List the vehicles in use, a page at a time."""
    unit.caller.require(Scope.READ)
    after = number_in(cursor, "after") or 0
    rows = fleet.list_vehicles(unit.session, unit.caller.organisation_id, after_id=after, limit=limit + 1)
    depots = fleet.depot_names(unit.session, unit.caller.organisation_id)
    shown, more = page_of(request, rows, limit)
    page = VehiclePage(vehicles=[VehicleRead.of(row, depots[row.depot_id]) for row in shown])
    return show(request, page, headers=more)


@router.get(
    "/vehicles/{vehicle}",
    operation_id="get_vehicle",
    summary="Look at a vehicle",
    response_model=VehicleRead,
    responses=describe_problems(404, 422),
)
def get_vehicle(request: Request, vehicle: VehiclePath, unit: Reading) -> Response:
    """Look at one vehicle."""
    unit.caller.require(Scope.READ)
    return show(request, _read(unit, fleet.get_vehicle(unit.session, unit.caller.organisation_id, vehicle)))


@router.patch(
    "/vehicles/{vehicle}",
    operation_id="change_vehicle",
    summary="Change a vehicle",
    response_model=VehicleRead,
    responses=describe_problems(404, 409, 412, 422),
)
def patch_vehicle(request: Request, vehicle: VehiclePath, body: VehicleUpdate, unit: Writing) -> Response:
    """Change what the body names; with If-Match, only if nobody else changed it meanwhile."""
    row = fleet.get_vehicle(unit.session, unit.caller.organisation_id, vehicle, for_update=True)
    unit.require_match(request, _read(unit, row))
    changes = body.named()
    if "vehicle" in changes:
        changes["reference"] = changes.pop("vehicle")
    row = register_vehicles.change_vehicle(unit.session, unit.caller, unit.now, vehicle, changes)
    return unit.changed(_read(unit, row))


@router.delete(
    "/vehicles/{vehicle}",
    operation_id="retire_vehicle",
    summary="Take a vehicle out of use",
    status_code=204,
    responses=describe_problems(404, 412, 422),
)
def delete_vehicle(request: Request, vehicle: VehiclePath, unit: Writing) -> Response:
    """Take a vehicle out of use; its history stays and its number is free again."""
    row = fleet.get_vehicle(unit.session, unit.caller.organisation_id, vehicle, for_update=True)
    unit.require_match(request, _read(unit, row))
    register_vehicles.retire_vehicle(unit.session, unit.caller, unit.now, vehicle)
    return unit.answer(None, 204)


def _read(unit: Reading, vehicle: Vehicle) -> VehicleRead:
    depots = fleet.depot_names(unit.session, unit.caller.organisation_id)
    warnings = [*register_vehicles.vin_warnings(unit.session, vehicle), *unit_warnings(unit.session, vehicle)]
    return VehicleRead.of(vehicle, depots[vehicle.depot_id], warnings)
