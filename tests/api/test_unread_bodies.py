"""Whoever has no token makes nobody read what he sent: a body is parsed, or put aside, once the caller is known."""

import json
import tempfile

import pytest

from service.domain.roles import Scope
from tests.service_fixtures import Operator

BROKEN = b'{"a": [1, 2'
"""What a parser would stumble over."""


def bodies(client):
    """Every operation that takes a token and a body, with the type of the body."""
    paths = client.get("/openapi.json").json()["paths"]
    return [
        (method, path.replace("{", "").replace("}", ""), kind)
        for path, methods in paths.items()
        for method, operation in methods.items()
        for kind in operation.get("requestBody", {}).get("content", ())
        if path.startswith("/v1/") and "security" in operation
    ]


def test_no_operation_reads_a_body_before_the_token(client):
    found = bodies(client)
    assert len(found) > 40
    for method, path, kind in found:
        answer = client.request(method, path, content=BROKEN, headers={"Content-Type": kind})
        assert answer.status_code == 401, (method, path, answer.text)
        assert answer.json()["type"] == "/problems/authentication-required"
        assert answer.headers["www-authenticate"] == 'Bearer realm="sumpwise"'


@pytest.mark.parametrize("secret", ["made-up", ""])
def test_a_wrong_token_is_told_before_the_body_and_counts_as_one_try(client, secret):
    wrong = Operator(0, secret, client)
    statuses = [
        wrong.patch(
            "/v1/organisation", content=BROKEN, headers={"Content-Type": "application/json"}
        ).status_code
        for _ in range(16)
    ]
    assert statuses == [401] * (15 if secret else 16) + ([429] if secret else [])


def test_a_right_token_hears_what_is_wrong_with_the_body(join):
    caller = join(scopes=frozenset({Scope.ADMIN}))
    for content in (BROKEN, b"[]", json.dumps({"no_such_field": 1}).encode()):
        answer = caller.patch(
            "/v1/organisation", content=content, headers={"Content-Type": "application/json"}
        )
        assert answer.status_code == (400 if content == BROKEN else 422), answer.text


def test_a_call_with_a_body_counts_once(join, client):
    caller = join()
    limiter = client.app.state.limiter
    counted = []
    check = limiter.check_call
    limiter.check_call = lambda key, now: (counted.append(key), check(key, now))
    for _ in range(2):
        assert caller.patch("/v1/organisation", {"distance_unit": "mi"}).status_code == 200
    assert counted == [caller.organisation_id] * 2


def test_a_file_without_a_token_is_not_put_aside(client, monkeypatch):
    def refuse(*_args, **_options):
        raise AssertionError

    monkeypatch.setattr(tempfile, "SpooledTemporaryFile", refuse)
    for path in ("/v1/readings", "/v1/samples"):
        answer = client.post(path, content=b"vehicle\n", headers={"Content-Type": "text/csv"})
        assert answer.status_code == 401, answer.text


def test_a_token_that_was_revoked_is_told_at_once(join):
    caller = join()
    made = caller.post("/v1/tokens", {"name": "short", "scopes": ["admin"]}).json()
    gone = Operator(caller.organisation_id, made["secret"], caller.client)
    assert gone.patch("/v1/organisation", {"distance_unit": "mi"}).status_code == 200
    assert caller.delete(f"/v1/tokens/{made['id']}").status_code == 204
    assert gone.patch("/v1/organisation", {"distance_unit": "mi"}).status_code == 401
    broken = gone.patch("/v1/organisation", content=BROKEN, headers={"Content-Type": "application/json"})
    assert broken.status_code == 401
