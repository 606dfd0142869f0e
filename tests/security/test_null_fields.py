"""Null in every field that the document declares, named in an example or not: refused, or read back without harm."""

from collections.abc import Iterator
from typing import Any

import pytest

from tests.security.operations import OF_ANOTHER_FORMAT, OPENED_BY_THEIR_ADDRESS, Operation, resolve
from tests.security.world import World, found_world, send

JSON = "application/json"


@pytest.fixture
def world(operator, operations) -> World:
    return found_world(operator, operations)


def _fields(document: dict[str, Any], schema: dict[str, Any]) -> list[str]:
    choices = [schema, *schema.get("anyOf", ())]
    return [name for one in choices for name in resolve(document, one).get("properties", {})]


def _bodies(document: dict[str, Any], world: World, operation: Operation) -> Iterator[tuple[str, Any]]:
    """A change that says null alone; something new with null in one place."""
    whole = world.body(operation, JSON)
    is_change = operation.method in {"patch", "put"}
    for name in _fields(document, operation.schemas[JSON]):
        yield f"{operation.operation_id} {name}", ({} if is_change else dict(whole or {})) | {name: None}


def test_null_is_refused_or_does_no_harm(world, operations, document):
    wrong: list[str] = []
    n_cases = 0
    reads = {
        name: one
        for name, one in operations.items()
        if one.method == "get" and name not in OPENED_BY_THEIR_ADDRESS
    }
    for operation in operations.values():
        if JSON not in operation.bodies or operation.operation_id in OF_ANOTHER_FORMAT:
            continue
        for case, body in _bodies(document, world, operation):
            n_cases += 1
            answer = send(world.operator, operation, world, body=body)
            if answer.status_code >= 500:
                wrong.append(f"{case}: {answer.status_code}")
    for name, operation in reads.items():
        answer = send(world.operator, operation, world)
        if answer.status_code >= 300:
            wrong.append(f"poisoned: {name} {answer.status_code} {answer.text[:300]}")
    assert wrong == []
    assert n_cases > 150
