"""Where somebody begins who may send readings and see nothing else: the number of the vehicle."""

from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import RedirectResponse, Response

from service.domain.roles import Scope
from service.errors import InvalidInputError, NotFoundError, ServiceError
from service.store.repositories import fleet
from service.web.catalogue import tell
from service.web.contexts import OwnReadingPage
from service.web.forms import EMPTY, FormState
from service.web.rendering import frame_of, path_part, render
from service.web.visits import SEE_OTHER, Visit, looking, status_of

router = APIRouter()

Looked = Annotated[str, Query(max_length=80)]
NO_SUCH_VEHICLE: Final = "No vehicle has this number. Write it as it is painted on, or as the plate shows it."


@router.get("/reading")
def get_reading(request: Request, vehicle: Looked = "") -> Response:
    """Ask for the vehicle's number, and lead on to its form."""
    number = vehicle.strip()
    with looking(request) as visit:
        visit.caller.require(Scope.READINGS)
        if not number:
            return which_vehicle(visit, EMPTY)
        try:
            row = fleet.get_vehicle(visit.session, visit.caller.organisation_id, number)
        except NotFoundError:
            error = InvalidInputError.at("/vehicle", NO_SUCH_VEHICLE)
            state = FormState({"vehicle": number}, {"vehicle": tell(NO_SUCH_VEHICLE)})
            return which_vehicle(visit, state, error)
        return RedirectResponse(f"/vehicles/{path_part(row.reference)}/reading", SEE_OTHER)


def which_vehicle(visit: Visit, form: FormState, error: ServiceError | None = None) -> Response:
    """Show the question."""
    page = OwnReadingPage(organisation=visit.organisation.name, form=form)
    return render("own_reading.html", frame_of(visit, "reading"), page, status_of(error))
