"""Projections: where a vehicle stands and when its fluids are due."""

from fastapi import APIRouter, Request, Response

from service.api.answers import show
from service.api.inputs import VehiclePath
from service.api.problems import describe_problems
from service.api.schemas.projections import ProjectionRead
from service.api.units_of_work import Reading
from service.usecases.due.show_projection import show_projection

router = APIRouter(tags=["projections"])


@router.get(
    "/vehicles/{vehicle}/projection",
    operation_id="get_projection",
    summary="Project a vehicle",
    response_model=ProjectionRead,
    responses=describe_problems(404, 422),
)
def get_projection(request: Request, vehicle: VehiclePath, unit: Reading) -> Response:
    """Estimate odometer, rate, life used and due dates from everything stored, as of now."""
    return show(request, ProjectionRead.of(show_projection(unit.session, unit.caller, unit.now, vehicle)))
