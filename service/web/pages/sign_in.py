"""Sign in with a password or a one-time link, and sign out."""

import secrets
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from service.errors import AuthenticationRequiredError
from service.usecases.access import sign_in as usecase
from service.web.catalogue import translate
from service.web.contexts import KeptField, KeptPage, LinkPage, SecretField, SignInPage
from service.web.forms import CARRIED_FIELD, SECRET_FIELDS, Form, FormState, Posted
from service.web.kept_labels import kept_label
from service.web.limits import limiter_of, source_of
from service.web.rendering import bare_frame, render
from service.web.trust import Carried, carry, form_token, require_own_origin, require_own_token, uncarry
from service.web.visits import (
    SEE_OTHER,
    cookie_name,
    database_of,
    doing,
    is_secure,
    now_of,
    with_query,
)

router = APIRouter()

FORM_COOKIE: Final = "sumpwise_form"
"""Holds a secret for the forms of somebody who is not signed in."""

LONG_VALUE: Final = 80

CLEAR_CACHE: Final = {"Clear-Site-Data": '"cache"'}
"""Asks the browser to forget our pages, else its back button shows them to whoever is next (W3C Clear Site Data)."""


@router.get("/sign-in")
def get_sign_in(request: Request, next: str = "") -> Response:
    """Ask for login and password."""
    return show_sign_in(request, next_path=_own_path(next))


@router.post("/sign-in")
def post_sign_in(request: Request, form: Form) -> Response:
    """Check login and password."""
    _require_ours(request, form)
    now, source = now_of(request), source_of(request)
    limiter = limiter_of(request)
    limiter.check_failures(source, now)
    try:
        login = form.text("login").strip()
        with database_of(request).snapshot() as session:
            fitted = usecase.check_password(session, login, form.text("password"))
        with database_of(request).transaction() as session:
            _, secret = usecase.sign_in(session, now, login, fitted)
    except AuthenticationRequiredError:
        limiter.note_failure(source, now)
        state = FormState({"login": form.text("login")}, {}, translate("sign_in_failed"))
        return show_sign_in(
            request,
            state,
            next_path=_own_path(form.text("next")),
            carried=form.text(CARRIED_FIELD),
            status=422,
        )
    kept = uncarry(request.app.state.signing_key, form.text(CARRIED_FIELD), now)
    if kept is not None:
        return with_session(request, _show_kept(request, kept, secret), secret)
    onward = RedirectResponse(_own_path(form.text("next")) or "/", SEE_OTHER)
    return with_session(request, onward, secret)


@router.get("/sign-in/{code}")
def get_link(request: Request, code: str) -> Response:
    """Show a one-time link without using it up: programs that look links up in advance only look."""
    seed = request.cookies.get(FORM_COOKIE) or secrets.token_urlsafe(16)
    response = render("link.html", bare_frame(request, form_token(seed)), LinkPage(code=code[:100]))
    return _with_cookie(request, response, FORM_COOKIE, seed)


@router.post("/sign-in/{code}")
def post_link(request: Request, code: str, form: Form) -> Response:
    """Use a one-time link up."""
    _require_ours(request, form)
    now, source = now_of(request), source_of(request)
    limiter = limiter_of(request)
    limiter.check_failures(source, now)
    try:
        with database_of(request).transaction() as session:
            _, secret = usecase.sign_in_with_code(session, now, code)
    except AuthenticationRequiredError:
        limiter.note_failure(source, now)
        raise
    onward = with_query("/", told="no_password")
    return with_session(request, RedirectResponse(onward, SEE_OTHER), secret)


@router.post("/sign-out")
def post_sign_out(request: Request, form: Form) -> Response:
    """Sign out at this browser."""
    with doing(request, form) as visit:
        usecase.sign_out(visit.session, visit.secret)
        response = RedirectResponse("/sign-in?told=signed_out", SEE_OTHER, CLEAR_CACHE)
    response.delete_cookie(cookie_name(request), secure=is_secure(request), httponly=True, samesite="lax")
    return response


def show_sign_in(
    request: Request,
    form: FormState | None = None,
    *,
    next_path: str = "",
    carried: str = "",
    posted: Posted | None = None,
    status: int = 200,
) -> Response:
    """Show the sign-in form, with what was posted packed into it."""
    seed = request.cookies.get(FORM_COOKIE) or secrets.token_urlsafe(16)
    if posted is not None:
        carried = carry(request.app.state.signing_key, posted, now_of(request))
    page = SignInPage(
        form=form or FormState(),
        next_path=next_path,
        carried=carried,
        is_kept=carried != "",
        is_lost=posted is not None and not carried,
    )
    response = render("sign_in.html", bare_frame(request, form_token(seed)), page, status)
    return _with_cookie(request, response, FORM_COOKIE, seed)


def _show_kept(request: Request, kept: Carried, secret: str) -> Response:
    """Show what was typed before, ready to be sent under the new session; secrets are asked for again."""
    fields = tuple(
        KeptField(
            name=name,
            label=kept_label(name),
            value=value,
            is_long="\n" in value or len(value) > LONG_VALUE,
        )
        for name, value in kept.posted.typed.items()
    )
    again = tuple(
        SecretField(name=name, label=kept_label(name), is_hidden=name in SECRET_FIELDS) for name in kept.again
    )
    page = KeptPage(path=_own_path(kept.posted.path) or "/", fields=fields, again=again)
    return render("kept.html", bare_frame(request, form_token(secret)), page)


def _require_ours(request: Request, form: Posted) -> None:
    require_own_origin(request)
    require_own_token(form, request.cookies.get(FORM_COOKIE, secrets.token_hex(16)))


def _own_path(path: str) -> str:
    """Path of ours, or nothing: an address elsewhere could look like a page of this service."""
    is_ours = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable()
    return path if is_ours and len(path) <= 2000 else ""


def with_session(request: Request, response: Response, secret: str) -> Response:
    """Let the browser hold a session."""
    return _with_cookie(request, response, cookie_name(request), secret)


def _with_cookie(request: Request, response: Response, name: str, value: str) -> Response:
    response.set_cookie(
        name,
        value,
        max_age=int(usecase.SESSION_LASTS.total_seconds()),
        path="/",
        secure=is_secure(request),
        httponly=True,
        samesite="lax",
    )
    return response
