"""The terms that an organisation plans with."""

from fastapi import APIRouter, Request, Response

from service.api.answers import show
from service.api.problems import describe_problems
from service.api.schemas.planning import PlanningRead, PlanningUpdate
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Writing
from service.domain.roles import Scope
from service.store.repositories import fleet
from service.usecases.orders.change_planning import change_planning

router = APIRouter(tags=["organisation"], route_class=TokenFirst)


@router.get(
    "/planning-terms",
    operation_id="get_planning_terms",
    summary="Look at what plans are made with",
    response_model=PlanningRead,
    responses=describe_problems(),
)
def get_planning_terms(request: Request, unit: Reading) -> Response:
    """Costs, risks and horizons of visits and orders, each with its default, its bounds and its meaning."""
    unit.caller.require(Scope.READ)
    organisation = fleet.get_organisation(unit.session, unit.caller.organisation_id)
    return show(request, PlanningRead.of(organisation))


@router.patch(
    "/planning-terms",
    operation_id="change_planning_terms",
    summary="Change what plans are made with",
    response_model=PlanningRead,
    responses=describe_problems(412, 422),
)
def patch_planning_terms(request: Request, body: PlanningUpdate, unit: Writing) -> Response:
    """Set some terms; the next draft, forecast and order plan use them."""
    organisation = fleet.lock_organisation(unit.session, unit.caller.organisation_id)
    unit.require_match(request, PlanningRead.of(organisation))
    changed = change_planning(unit.session, unit.caller, unit.now, body.terms)
    return unit.changed(PlanningRead.of(changed))
