"""The caller's own organisation and its depots."""

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from service.api.answers import show
from service.api.problems import describe_problems
from service.api.schemas.organisation import (
    DepotCreate,
    DepotList,
    DepotRead,
    DepotUpdate,
    OrganisationRead,
    OrganisationUpdate,
)
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Writing
from service.domain.roles import Scope
from service.store.repositories import fleet
from service.usecases.fleet import change_settings

router = APIRouter(tags=["organisation"], route_class=TokenFirst)

DepotPath = Annotated[
    str, Path(min_length=1, max_length=160, description="The depot's name, or its id.", examples=["North"])
]


@router.get(
    "/organisation",
    operation_id="get_organisation",
    summary="Look at the organisation's settings",
    response_model=OrganisationRead,
    responses=describe_problems(),
)
def get_organisation(request: Request, unit: Reading) -> Response:
    """Zone, units, currency, and when due lists are published."""
    unit.caller.require(Scope.READ)
    row = fleet.get_organisation(unit.session, unit.caller.organisation_id)
    return show(request, OrganisationRead.of(row))


@router.patch(
    "/organisation",
    operation_id="change_organisation",
    summary="Change the organisation's settings",
    response_model=OrganisationRead,
    responses=describe_problems(409, 412, 422),
)
def patch_organisation(request: Request, body: OrganisationUpdate, unit: Writing) -> Response:
    """Change what is named; a new zone or publishing day neither doubles nor loses a week."""
    row = fleet.lock_organisation(unit.session, unit.caller.organisation_id)
    unit.require_match(request, OrganisationRead.of(row))
    row = change_settings.change_organisation(unit.session, unit.caller, unit.now, body.changes())
    return unit.changed(OrganisationRead.of(row))


@router.get(
    "/depots",
    operation_id="list_depots",
    summary="List depots",
    response_model=DepotList,
    responses=describe_problems(),
)
def get_depots(request: Request, unit: Reading) -> Response:
    """List all depots by name."""
    unit.caller.require(Scope.READ)
    rows = fleet.list_depots(unit.session, unit.caller.organisation_id)
    return show(request, DepotList(depots=[DepotRead.of(row) for row in rows]))


@router.post(
    "/depots",
    operation_id="make_depot",
    summary="Make a depot",
    status_code=201,
    response_model=DepotRead,
    responses=describe_problems(409, 422),
)
def post_depot(body: DepotCreate, unit: Writing) -> Response:
    """Make a depot; one that a vehicle is registered at is made by itself."""
    row = change_settings.make_depot(unit.session, unit.caller, unit.now, body.depot, body.facts())
    shown = DepotRead.of(row)
    return unit.created(shown, f"/v1/depots/{shown.id}")


@router.get(
    "/depots/{depot}",
    operation_id="get_depot",
    summary="Look at a depot",
    response_model=DepotRead,
    responses=describe_problems(404, 422),
)
def get_depot(request: Request, depot: DepotPath, unit: Reading) -> Response:
    """Look at one depot."""
    unit.caller.require(Scope.READ)
    return show(request, DepotRead.of(change_settings.get_depot(unit.session, unit.caller, depot)))


@router.patch(
    "/depots/{depot}",
    operation_id="change_depot",
    summary="Change a depot",
    response_model=DepotRead,
    responses=describe_problems(404, 409, 412, 422),
)
def patch_depot(request: Request, depot: DepotPath, body: DepotUpdate, unit: Writing) -> Response:
    """Change what is named: bay minutes, holiday region, closing days, room for used fluid."""
    row = change_settings.get_depot(unit.session, unit.caller, depot, for_update=True)
    unit.require_match(request, DepotRead.of(row))
    row = change_settings.change_depot(unit.session, unit.caller, unit.now, depot, body.changes())
    return unit.changed(DepotRead.of(row))
