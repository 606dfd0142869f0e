"""Errors on pages: what the API would say in a problem document, said on a page in words."""

import inspect
import json
from collections.abc import Awaitable, Callable
from typing import Final, cast

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from service.errors import ServiceError
from service.web.catalogue import ENGLISH, tell, translate
from service.web.contexts import ProblemPage
from service.web.pages.sign_in import show_sign_in
from service.web.rendering import bare_frame, render
from service.web.visits import SEE_OTHER, SentTwiceError, SignInNeededError, with_query

Handler = Callable[[Request, Exception], Response | Awaitable[Response]]

API_PATHS: Final = ("/v1/", "/healthz", "/readyz", "/metrics")
_KEPT_HEADERS: Final = ("retry-after", "allow")


def install_failure_pages(app: FastAPI) -> None:
    """Let every error that a browser runs into be a page; programs keep their problem documents.

    The handlers that are installed already decide on status and sentence, so there is one table of both.
    """
    for error in (ServiceError, RequestValidationError, HTTPException, Exception):
        app.add_exception_handler(error, _page_or_problem(cast("Handler", app.exception_handlers[error])))
    app.add_exception_handler(SignInNeededError, _ask_to_sign_in)
    app.add_exception_handler(SentTwiceError, _lead_on)


def _page_or_problem(told: Handler) -> Callable[[Request, Exception], Awaitable[Response]]:
    async def handle(request: Request, error: Exception) -> Response:
        answer = told(request, error)
        response = await answer if inspect.isawaitable(answer) else answer
        return _page(request, response) if _is_for_a_browser(request) else response

    return handle


def _is_for_a_browser(request: Request) -> bool:
    wants_page = "text/html" in request.headers.get("accept", "")
    return wants_page and not request.url.path.startswith(API_PATHS)


def _page(request: Request, response: Response) -> Response:
    problem = json.loads(bytes(response.body))
    key = f"problem_{response.status_code}"
    page = ProblemPage(
        title=translate(key if key in ENGLISH else "problem_other"),
        detail=translate("problem_method") if response.status_code == 405 else tell(problem["detail"]),
        errors=tuple(tell(field["detail"]) for field in problem.get("errors", ())),
        request_number=problem.get("request_id", ""),
        retry_after=response.headers.get("retry-after", ""),
    )
    kept = {name: response.headers[name] for name in _KEPT_HEADERS if name in response.headers}
    return render("problem.html", bare_frame(request), page, response.status_code, kept)


def _ask_to_sign_in(request: Request, error: Exception) -> Response:
    assert isinstance(error, SignInNeededError)  # noqa: S101
    if error.posted is not None:
        return show_sign_in(request, posted=error.posted, status=401)
    path = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return RedirectResponse(with_query("/sign-in", next="" if path == "/" else path), SEE_OTHER)


def _lead_on(_request: Request, error: Exception) -> Response:
    assert isinstance(error, SentTwiceError)  # noqa: S101
    path, _, query = error.location.partition("?")
    rest = [part for part in query.split("&") if part and not part.startswith("told=")]
    return RedirectResponse(f"{path}?{'&'.join([*rest, 'told=again'])}", SEE_OTHER)
