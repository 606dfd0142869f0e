"""The document names every route, and says of every operation what a client needs to know."""

import pytest
from fastapi.routing import APIRoute

from service.api.application import V1_ROUTERS
from tests.security.operations import STORES_NOTHING

METHODS = {"get", "put", "post", "delete", "patch"}


@pytest.fixture
def document(client):
    return client.app.openapi()


def _operations(document):
    return [
        (path, method, facts)
        for path, methods in document["paths"].items()
        for method, facts in methods.items()
        if method in METHODS
    ]


def test_every_route_of_the_api_stands_in_the_document(document):
    """OWASP API Security Top 10 (2023), API9: nothing is served that nobody knows of."""
    routes = {
        (f"/v1{route.path}", method.lower())
        for router in V1_ROUTERS
        for route in router.routes
        if isinstance(route, APIRoute)
        for method in route.methods
    }
    assert len(routes) > 50
    assert routes == {(path, method) for path, method, _ in _operations(document) if path.startswith("/v1/")}


def test_every_operation_has_an_id_and_a_summary_of_its_own(document):
    names = [facts["operationId"] for _, _, facts in _operations(document)]
    assert len(names) == len(set(names))
    assert [path for path, _, facts in _operations(document) if not facts.get("summary")] == []


def test_every_refusal_is_a_problem_document(document):
    """RFC 9457."""
    wrong = [
        f"{method} {path} {status}"
        for path, method, facts in _operations(document)
        for status, answer in facts["responses"].items()
        if status[0] in "45" and list(answer.get("content", {})) != ["application/problem+json"]
    ]
    assert wrong == []


def test_every_write_takes_a_key_against_doubling(document):
    without = [
        facts["operationId"]
        for path, method, facts in _operations(document)
        if method == "post"
        and facts.get("security")
        and facts["operationId"] not in STORES_NOTHING
        and "Idempotency-Key" not in {parameter["name"] for parameter in facts.get("parameters", ())}
    ]
    assert without == []
