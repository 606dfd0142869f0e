"""Set one's own password."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.errors import AuthenticationRequiredError, InvalidInputError, ServiceError
from service.usecases.access.sign_in import PASSWORD_CHARACTERS, change_password, has_password, open_session
from service.web.contexts import PasswordPage
from service.web.forms import EMPTY, Form, FormState, Posted
from service.web.limits import limiter_of, source_of
from service.web.pages.sign_in import with_session
from service.web.rendering import frame_of, render
from service.web.visits import Visit, doing, looking, now_of

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
            _change(visit, form)
            secret = open_session(visit.session, visit.now, visit.person)
            response = visit.done("/", told="password")
    except AuthenticationRequiredError as error:
        limiter_of(request).note_failure(source_of(request), now_of(request))
        return _refuse(request, form, error)
    except InvalidInputError as error:
        return _refuse(request, form, error)
    return with_session(request, response, secret)


def _change(visit: Visit, form: Posted) -> None:
    if has_password(visit.person):
        limiter_of(visit.request).check_failures(source_of(visit.request), visit.now)
    present, password = form.text("present_password"), form.text("password")
    change_password(visit.session, visit.caller, visit.now, visit.person, present, password)


def _refuse(request: Request, form: Posted, error: ServiceError) -> Response:
    state = FormState.after(form, error)
    return _show(request, FormState({}, state.errors, state.problem), 422)


def _show(request: Request, form: FormState, status: int = 200) -> Response:
    with looking(request) as visit:
        page = PasswordPage(
            login=visit.person.login,
            shortest=PASSWORD_CHARACTERS[0],
            has_password=has_password(visit.person),
            form=form,
        )
        return render("password.html", frame_of(visit), page, status)
