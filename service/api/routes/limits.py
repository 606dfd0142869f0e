"""Limits for laboratory values: read, set, and back to the defaults."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response

from service.api.answers import show
from service.api.problems import describe_problems
from service.api.schemas.limits import AlarmLimitList, AlarmLimitRead, LimitPut
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Writing
from service.domain.fluid_kinds import FluidKind
from service.domain.laboratory import LaboratoryProperty
from service.usecases.fluids.alarm_limits import list_limits, reset_limit, set_limit

router = APIRouter(tags=["limits"], route_class=TokenFirst)

KindPath = Annotated[FluidKind, Path(description="Kind of fluid.")]
PropertyPath = Annotated[
    LaboratoryProperty, Path(alias="property", description="What the laboratory measures.")
]


@router.get(
    "/limits",
    operation_id="list_limits",
    summary="List limits",
    response_model=AlarmLimitList,
    responses=describe_problems(422),
)
def get_limits(
    request: Request,
    unit: Reading,
    kind: Annotated[FluidKind | None, Query(description="Kind of fluid; all without.")] = None,
) -> Response:
    """List the limits that laboratory values are held against, each with its flag and source."""
    rows = list_limits(unit.session, unit.caller, kind)
    return show(request, AlarmLimitList(limits=[AlarmLimitRead.of(row) for row in rows]))


@router.put(
    "/limits/{kind}/{property}",
    operation_id="set_limit",
    summary="Set a limit",
    response_model=AlarmLimitRead,
    responses=describe_problems(422),
)
def put_limit(kind: KindPath, laboratory_property: PropertyPath, body: LimitPut, unit: Writing) -> Response:
    """Set a limit of your own in place of the default; what is told of samples and fluids follows it.

    A sample that was marked as contaminated when it was recorded stays so.
    """
    shown = set_limit(
        unit.session,
        unit.caller,
        unit.now,
        (kind, laboratory_property, body.basis),
        (body.caution, body.critical),
        body.source,
    )
    return unit.answer(AlarmLimitRead.of(shown))


@router.delete(
    "/limits/{kind}/{property}",
    operation_id="reset_limit",
    summary="Reset a limit",
    status_code=204,
    responses=describe_problems(404, 422),
)
def delete_limit(kind: KindPath, laboratory_property: PropertyPath, unit: Writing) -> Response:
    """Remove what was set for a property, whatever its basis; the default holds again."""
    reset_limit(unit.session, unit.caller, unit.now, kind, laboratory_property)
    return unit.answer(None, 204)
