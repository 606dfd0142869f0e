"""Every error path answers with an RFC 9457 problem document; this is the only table of HTTP statuses."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any, Final

import structlog
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.routing import Match

from service import errors
from service.api.answers import address_of
from service.api.head_requests import GET, HEAD
from service.api.secret_paths import loggable_path

log = structlog.get_logger("api")

MEDIA_TYPE: Final = "application/problem+json"
METHODS: Final = ("DELETE", "GET", "PATCH", "POST", "PUT")

STATUS_BY_ERROR: Final[Mapping[type[errors.ServiceError], int]] = {
    errors.InvalidInputError: 422,
    errors.PayloadTooLargeError: 413,
    errors.AuthenticationRequiredError: 401,
    errors.PermissionDeniedError: 403,
    errors.NotFoundError: 404,
    errors.ConflictError: 409,
    errors.DuplicateError: 409,
    errors.StaleVersionError: 412,
    errors.StateTransitionError: 409,
    errors.RequestInProgressError: 409,
    errors.InsufficientDataError: 409,
    errors.RateLimitedError: 429,
    errors.UnavailableError: 503,
    errors.UpstreamError: 502,
    errors.UpstreamTimeoutError: 504,
    errors.UpstreamBusyError: 502,
    errors.ReceiverGoneError: 502,
    errors.EngineError: 500,
    errors.ConvergenceError: 500,
    errors.NonFiniteResultError: 500,
}


class ProblemField(BaseModel):
    """One thing wrong in what was sent."""

    pointer: str = Field(description="JSON pointer, column or parameter.", examples=["/readings/3/odometer"])
    detail: str = Field(description="What is wrong and what to do.", examples=["must be 0 or more"])


class Problem(BaseModel):
    """Problem document (RFC 9457)."""

    type: str = Field(examples=["/problems/invalid-input"])
    title: str = Field(examples=["Unprocessable Entity"])
    status: int = Field(examples=[422])
    detail: str = Field(examples=["One field cannot be right."])
    instance: str | None = Field(default=None, examples=["/v1/readings"])
    request_id: str | None = None
    errors: list[ProblemField] = Field(default_factory=list)


def describe_problems(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """OpenAPI entries for the errors that a route can answer with; the ones that any route has are added."""
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return {
        status: {"description": HTTPStatus(status).phrase, "content": content}
        for status in sorted({*statuses, 400, 401, 403, 429, 503})
    }


def render_problem(
    request: Request,
    status: int,
    detail: str,
    code: str = "about:blank",
    fields: tuple[errors.FieldError, ...] = (),
    headers: Mapping[str, str] | None = None,
    extra: Mapping[str, Any] | None = None,
) -> Response:
    """Build the answer; nothing the client sent is echoed, so nothing it sent can break it."""
    problem = Problem(
        type=code if code == "about:blank" else f"/problems/{code}",
        title=HTTPStatus(status).phrase,
        status=status,
        detail=detail,
        instance=address_of(request),
        request_id=getattr(request.state, "request_id", None),
        errors=[ProblemField(pointer=field.pointer, detail=field.detail) for field in fields],
    )
    content = problem.model_dump(exclude_none=True) | dict(extra or {})
    return JSONResponse(content, status, headers=dict(headers or {}), media_type=MEDIA_TYPE)


def _on_service_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, errors.ServiceError)  # noqa: S101
    status = STATUS_BY_ERROR[type(error)]
    headers: dict[str, str] = {}
    if isinstance(error, errors.AuthenticationRequiredError):
        headers["WWW-Authenticate"] = 'Bearer realm="sumpwise"'
    if isinstance(error, errors.RateLimitedError | errors.UnavailableError):
        headers["Retry-After"] = str(error.retry_after_seconds)
    detail = error.detail
    if status >= 500:
        log.error("request_failed", code=error.code, path=loggable_path(request.url.path), exc_info=error)
        if isinstance(error, errors.EngineError):
            detail = "The computation failed; the request id helps to find out why."
    return render_problem(request, status, detail, error.code, error.errors, headers)


def _on_validation_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101
    fields = tuple(
        errors.FieldError(pointer=_pointer(item["loc"]), detail=told_of_field(item["type"], str(item["msg"])))
        for item in error.errors()[:100]
    )
    if any(item["type"] == "json_invalid" for item in error.errors()):
        return render_problem(request, 400, "The body is not valid JSON.", "invalid-json", fields)
    count = "One field" if len(fields) == 1 else f"{len(fields)} fields"
    return render_problem(request, 422, f"{count} cannot be right; see errors.", "invalid-input", fields)


def told_of_field(kind: str, message: str) -> str:
    """What is wrong with a field, without the library's own words around ours."""
    if kind == "extra_forbidden":
        return "There is no such field here; check its name."
    if kind == "missing":
        return "Must be given."
    return message.removeprefix("Value error, ")[:200]


def _pointer(location: tuple[int | str, ...]) -> str:
    """JSON pointer into the body, or `query/limit` and the like for other places."""
    place, *rest = location
    path = "/".join(str(part).replace("~", "~0").replace("/", "~1")[:80] for part in rest)
    text = f"/{path}" if place == "body" else f"{place}/{path}"
    return text.encode("ascii", "replace").decode()


def _on_http_exception(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101
    detail = {404: "No such address.", 405: "This address does not take that method."}.get(
        error.status_code, str(error.detail)
    )
    headers = dict(error.headers or {})
    if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        headers["Allow"] = ", ".join(_methods_of(request))
    return render_problem(request, error.status_code, detail, headers=headers)


def _methods_of(request: Request) -> list[str]:
    """Every method that an address takes; the router itself names those of the first route only (RFC 9110, 10.2.1)."""
    taken = [
        method
        for method in METHODS
        if any(
            route.matches({**request.scope, "method": method})[0] is Match.FULL
            for route in request.app.routes
        )
    ]
    return [*taken, HEAD] if GET in taken else taken


def _on_anything_else(request: Request, error: Exception) -> Response:
    log.error("unexpected_error", path=loggable_path(request.url.path), exc_info=error)
    return render_problem(
        request, 500, "Something went wrong on our side; the request id helps to find out what."
    )


def install_problem_handlers(app: FastAPI) -> None:
    """Let every error path of the application answer with a problem document."""
    app.add_exception_handler(errors.ServiceError, _on_service_error)
    app.add_exception_handler(RequestValidationError, _on_validation_error)
    app.add_exception_handler(HTTPException, _on_http_exception)
    app.add_exception_handler(Exception, _on_anything_else)
