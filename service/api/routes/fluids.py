"""Fluids as products."""

from fastapi import APIRouter, Request, Response

from service.api.answers import show
from service.api.inputs import VehiclePath as FluidPath
from service.api.problems import describe_problems
from service.api.schemas.fluids import FluidCreate, FluidList, FluidRead, FluidUpdate, offers_of
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Unit, Writing
from service.domain.roles import Scope
from service.store.repositories import fluids, stock_items
from service.store.tables.fluids import Fluid
from service.usecases.stock import register_fluids

router = APIRouter(tags=["fluids"], route_class=TokenFirst)


@router.post(
    "/fluids",
    operation_id="add_fluid",
    summary="Add a fluid",
    status_code=201,
    response_model=FluidRead,
    responses=describe_problems(409, 422),
)
def post_fluid(body: FluidCreate, unit: Writing) -> Response:
    """Add a fluid as a product, with its packs."""
    facts = body.model_dump(exclude={"fluid", "kind", "packs"})
    offers = offers_of(body.packs) or ()
    row = register_fluids.add_fluid(unit.session, unit.caller, unit.now, body.fluid, body.kind, facts, offers)
    return unit.created(_read(unit, row), f"/v1/fluids/{row.reference}")


@router.get(
    "/fluids",
    operation_id="list_fluids",
    summary="List fluids",
    response_model=FluidList,
    responses=describe_problems(),
)
def get_fluids(request: Request, unit: Reading) -> Response:
    """List all fluids with their packs."""
    unit.caller.require(Scope.READ)
    packs = stock_items.list_packs(unit.session, unit.caller.organisation_id)
    rows = fluids.list_fluids(unit.session, unit.caller.organisation_id)
    return show(request, FluidList(fluids=[FluidRead.of(row, packs) for row in rows]))


@router.get(
    "/fluids/{fluid}",
    operation_id="get_fluid",
    summary="Look at a fluid",
    response_model=FluidRead,
    responses=describe_problems(404, 422),
)
def get_fluid(request: Request, fluid: FluidPath, unit: Reading) -> Response:
    """Look at one fluid with its packs."""
    unit.caller.require(Scope.READ)
    return show(request, _read(unit, fluids.get_fluid(unit.session, unit.caller.organisation_id, fluid)))


@router.patch(
    "/fluids/{fluid}",
    operation_id="change_fluid",
    summary="Change a fluid",
    response_model=FluidRead,
    responses=describe_problems(404, 412, 422),
)
def patch_fluid(request: Request, fluid: FluidPath, body: FluidUpdate, unit: Writing) -> Response:
    """Change what the body names, packs all together; with If-Match, only if nobody else changed it meanwhile."""
    row = fluids.get_fluid(unit.session, unit.caller.organisation_id, fluid, for_update=True)
    unit.require_match(request, _read(unit, row))
    changes = body.named(but={"packs"})
    row = register_fluids.change_fluid(
        unit.session, unit.caller, unit.now, fluid, changes, offers_of(body.packs)
    )
    return unit.changed(_read(unit, row))


def _read(unit: Unit, row: Fluid) -> FluidRead:
    return FluidRead.of(row, stock_items.list_packs(unit.session, unit.caller.organisation_id, row))
