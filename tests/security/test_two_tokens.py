"""Two organisations, every operation of the document: nobody reads, changes, points at or learns of another's things.

OWASP ASVS 5.0: 8.2.1, 8.2.2, 8.4.1, 8.2.3, 7.2.3; OWASP API Security Top 10 (2023): API1, API2, API3, API5.
"""

from collections.abc import Callable
from datetime import timedelta
from itertools import count
from typing import Any

import pytest
from sqlalchemy import select

from service.domain.external_ids import looks_like_an_id
from service.domain.roles import Scope
from service.store.repositories.access import hash_secret
from service.store.tables.access import Token
from service.store.tables.all import SQLModel
from tests.security.operations import FOR_ADMINISTRATORS, OF_ANOTHER_FORMAT, OPEN_TO_ALL, Operation
from tests.security.world import MARK, World, found_world, send
from tests.service_fixtures import START, Operator

NOT_DATA = {"idempotency_key", "token"}


@pytest.fixture
def world(operator: Operator, operations: dict[str, Operation]) -> World:
    return found_world(operator, operations)


@pytest.fixture
def everything(database, operator) -> Callable[[], dict[str, list[tuple[Any, ...]]]]:
    """Read every row that belongs to the watched organisation."""

    def read() -> dict[str, list[tuple[Any, ...]]]:
        rows = {}
        with database.engine.connect() as connection:
            for table in SQLModel.metadata.sorted_tables:
                if "organisation_id" in table.c and table.name not in NOT_DATA:
                    query = select(table).where(table.c.organisation_id == operator.organisation_id)
                    rows[table.name] = [
                        tuple(row) for row in connection.execute(query.order_by(*table.primary_key))
                    ]
        return rows

    return read


def _bodies(world: World, operation: Operation) -> list[tuple[str, Any]]:
    """What to send: every kind of body, once with names and once with ids."""
    if not operation.bodies:
        return [("application/json", None)]
    found = []
    for kind in operation.bodies:
        body = world.body(operation, kind)
        found.append((kind, body))
        if isinstance(body, dict) and set(body) & set(world.ids):
            found.append((kind, {**body, **{key: world.ids[key] for key in body if key in world.ids}}))
    return found


def _is_pointer(text: str) -> bool:
    return MARK in text or looks_like_an_id(text)


def _to_nowhere(numbers: "count[int]") -> Callable[[str], str]:
    """Replace what points at something by what points at nothing."""

    def change(text: str) -> str:
        if not _is_pointer(text):
            return text
        number = next(numbers)
        return (
            f"{text[:4]}99999{number:04d}" if looks_like_an_id(text) else text.replace(MARK, f"Nil{number}")
        )

    return change


def _shape(answer: Any) -> tuple[Any, ...]:
    """What an answer lets its reader learn, apart from the words he sent himself."""
    if answer.status_code < 400:
        return (answer.status_code,)
    body = answer.json()
    pointers = [error["pointer"] for error in body.get("errors", [])]
    return answer.status_code, body["type"], body["title"], pointers


def test_nobody_touches_or_learns_of_another_organisation_s_things(world, operations, join, everything):
    numbers = count()
    wrong: list[str] = []
    for name, operation in operations.items():
        if not operation.is_secured:
            continue
        before = everything()
        for kind, body in _bodies(world, operation):
            stranger = join(f"Stranger {next(numbers)}")
            theirs = send(stranger, operation, world, body=body, kind=kind)
            nowhere = send(
                join(f"Stranger {next(numbers)}"),
                operation,
                world,
                body=body,
                kind=kind,
                change=_to_nowhere(numbers),
            )
            points = any(
                _is_pointer(world.path_value(operation, part)) for part in operation.names_in("path")
            )
            if points and theirs.status_code not in {404, 422}:
                wrong.append(f"{name}: {theirs.status_code} for a stranger")
            if _shape(theirs) != _shape(nowhere):
                wrong.append(f"{name}: told apart: {_shape(theirs)} {_shape(nowhere)}")
            if body is None and theirs.status_code < 400 and MARK in theirs.text:
                wrong.append(f"{name}: shows a stranger what is not his")
        if everything() != before:
            wrong.append(f"{name}: changed by a stranger")
        wrong += _prove(world, operation)
    assert wrong == []


def _prove(world: World, operation: Operation) -> list[str]:
    """The owner's own call must succeed, or all the refusals before it prove nothing."""
    kind, body = _bodies(world, operation)[0]
    answer = send(world.operator, operation, world, body=body, kind=kind)
    if answer.status_code < 300:
        return []
    return [f"{operation.operation_id}: not proven by its owner: {answer.status_code} {answer.text[:200]}"]


def test_a_token_that_may_only_read_writes_nothing(world, operations, database, everything):
    reader = _with_token(database, world.operator, scopes=[Scope.READ])
    before, wrong = everything(), []
    for name, operation in operations.items():
        is_tried = operation.is_write and name not in OPEN_TO_ALL
        for kind, body in _bodies(world, operation)[:1] if is_tried else ():
            answer = send(reader, operation, world, body=body, kind=kind)
            if answer.status_code != 403 or answer.headers["content-type"] != "application/problem+json":
                wrong.append(f"{name}: {answer.status_code}")
    assert wrong == []
    assert everything() == before


def test_whoever_may_do_everything_but_administer_does_not_administer(
    world, operations, database, everything
):
    member = _with_token(
        database, world.operator, scopes=[scope for scope in Scope if scope is not Scope.ADMIN]
    )
    wrong = []
    for name in sorted(FOR_ADMINISTRATORS):
        before = everything()
        kind, body = _bodies(world, operations[name])[0]
        answer = send(member, operations[name], world, body=body, kind=kind)
        if answer.status_code != 403 or everything() != before:
            wrong.append(f"{name}: {answer.status_code}")
    for name, operation in operations.items():
        if operation.is_secured and name not in FOR_ADMINISTRATORS:
            kind, body = _bodies(world, operation)[0]
            if send(member, operation, world, body=body, kind=kind).status_code == 403:
                wrong.append(f"{name}: is for administrators as well")
    assert wrong == []


@pytest.mark.parametrize("scope", [scope for scope in Scope if scope is not Scope.READ])
def test_a_token_that_may_not_read_is_shown_nothing(world, operations, database, scope):
    blind = _with_token(database, world.operator, scopes=[scope])
    shown = [
        name
        for name, operation in operations.items()
        if operation.is_secured
        and not operation.is_write
        and send(blind, operation, world).status_code == 200
    ]
    assert [name for name in shown if scope is not Scope.ADMIN] == []


def test_every_operation_asks_for_a_sound_token(world, operations, database, everything):
    secret = world.operator.secret
    expired = _with_token(database, world.operator, expires_at=START - timedelta(seconds=1))
    revoked = _with_token(database, world.operator, revoked_at=START - timedelta(days=1))
    attempts: list[dict[str, str]] = [
        {},
        {"Authorization": f"Bearer {secret[:-1]}"},
        {"Authorization": f"Bearer {secret}x"},
        {"Authorization": "Bearer \u00fc\u00df"},
        {"Authorization": f"Basic {secret}"},
        {"Authorization": "Bearer"},
        {"X-Api-Key": secret},
        expired.headers,
        revoked.headers,
    ]
    before, wrong = everything(), []
    for name, operation in operations.items():
        for headers in attempts if name not in OPEN_TO_ALL else ():
            sent = {key: value.encode() for key, value in headers.items()}
            kind, body = _bodies(world, operation)[0]
            answer = send(world.operator, operation, world, body=body, kind=kind, headers=sent)
            if answer.status_code != 401 or "Bearer" not in answer.headers.get("www-authenticate", ""):
                wrong.append(f"{name}: {answer.status_code} for {headers}")
    assert wrong == []
    assert everything() == before


def test_operations_without_a_token_are_the_ones_that_are_meant_to_be(operations):
    assert {name for name, operation in operations.items() if not operation.is_secured} <= OPEN_TO_ALL


def test_revoking_works_on_the_next_call(database, operator):
    other = _with_token(database, operator)
    assert other.get("/v1/vehicles").status_code == 200
    with database.transaction() as session:
        row = session.exec(select(Token).where(Token.secret_hash == hash_secret(other.secret))).scalar_one()
        row.revoked_at = START
    assert other.get("/v1/vehicles").status_code == 401


def test_a_body_cannot_say_whose_it_is_or_what_the_service_decides(world, operations, everything):
    wrong = []
    for name, operation in operations.items():
        body = world.body(operation, "application/json") if "application/json" in operation.bodies else None
        if not isinstance(body, dict) or name in OF_ANOTHER_FORMAT:
            continue
        for field in ("organisation_id", "id", "created_at", "version", "scope", "role"):
            before = everything()
            answer = send(world.operator, operation, world, body={**body, field: 1})
            if answer.status_code != 422 or everything() != before:
                wrong.append(f"{name}: {field} gives {answer.status_code}")
    assert wrong == []


def _with_token(database, operator: Operator, **facts: Any) -> Operator:
    """The same organisation with another token."""
    secret = f"other-secret-{id(facts)}-{len(facts)}-{facts}"[:60]
    values = {"scopes": sorted(Scope), "created_at": START, "created_by": "test", "name": "other", **facts}
    with database.transaction() as session:
        session.add(
            Token(organisation_id=operator.organisation_id, secret_hash=hash_secret(secret), **values)
        )
    return Operator(operator.organisation_id, secret, operator.client)
