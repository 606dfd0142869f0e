"""Exchange plans: how to change a fluid, and when to come back."""

from fastapi import APIRouter, Request, Response

from service.api.answers import show
from service.api.inputs import IdPath
from service.api.problems import describe_problems
from service.api.schemas.exchange_plans import ExchangePlanCreate, ExchangePlanRead
from service.api.schemas.return_visits import ReturnVisitCreate, ReturnVisitList, ReturnVisitRead
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, UnneededKey, Writing
from service.usecases.fluids.accept_return import accept_return, cancel_return, list_returns
from service.usecases.fluids.pending_return import ReturnState
from service.usecases.plans.plan_exchange import plan_exchange

router = APIRouter(tags=["exchange plans"], route_class=TokenFirst)


@router.post(
    "/exchange-plans",
    operation_id="plan_exchange",
    summary="Plan an exchange",
    dependencies=[UnneededKey],
    response_model=ExchangePlanRead,
    responses=describe_problems(404, 422),
)
def post_exchange_plan(request: Request, body: ExchangePlanCreate, unit: Reading) -> Response:
    """Put one to six rounds and a line exchange side by side, for typed-in numbers or a stored compartment.

    Litres are as measured at the level temperature, except those to pour, which are at ambient. What is not given is
    taken from the compartment or assumed of the kind; `basis` says which. Nothing is stored.
    """
    planned = plan_exchange(
        unit.session,
        unit.caller,
        unit.now,
        compartment=body.compartment,
        kind=body.kind,
        vehicle_class=body.vehicle_class,
        duty=body.duty,
        typed=body.numbers(),
    )
    return show(request, ExchangePlanRead.of(planned))


@router.post(
    "/compartments/{compartment}/return-visits",
    operation_id="accept_return_visit",
    summary="Accept a return visit",
    status_code=201,
    response_model=ReturnVisitRead,
    responses=describe_problems(404, 409, 422),
)
def post_return_visit(compartment: IdPath, body: ReturnVisitCreate, unit: Writing) -> Response:
    """Accept a plan to come back for more rounds, counted from now; the due list then carries it.

    It can only bring a date forward. A change of the fluid fulfils it, and a newer return visit replaces it.
    """
    visit = accept_return(
        unit.session,
        unit.caller,
        unit.now,
        compartment,
        body.rounds,
        after_km=body.after_km,
        after_days=body.after_days,
        note=body.note,
    )
    return unit.created(
        ReturnVisitRead.of(visit, ReturnState.OPEN), f"/v1/compartments/{compartment}/return-visits"
    )


@router.get(
    "/compartments/{compartment}/return-visits",
    operation_id="list_return_visits",
    summary="List return visits",
    response_model=ReturnVisitList,
    responses=describe_problems(404, 422),
)
def get_return_visits(request: Request, compartment: IdPath, unit: Reading) -> Response:
    """List the return visits of a compartment, the latest first, with where they stand."""
    rows = list_returns(unit.session, unit.caller, compartment)
    return show(
        request, ReturnVisitList(return_visits=[ReturnVisitRead.of(visit, state) for visit, state in rows])
    )


@router.delete(
    "/return-visits/{visit}",
    operation_id="cancel_return_visit",
    summary="Cancel a return visit",
    status_code=204,
    responses=describe_problems(404, 409, 422),
)
def delete_return_visit(visit: IdPath, unit: Writing) -> Response:
    """Take a return visit off the plan; the schedule decides again."""
    cancel_return(unit.session, unit.caller, unit.now, visit)
    return unit.answer(None, 204)
