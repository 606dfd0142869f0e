"""The document names every route, and says of every operation what a client needs to know."""

import pytest
from fastapi.routing import APIRoute

from service.api.application import V1_ROUTERS

SIGNED = "receive_machine_message"
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


def test_every_post_takes_a_key_against_doubling(document):
    """A webhook's sender signs the id of its message, which is the key (Standard Webhooks, webhook-id)."""
    keys = {
        facts["operationId"]: {parameter["name"]: parameter for parameter in facts.get("parameters", ())}
        for _, method, facts in _operations(document)
        if method == "post"
    }
    assert [name for name, headers in keys.items() if "Idempotency-Key" not in headers] == [SIGNED]
    assert "takes the place of an Idempotency-Key" in keys[SIGNED]["webhook-id"]["description"]


def test_a_key_of_wrong_form_is_refused_where_none_is_needed_too(operator):
    body = {"kind": "automatic_transmission_heavy", "class": "bus"}
    for key, status in (("k1", 200), ("", 422), ("a key", 422), ("k" * 256, 422)):
        answer = operator.post("/v1/policies", body, headers={"Idempotency-Key": key})
        assert answer.status_code == status, (key, answer.text)
