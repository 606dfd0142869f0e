"""Parts that are used once a service."""

from fastapi import APIRouter, Request, Response

from service.api.answers import show
from service.api.inputs import VehiclePath as PartPath
from service.api.problems import describe_problems
from service.api.schemas.fluids import offers_of
from service.api.schemas.parts import PartCreate, PartList, PartRead, PartUpdate
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Unit, Writing
from service.domain.roles import Scope
from service.store.repositories import stock_items
from service.store.tables.parts import Part
from service.usecases.stock import register_parts

router = APIRouter(tags=["stock"], route_class=TokenFirst)


@router.post(
    "/parts",
    operation_id="add_part",
    summary="Keep a part",
    status_code=201,
    response_model=PartRead,
    responses=describe_problems(409, 422),
)
def post_part(body: PartCreate, unit: Writing) -> Response:
    """Keep a seal, washer or other part that jobs use, with its packs."""
    facts = body.model_dump(exclude={"part", "packs"})
    offers = offers_of(body.packs) or ()
    row = register_parts.add_part(unit.session, unit.caller, unit.now, body.part, facts, offers)
    shown = _read(unit, row)
    return unit.created(shown, f"/v1/parts/{shown.id}")


@router.get(
    "/parts",
    operation_id="list_parts",
    summary="List parts",
    response_model=PartList,
    responses=describe_problems(),
)
def get_parts(request: Request, unit: Reading) -> Response:
    """List all parts that are kept, with their packs."""
    unit.caller.require(Scope.READ)
    packs = stock_items.list_packs(unit.session, unit.caller.organisation_id)
    rows = stock_items.list_parts(unit.session, unit.caller.organisation_id)
    return show(request, PartList(parts=[PartRead.of(row, packs) for row in rows]))


@router.get(
    "/parts/{part}",
    operation_id="get_part",
    summary="Look at a part",
    response_model=PartRead,
    responses=describe_problems(404, 422),
)
def get_part(request: Request, part: PartPath, unit: Reading) -> Response:
    """Look at one part with its packs."""
    unit.caller.require(Scope.READ)
    return show(request, _read(unit, stock_items.get_part(unit.session, unit.caller.organisation_id, part)))


@router.patch(
    "/parts/{part}",
    operation_id="change_part",
    summary="Change a part",
    response_model=PartRead,
    responses=describe_problems(404, 412, 422),
)
def patch_part(request: Request, part: PartPath, body: PartUpdate, unit: Writing) -> Response:
    """Change what the body names, packs all together; with If-Match, only if nobody else changed it meanwhile."""
    row = stock_items.get_part(unit.session, unit.caller.organisation_id, part, for_update=True)
    unit.require_match(request, _read(unit, row))
    changes = body.named(but={"packs"})
    row = register_parts.change_part(
        unit.session, unit.caller, unit.now, part, changes, offers_of(body.packs)
    )
    return unit.changed(_read(unit, row))


def _read(unit: Unit, row: Part) -> PartRead:
    return PartRead.of(row, stock_items.list_packs(unit.session, unit.caller.organisation_id, row))
