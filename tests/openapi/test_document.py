"""The document names every route, and says of every operation what a client needs to know."""

from collections.abc import Iterator
from typing import Any

from fastapi.routing import APIRoute

from service.api.application import V1_ROUTERS

SIGNED = "receive_machine_message"
METHODS = {"get", "put", "post", "delete", "patch"}
LARGEST_INTEGER = 2**31 - 1
LARGEST_LONG = 2**63 - 1
"""What PostgreSQL's `integer` holds."""

BOUNDED_BY_ITS_NAME = {"terms"}
"""Planning terms: what a number may be depends on which of them it is (`tests/api/test_planning_terms.py`)."""

OPEN_DOCUMENTS = {"take_fleet_document", SIGNED}
"""Of outside standards, in which unknown parts are passed over."""


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


def _parts(document: dict[str, Any], schema: Any, way: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema within a schema, with the way to it."""
    if isinstance(schema, list):
        for one in schema:
            yield from _parts(document, one, way)
    elif isinstance(schema, dict):
        if "$ref" in schema:
            schema = document["components"]["schemas"][schema["$ref"].rsplit("/", 1)[-1]]
        yield way, schema
        for name, inner in schema.get("properties", {}).items():
            yield from _parts(document, inner, f"{way}/{name}")
        for word in ("anyOf", "oneOf", "allOf", "items", "additionalProperties", "propertyNames"):
            yield from _parts(document, schema.get(word), way)


def _sent(document):
    for _, _, facts in _operations(document):
        name = facts["operationId"]
        for parameter in facts.get("parameters", ()):
            for way, schema in _parts(document, parameter["schema"]):
                yield f"{name} {parameter['in']}/{parameter['name']}{way}", schema
        if name not in OPEN_DOCUMENTS:
            for kind, content in facts.get("requestBody", {}).get("content", {}).items():
                if kind == "application/json":
                    yield from (
                        (f"{name} {way}", schema) for way, schema in _parts(document, content["schema"])
                    )


def _lacks_a_bound(way: str, schema: dict[str, Any]) -> bool:
    kind = str(schema.get("type"))
    if kind in {"integer", "number"} and way.rsplit("/", 1)[-1] not in BOUNDED_BY_ITS_NAME:
        lowest = schema.get("minimum", schema.get("exclusiveMinimum"))
        largest = LARGEST_LONG if schema.get("format") == "int64" else LARGEST_INTEGER
        return lowest is None or lowest < -largest or schema.get("maximum", largest + 1) > largest
    if kind == "string":
        has_length = not set("+*") & set(schema.get("pattern", "*"))
        return not has_length and not {"maxLength", "enum", "const", "format"} & set(schema)
    if kind == "array":
        return "maxItems" not in schema
    return kind == "object" and not (schema.get("additionalProperties") is False or "propertyNames" in schema)


def test_everything_that_can_be_sent_has_bounds(document):
    """An integer beyond its column, a text beyond what a driver takes and an unknown field are refused at the door."""
    sent = list(_sent(document))
    assert len(sent) > 500
    assert [way for way, schema in sent if _lacks_a_bound(way, schema)] == []
