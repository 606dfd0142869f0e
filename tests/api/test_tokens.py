"""API tokens over HTTP: shown once, rotated with an overlap, expired, revoked, last use noted."""

from datetime import timedelta

import pytest
from sqlmodel import select

from service.domain.roles import Scope
from service.store.repositories.access import hash_secret, note_uses
from service.store.tables.access import Token
from service.store.tables.operations import IdempotencyKey


def make(operator, **facts):
    answer = operator.post("/v1/tokens", {"name": "office", "scopes": ["read"]} | facts)
    assert answer.status_code == 201, answer.text
    return answer.json()


def status_with(operator, secret, path="/v1/vehicles"):
    return operator.client.get(path, headers={"Authorization": f"Bearer {secret}"}).status_code


def test_a_secret_is_shown_once_and_stored_as_its_hash(operator, database):
    token = make(operator)
    assert status_with(operator, token["secret"]) == 200
    listed = operator.get("/v1/tokens")
    assert token["secret"] not in listed.text
    assert [one["name"] for one in listed.json()["tokens"]] == ["office", "test"]
    with database.snapshot() as session:
        row = session.get(Token, int(token["id"].removeprefix("tok_")))
    assert row.secret_hash == hash_secret(token["secret"])
    assert len(token["secret"].removeprefix("sump_")) >= 43, "256 bits in base64"


def test_a_call_sent_again_makes_no_second_token_and_keeps_no_secret(operator, database):
    body, key = {"name": "office", "scopes": ["read"]}, {"Idempotency-Key": "k1"}
    first = operator.post("/v1/tokens", body, headers=key)
    again = operator.post("/v1/tokens", body, headers=key)
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() | {"secret": None} == again.json()
    assert again.headers["idempotency-replayed"] == "true"
    secret = first.json()["secret"]
    with database.snapshot() as session:
        kept = [row.body for row in session.exec(select(IdempotencyKey))]
    assert len(kept) == 1
    assert all(secret.encode() not in body for body in kept)


def test_after_a_rotation_both_secrets_work_until_the_given_time(operator, clock):
    token = make(operator)
    until = clock.now() + timedelta(hours=1)
    answer = operator.post(f"/v1/tokens/{token['id']}/rotate", {"old_valid_until": until.isoformat()})
    assert answer.status_code == 200, answer.text
    new = answer.json()
    assert (new["id"], new["name"]) == (token["id"], token["name"])
    assert {status_with(operator, one["secret"]) for one in (token, new)} == {200}
    clock.advance(timedelta(hours=1))
    assert (status_with(operator, token["secret"]), status_with(operator, new["secret"])) == (401, 200)


def test_a_rotation_without_a_time_ends_the_old_secret_at_once(operator):
    token = make(operator)
    new = operator.post(f"/v1/tokens/{token['id']}/rotate").json()
    assert (status_with(operator, token["secret"]), status_with(operator, new["secret"])) == (401, 200)


@pytest.mark.parametrize("days", [-1, 31])
def test_an_overlap_in_the_past_or_of_more_than_a_month_is_refused(operator, clock, days):
    token = make(operator)
    until = (clock.now() + timedelta(days=days)).isoformat()
    answer = operator.post(f"/v1/tokens/{token['id']}/rotate", {"old_valid_until": until})
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/old_valid_until")
    assert status_with(operator, token["secret"]) == 200


def test_revoking_works_on_the_next_call_for_both_secrets(operator, clock):
    token = make(operator)
    until = (clock.now() + timedelta(hours=1)).isoformat()
    new = operator.post(f"/v1/tokens/{token['id']}/rotate", {"old_valid_until": until}).json()
    assert operator.delete(f"/v1/tokens/{token['id']}").status_code == 204
    assert {status_with(operator, one["secret"]) for one in (token, new)} == {401}
    assert operator.delete(f"/v1/tokens/{token['id']}").status_code == 204, "again changes nothing"
    assert operator.post(f"/v1/tokens/{token['id']}/rotate").status_code == 409


def test_an_expired_token_is_refused(operator, clock):
    token = make(operator, expires_at=(clock.now() + timedelta(days=1)).isoformat())
    assert status_with(operator, token["secret"]) == 200
    clock.advance(timedelta(days=1))
    assert status_with(operator, token["secret"]) == 401
    past = operator.post(
        "/v1/tokens", {"name": "x", "scopes": ["read"], "expires_at": clock.now().isoformat()}
    )
    assert past.status_code == 422


def test_the_last_use_of_a_reader_is_noted(operator, database, clock):
    token = make(operator)
    assert token["last_used_at"] is None
    clock.advance(timedelta(minutes=3))
    used_at = clock.now()
    status_with(operator, token["secret"])
    operator.client.app.state.token_uses.flush(database)
    listed = {one["id"]: one for one in operator.get("/v1/tokens").json()["tokens"]}
    assert listed[token["id"]]["last_used_at"] == used_at.isoformat().replace("+00:00", "Z")


def test_an_earlier_use_that_is_noted_later_changes_nothing(operator, database, clock):
    """Each node notes its own uses, in its own time."""
    token = make(operator)
    key = int(token["id"].removeprefix("tok_"))
    earlier, later = clock.now(), clock.now() + timedelta(minutes=3)
    for used_at in (later, earlier):
        with database.transaction() as session:
            note_uses(session, {key: used_at})
    with database.snapshot() as session:
        assert session.get(Token, key).last_used_at == later


def test_no_token_outranks_its_maker(join):
    limited = join(scopes=frozenset({Scope.ADMIN, Scope.READ}))
    assert limited.post("/v1/tokens", {"name": "x", "scopes": ["stock"]}).status_code == 422
    reader = join("Reader", scopes=frozenset(Scope) - {Scope.ADMIN})
    assert reader.post("/v1/tokens", {"name": "x", "scopes": ["read"]}).status_code == 403
    assert reader.get("/v1/tokens").status_code == 403


def test_no_token_is_rotated_by_one_that_it_outranks(operator):
    """Whoever rotates a token holds it afterwards."""
    stronger = make(operator, scopes=["admin", "stock"])
    weaker = make(operator, scopes=["admin"])
    headers = {"Authorization": f"Bearer {weaker['secret']}"}
    refused = operator.client.post(f"/v1/tokens/{stronger['id']}/rotate", json={}, headers=headers)
    assert refused.status_code == 403, refused.text
    assert status_with(operator, stronger["secret"], "/v1/tokens") == 200


def test_another_organisation_s_tokens_do_not_exist(operator, join):
    token = make(operator)
    other = join("Another Invented Operator")
    for answer in (
        other.delete(f"/v1/tokens/{token['id']}"),
        other.post(f"/v1/tokens/{token['id']}/rotate"),
        other.delete("/v1/tokens/tok_999999"),
    ):
        assert answer.status_code == 404
    assert token["id"] not in other.get("/v1/tokens").text
    assert status_with(operator, token["secret"]) == 200


def test_a_driver_s_token_is_bound_to_a_vehicle_that_exists(operator):
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    token = make(operator, scopes=["readings"], vehicle="VAN-07")
    assert token["vehicle_id"].startswith("veh_")
    assert (
        operator.post("/v1/tokens", {"name": "x", "scopes": ["read"], "vehicle": "VAN-08"}).status_code == 404
    )


@pytest.mark.parametrize("scopes", [["read"], ["readings", "read"], ["readings", "workshop"], ["admin"]])
def test_a_token_for_one_vehicle_can_do_nothing_but_post_its_readings(operator, scopes):
    """OWASP ASVS 5.0, 8.2.1: with any other right it would see, or change, every vehicle."""
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    answer = operator.post("/v1/tokens", {"name": "x", "scopes": scopes, "vehicle": "VAN-07"})
    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json()["errors"]] == ["/scopes"]
