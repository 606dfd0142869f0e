"""The OpenAPI document: what the framework writes of it, and what any operation may answer besides."""

from collections.abc import Iterator
from typing import Any, Final

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from service.api.problems import Problem, describe_problems

_IS_HELD: Final = {
    "description": "The client has it: If-None-Match names the entity tag of what it would get."
}
_UNUSED_SCHEMAS: Final = ("HTTPValidationError", "ValidationError")


def install_document(app: FastAPI) -> None:
    """Let an application give this document."""

    def describe() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = _document(app)
        return app.openapi_schema

    app.openapi = describe  # type: ignore[method-assign]


def _document(app: FastAPI) -> dict[str, Any]:
    document = get_openapi(
        title=app.title, version=app.version, summary=app.summary, routes=app.routes, openapi_version="3.1.0"
    )
    schemas = document.setdefault("components", {}).setdefault("schemas", {})
    problem = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas |= problem.pop("$defs", {}) | {"Problem": problem}
    for unused in _UNUSED_SCHEMAS:
        schemas.pop(unused, None)
    too_large = describe_problems(413)[413]
    for method, operation in _operations(document):
        answers = operation["responses"]
        if method == "get" and "401" in answers:
            answers["304"] = _IS_HELD
        if "requestBody" in operation:
            answers.setdefault("413", too_large)
    return document


def _operations(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for path in document["paths"].values():
        yield from path.items()
