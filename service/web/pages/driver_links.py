"""Links for drivers on a vehicle's page: make one, show it once, end it."""

from datetime import timedelta
from typing import Annotated, Final

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from service.documents.qr_code import qr_svg
from service.domain.plausibility import Bounds
from service.errors import ConflictError, InvalidInputError
from service.store.repositories import fleet
from service.usecases.fleet.driver_links import make_link, revoke_link
from service.web.catalogue import translate
from service.web.contexts import DriverLinkPage
from service.web.forms import Form, FormReader, FormState
from service.web.pages.driver import link_address
from service.web.pages.vehicles import VehiclePath, show_vehicle_page
from service.web.rendering import NEVER_KEPT, frame_of, path_part, render
from service.web.visits import Visit, doing

router = APIRouter()

LinkPath = Annotated[str, Path(pattern=r"^tok_[0-9]{1,19}$")]
DAYS: Final = Bounds(1, 1096, "From a day to three years.")


@router.post("/vehicles/{vehicle}/links")
def post_link(request: Request, vehicle: VehiclePath, form: Form) -> Response:
    """Make a link and show it, once."""
    try:
        with doing(request, form) as visit:
            return _make(visit, vehicle, FormReader(form))
    except (InvalidInputError, ConflictError) as error:
        return show_vehicle_page(request, vehicle, FormState.after(form, error), error)


@router.post("/vehicles/{vehicle}/links/{link}")
def post_end(request: Request, vehicle: VehiclePath, link: LinkPath, form: Form) -> Response:
    """End a link."""
    with doing(request, form) as visit:
        revoke_link(visit.session, visit.caller, visit.now, vehicle, link)
        return visit.done(f"/vehicles/{path_part(vehicle)}", told="link_ended")


def _make(visit: Visit, vehicle: str, reader: FormReader) -> Response:
    name = reader.line("link_name", maximum=80)
    days = reader.number("link_days", DAYS)
    reader.finish()
    ends = visit.now + timedelta(days=days)
    token, secret = make_link(visit.session, visit.caller, visit.now, vehicle, name, ends)
    owner = fleet.get_vehicle_by_id(visit.session, visit.caller.organisation_id, token.vehicle_id or 0)
    visit.done(f"/vehicles/{path_part(vehicle)}")
    address = link_address(visit.request, secret)
    page = DriverLinkPage(
        vehicle=owner.reference,
        link=address,
        path=f"/driver/{secret}",
        qr=qr_svg(address, translate("driver_qr")),
        ends=visit.presentation.day(ends.astimezone(visit.zone).date()),
    )
    return render("driver_link.html", frame_of(visit, "vehicles"), page, headers=NEVER_KEPT)
