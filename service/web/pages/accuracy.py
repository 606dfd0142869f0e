"""How past forecasts turned out."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.usecases.usage.show_accuracy import show_accuracy
from service.web.rendering import frame_of, render
from service.web.views.accuracy import accuracy_page
from service.web.visits import looking

router = APIRouter()


@router.get("/accuracy")
def get_accuracy(request: Request) -> Response:
    """Score the forecasts that would have been made along the stored histories."""
    with looking(request) as visit:
        accuracy = show_accuracy(visit.session, visit.caller, visit.now)
        page = accuracy_page(accuracy, visit.presentation)
        return render("accuracy.html", frame_of(visit, "accuracy"), page)
