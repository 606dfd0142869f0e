"""The history of a compartment's fluid, step by step."""

from fastapi import APIRouter, Request, Response

from service.api.answers import show
from service.api.inputs import IdPath
from service.api.problems import describe_problems
from service.api.schemas.history import HistoryRead
from service.api.units_of_work import Reading
from service.usecases.fluids.explain_history import explain_history

router = APIRouter(tags=["compartments"])


@router.get(
    "/compartments/{compartment}/history",
    operation_id="get_compartment_history",
    summary="Explain a compartment's state",
    response_model=HistoryRead,
    responses=describe_problems(404, 422),
)
def get_history(request: Request, compartment: IdPath, unit: Reading) -> Response:
    """Say of every event who did it, what it did to the fluid and why; voided records are left out."""
    return show(request, HistoryRead.of(explain_history(unit.session, unit.caller, unit.now, compartment)))
