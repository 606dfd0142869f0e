"""The visits of the coming weeks, and what people ask of them."""

from fastapi import APIRouter, Request, Response

from service.api.answers import show
from service.api.inputs import IdPath, NameQuery, VehiclePath, WeeksAhead
from service.api.problems import describe_problems
from service.api.schemas.visits import PinCreate, PinRead, Pins, VehicleVisits, VisitPlanRead, VisitRead
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Writing
from service.domain.roles import Scope
from service.store.repositories import fleet, visits
from service.usecases.visits.pin_visits import NewPin, pin_visit, remove_pin
from service.usecases.visits.plan_visits import PLAN_WEEKS
from service.usecases.week.show_visits import show_vehicle_visits, show_visits

router = APIRouter(tags=["visits"], route_class=TokenFirst)


@router.get(
    "/visits",
    operation_id="get_visits",
    summary="Look at the visit plan",
    response_model=VisitPlanRead,
    responses=describe_problems(404, 422),
)
def get_visits(
    request: Request,
    unit: Reading,
    weeks: WeeksAhead = PLAN_WEEKS,
    depot: NameQuery | None = None,
) -> Response:
    """Plan the coming weeks: visits with their work and day, the load of each depot, what did not fit and why."""
    return show(request, VisitPlanRead.of(show_visits(unit.session, unit.caller, unit.now, weeks, depot)))


@router.post(
    "/visits/pins",
    operation_id="pin_visit",
    summary="Pin a vehicle's next visit",
    status_code=201,
    response_model=PinRead,
    responses=describe_problems(404, 409, 422),
)
def post_pin(body: PinCreate, unit: Writing) -> Response:
    """Say that a vehicle's next visit is on a day, or not before it; the pin it had before is replaced.

    A published list stays as it is. A pin ends when its day is over or a service of the vehicle is recorded.
    """
    pin = pin_visit(unit.session, unit.caller, unit.now, NewPin(**body.model_dump()))
    vehicle = fleet.get_vehicle_by_id(unit.session, unit.caller.organisation_id, pin.vehicle_id)
    return unit.created(PinRead.of(pin, vehicle.reference), "/v1/visits/pins")


@router.get(
    "/visits/pins",
    operation_id="list_pins",
    summary="List pins",
    response_model=Pins,
    responses=describe_problems(),
)
def get_pins(request: Request, unit: Reading) -> Response:
    """List all pins, the oldest first."""
    unit.caller.require(Scope.READ)
    organisation_id = unit.caller.organisation_id
    rows = visits.list_pins(unit.session, organisation_id)
    names = fleet.vehicle_references(unit.session, organisation_id, [row.vehicle_id for row in rows])
    return show(request, Pins(pins=[PinRead.of(row, names[row.vehicle_id]) for row in rows]))


@router.delete(
    "/visits/pins/{pin}",
    operation_id="remove_pin",
    summary="Remove a pin",
    status_code=204,
    responses=describe_problems(404, 422),
)
def delete_pin(pin: IdPath, unit: Writing) -> Response:
    """Let the plan choose the day again."""
    remove_pin(unit.session, unit.caller, unit.now, pin)
    return unit.answer(None, 204)


@router.get(
    "/visits/{vehicle}",
    operation_id="get_vehicle_visits",
    summary="Ask why a vehicle's visits are where they are",
    response_model=VehicleVisits,
    responses=describe_problems(404, 422),
)
def get_vehicle_visits(request: Request, vehicle: VehiclePath, unit: Reading) -> Response:
    """Give every visit that a vehicle has ahead, the reasons for its day, and what each week would cost instead."""
    shown, currency = show_vehicle_visits(unit.session, unit.caller, unit.now, vehicle)
    answer = VehicleVisits(
        vehicle=vehicle, currency=currency, visits=[VisitRead.of(visit) for visit in shown]
    )
    return show(request, answer)
