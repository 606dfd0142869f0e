"""Set one's own password."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.errors import InvalidInputError
from service.usecases.access.sign_in import PASSWORD_CHARACTERS, open_session, set_password
from service.web.contexts import PasswordPage
from service.web.forms import EMPTY, Form, FormState
from service.web.pages.sign_in import with_session
from service.web.rendering import frame_of, render
from service.web.visits import doing, looking

router = APIRouter()


@router.get("/password")
def get_password(request: Request) -> Response:
    """Ask for a new password."""
    return _show(request, EMPTY)


@router.post("/password")
def post_password(request: Request, form: Form) -> Response:
    """Set it; this browser stays signed in, the others do not."""
    try:
        with doing(request, form) as visit:
            set_password(visit.session, visit.caller, visit.now, visit.person, form.text("password"))
            secret = open_session(visit.session, visit.now, visit.person)
            response = visit.done("/", told="password")
    except InvalidInputError as error:
        return _show(request, FormState({}, FormState.after(form, error).errors, error.detail), 422)
    return with_session(request, response, secret)


def _show(request: Request, form: FormState, status: int = 200) -> Response:
    with looking(request) as visit:
        page = PasswordPage(login=visit.person.login, shortest=PASSWORD_CHARACTERS[0], form=form)
        return render("password.html", frame_of(visit), page, status)
