"""Every operation of the service as its OpenAPI document tells it; what is tested is generated from this."""

import copy
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

METHODS = ("get", "put", "post", "delete", "patch", "options", "head", "trace")
OPERATORS_OWN = {"get_health", "get_liveness", "get_readiness", "get_version", "get_metrics"}
OPENED_BY_THEIR_ADDRESS = {"get_calendar", "ask_unsubscribe", "unsubscribe"}
"""A long secret stands in the address, for programs and people that cannot send a header."""

OPENED_BY_A_SIGNATURE = {"receive_machine_message"}
"""The secret of a source signs what is sent; `tests/api/test_machine_messages.py` looks after it."""

OF_ANOTHER_FORMAT = {"take_fleet_document"}
"""Takes documents of an outside standard, in which unknown parts are passed over; what is in them is looked after by
`tests/domain/test_fleet_documents.py`."""

STORES_NOTHING = {"plan_exchange", "plan_policy"}
"""A question too long for an address; whoever may read may ask it."""

FOR_ADMINISTRATORS = {
    "add_machine_source",
    "change_machine_source",
    "change_organisation",
    "create_token",
    "end_machine_source",
    "end_subscription",
    "get_calendar_feed",
    "get_subscription",
    "list_calendar_feeds",
    "list_changes",
    "list_deliveries",
    "list_subscriptions",
    "list_tokens",
    "make_calendar_feed",
    "pull_machine_source",
    "retry_delivery",
    "revoke_calendar_feed",
    "revoke_token",
    "rotate_machine_source_secret",
    "rotate_subscription_secret",
    "rotate_token",
    "subscribe",
}
"""Who may do what, who is told, who may send; nobody without that scope, whatever else he may do."""

OPEN_TO_ALL = OPERATORS_OWN | OPENED_BY_THEIR_ADDRESS | OPENED_BY_A_SIGNATURE
"""Operations that ask for no token; a new one has to be entered here by somebody who means it."""


@dataclass(frozen=True, slots=True)
class Operation:
    """One method of one path."""

    operation_id: str
    method: str
    path: str
    parameters: tuple[Mapping[str, Any], ...]
    bodies: Mapping[str, Any]
    """An example by media type; None where a body is optional and has no example."""

    schemas: Mapping[str, Any]
    is_secured: bool
    needs_body: bool

    @property
    def is_write(self) -> bool:
        return self.method != "get" and self.operation_id not in STORES_NOTHING

    def names_in(self, place: str) -> list[str]:
        """Names of the parameters in a path or query."""
        return [parameter["name"] for parameter in self.parameters if parameter["in"] == place]


def operations_of(document: Mapping[str, Any]) -> list[Operation]:
    """Every operation, those that end something last."""
    found = [
        Operation(
            operation_id=facts["operationId"],
            method=method,
            path=path,
            parameters=tuple(facts.get("parameters", ())),
            bodies={kind: _example(document, content) for kind, content in _contents(facts)},
            schemas={kind: content.get("schema", {}) for kind, content in _contents(facts)},
            is_secured=bool(facts.get("security")),
            needs_body=bool(facts.get("requestBody", {}).get("required")),
        )
        for path, methods in document["paths"].items()
        for method, facts in methods.items()
        if method in METHODS
    ]
    return sorted(found, key=lambda one: one.method == "delete")


def _contents(facts: Mapping[str, Any]) -> list[tuple[str, Mapping[str, Any]]]:
    return list(facts.get("requestBody", {}).get("content", {}).items())


def _example(document: Mapping[str, Any], content: Mapping[str, Any]) -> Any:
    if "example" in content:
        return content["example"]
    schema = resolve(document, content.get("schema", {}))
    for choice in [schema, *schema.get("anyOf", ())]:
        examples = resolve(document, choice).get("examples")
        if examples:
            return copy.deepcopy(examples[0])
    return None


def resolve(document: Mapping[str, Any], schema: Mapping[str, Any]) -> Mapping[str, Any]:
    """Follow a reference within the document."""
    while "$ref" in schema:
        schema = document["components"]["schemas"][schema["$ref"].rsplit("/", 1)[-1]]
    return schema


def leaves(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """Every single value in an example, with the way to it."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from leaves(inner, (*path, name))
    elif isinstance(value, list):
        for place, inner in enumerate(value):
            yield from leaves(inner, (*path, place))
    else:
        yield path, value


def with_leaf(value: Any, path: tuple[str | int, ...], new: Any) -> Any:
    """A copy in which one value is another."""
    if not path:
        return new
    copied = copy.copy(value)
    copied[path[0]] = with_leaf(value[path[0]], path[1:], new)
    return copied
