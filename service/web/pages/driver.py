"""The page behind a driver's link: type what the odometer shows. Nobody signs in, and nothing else is told."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Final

from fastapi import APIRouter, Path, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from service.domain.outcomes import ReadingOutcome
from service.errors import ConflictError, InvalidInputError, NotFoundError, ServiceError
from service.usecases.fleet.driver_links import OpenedLink, open_link
from service.usecases.fleet.render_driver_card import render_driver_card
from service.web.contexts import DriverPage
from service.web.forms import EMPTY, Form, FormState
from service.web.limits import limiter_of, source_of
from service.web.readings import read_reading, store_reading
from service.web.rendering import NEVER_KEPT, bare_frame, hand_out, render
from service.web.trust import form_token, require_own_origin, require_own_token
from service.web.visits import (
    SEE_OTHER,
    SentTwiceError,
    claim_form,
    database_of,
    now_of,
    status_of,
    with_query,
)

router = APIRouter()

Code = Annotated[str, Path(min_length=20, max_length=100)]
SOURCE: Final = "driver"
TOLD: Final = {
    ReadingOutcome.ACCEPTED: "driver_saved",
    ReadingOutcome.HELD: "driver_held",
    ReadingOutcome.DUPLICATE: "driver_twice",
}


@router.get("/driver/{code}")
def get_driver(request: Request, code: Code) -> Response:
    """Show the form of a link's vehicle."""
    return _show(request, code, EMPTY)


@router.get("/driver/{code}/card.pdf")
def get_card(request: Request, code: Code) -> Response:
    """Give the card to print for whoever has the link."""
    with database_of(request).snapshot() as session, _opened(request, session, code) as link:
        content, name = render_driver_card(link, link_address(request, code))
    return hand_out(content, name, NEVER_KEPT)


@router.post("/driver/{code}")
def post_driver(request: Request, code: Code, form: Form) -> Response:
    """Save a reading."""
    require_own_origin(request)
    here = f"/driver/{code}"
    try:
        with database_of(request).transaction() as session, _opened(request, session, code) as link:
            require_own_token(form, code)
            now = now_of(request)
            limiter_of(request).check_link_post(f"link {link.caller.token_id}", now)
            claim_form(session, link.caller, f"link {link.caller.token_id}", now, form)
            zone = link.organisation.zone
            row = read_reading(form, link.vehicle, zone, SOURCE, now)
            outcome = store_reading(session, link.caller, now, row)
        request.app.state.token_uses.note(link.caller.token_id, now)
        return RedirectResponse(with_query(here, told=TOLD[outcome]), SEE_OTHER, headers=NEVER_KEPT)
    except SentTwiceError:
        return RedirectResponse(with_query(here, told="again"), SEE_OTHER, headers=NEVER_KEPT)
    except (InvalidInputError, ConflictError) as error:
        return _show(request, code, FormState.after(form, error), error)


def link_address(request: Request, code: str) -> str:
    """Address of a link as it is handed out."""
    return f"{request.app.state.public_url}/driver/{code}"


@contextmanager
def _opened(request: Request, session: Session, code: str) -> Iterator[OpenedLink]:
    """Open a link; a source that keeps guessing is made to wait."""
    now, source, limiter = now_of(request), source_of(request), limiter_of(request)
    try:
        link = open_link(session, code, now, getattr(request.state, "request_id", None))
    except NotFoundError:
        limiter.slow_down(source, now)
        raise
    yield link


def _show(request: Request, code: str, form: FormState, error: ServiceError | None = None) -> Response:
    with database_of(request).snapshot() as session, _opened(request, session, code) as link:
        page = DriverPage(
            organisation=link.organisation.name,
            vehicle=link.vehicle.reference,
            unit=link.vehicle.odometer_unit,
            path=f"/driver/{code}",
            form=form,
        )
    frame = bare_frame(request, form_token(code))
    return render("driver.html", frame, page, status_of(error), NEVER_KEPT)
