"""People and tokens."""

from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from service.domain.plausibility import TOKEN_DAYS
from service.domain.roles import Role, Scope
from service.errors import ConflictError, InvalidInputError, ServiceError
from service.store.repositories import access
from service.store.repositories import people as people_rows
from service.usecases.access.manage_people import add_person, change_role, disable_person, invite_again
from service.usecases.access.manage_tokens import create_token, revoke_token
from service.web.catalogue import tell
from service.web.forms import EMPTY, Form, FormReader, FormState, Posted
from service.web.rendering import NEVER_KEPT, frame_of, render
from service.web.views.settings import people_page, tokens_page
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

PersonPath = Annotated[str, Path(pattern=r"^per_[0-9]{1,19}$")]
TokenPath = Annotated[str, Path(pattern=r"^tok_[0-9]{1,19}$")]


@router.get("/settings/people")
def get_people(request: Request) -> Response:
    """Show everybody."""
    return _show_people(request, EMPTY)


@router.post("/settings/people")
def post_person(request: Request, form: Form) -> Response:
    """Add somebody and show their link, once."""
    try:
        with doing(request, form) as visit:
            reader = FormReader(form)
            login, name = reader.line("login"), reader.line("name", maximum=80)
            role = reader.choice("role", Role, Role.MECHANIC)
            reader.finish()
            person, code = add_person(visit.session, visit.caller, visit.now, login, name, role)
            return _with_link(visit, code, person.login)
    except (InvalidInputError, ConflictError) as error:
        return _show_people(request, FormState.after(form, error), error)


@router.post("/settings/people/{person}")
def post_change(request: Request, person: PersonPath, form: Form) -> Response:
    """Change a role, make another link, or shut somebody out."""
    try:
        with doing(request, form) as visit:
            return _change(visit, person, form)
    except (InvalidInputError, ConflictError) as error:
        return _show_people(request, FormState({}, {}, tell(error.detail)), error)


@router.get("/settings/tokens")
def get_tokens(request: Request) -> Response:
    """Show the tokens."""
    return _show_tokens(request, EMPTY)


@router.post("/settings/tokens")
def post_token(request: Request, form: Form) -> Response:
    """Make a token and show its secret, once."""
    try:
        with doing(request, form) as visit:
            reader = FormReader(form)
            name = reader.line("name", maximum=80)
            scopes = [scope for scope in Scope if reader.flag(f"scope-{scope}")]
            days = reader.optional_number("days", TOKEN_DAYS)
            vehicle = reader.optional_line("vehicle", maximum=40)
            reader.finish()
            _, secret = create_token(
                visit.session,
                visit.caller,
                visit.now,
                name,
                scopes,
                expires_at=None if days is None else visit.now + timedelta(days=days),
                vehicle=vehicle,
            )
            visit.done("/settings/tokens")
            rows = access.list_tokens(visit.session, visit.caller.organisation_id)
            page = tokens_page(rows, visit.presentation, visit.zone, EMPTY, secret)
            return render("tokens.html", frame_of(visit, "settings"), page, headers=NEVER_KEPT)
    except (InvalidInputError, ConflictError) as error:
        return _show_tokens(request, FormState.after(form, error), error)


@router.post("/settings/tokens/{token}")
def post_revoke(request: Request, token: TokenPath, form: Form) -> Response:
    """Revoke a token."""
    with doing(request, form) as visit:
        revoke_token(visit.session, visit.caller, visit.now, token)
        return visit.done("/settings/tokens", told="token_revoked")


def _change(visit: Visit, reference: str, posted: Posted) -> Response:
    step = posted.text("do")
    if step == "role":
        reader = FormReader(posted)
        role = reader.choice("role", Role, Role.VIEWER)
        reader.finish()
        change_role(visit.session, visit.caller, visit.now, reference, role)
        return visit.done("/settings/people", told="role")
    if step == "disable":
        disable_person(visit.session, visit.caller, visit.now, reference)
        return visit.done("/settings/people", told="shut_out")
    if step == "invite":
        person, code = invite_again(visit.session, visit.caller, visit.now, reference)
        return _with_link(visit, code, person.login)
    raise InvalidInputError("Press one of the buttons of the page.")


def _with_link(visit: Visit, code: str, login: str) -> Response:
    visit.done("/settings/people")
    link = f"{visit.request.app.state.public_url}/sign-in/{code}"
    rows = people_rows.list_people(visit.session, visit.caller.organisation_id)
    page = people_page(rows, visit.person.id, EMPTY, link, login)
    return render("people.html", frame_of(visit, "settings"), page, headers=NEVER_KEPT)


def _show_people(request: Request, form: FormState, error: ServiceError | None = None) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.ADMIN)
        rows = people_rows.list_people(visit.session, visit.caller.organisation_id)
        page = people_page(rows, visit.person.id, form)
        return render("people.html", frame_of(visit, "settings"), page, status_of(error))


def _show_tokens(request: Request, form: FormState, error: ServiceError | None = None) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.ADMIN)
        rows = access.list_tokens(visit.session, visit.caller.organisation_id)
        page = tokens_page(rows, visit.presentation, visit.zone, form)
        return render("tokens.html", frame_of(visit, "settings"), page, status_of(error))
