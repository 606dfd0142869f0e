"""Accuracy: how past projections turned out."""

from fastapi import APIRouter, Request, Response

from service.api.answers import show
from service.api.problems import describe_problems
from service.api.schemas.accuracy import AccuracyRead
from service.api.units_of_work import Reading
from service.usecases.usage.show_accuracy import show_accuracy

router = APIRouter(tags=["accuracy"])


@router.get(
    "/accuracy",
    operation_id="get_accuracy",
    summary="How projections turned out",
    response_model=AccuracyRead,
    responses=describe_problems(),
)
def get_accuracy(request: Request, unit: Reading) -> Response:
    """Score the projections along the stored histories against plain averages."""
    return show(request, AccuracyRead.of(show_accuracy(unit.session, unit.caller, unit.now)))
