"""Signed messages of machine sources: by a valid secret, fresh, once; signed by the open scheme's own library."""

import json
from datetime import datetime, timedelta
from typing import Any

import pytest
from standardwebhooks import Webhook

from service.clock import SystemClock
from tests.service_fixtures import START

READINGS = {
    "type": "machine.readings",
    "data": {"readings": [{"equipment": "M-1", "taken_at": "2026-05-01T07:30:00Z", "odometer_km": 5000.0}]},
}


@pytest.fixture
def source(operator) -> dict[str, Any]:
    return dict(operator.post("/v1/machine-sources", {"name": "box"}).json())


def post(
    client,
    source: dict[str, Any],
    message: Any = READINGS,
    *,
    secret: str | None = None,
    message_id: str = "msg_1",
    at: datetime | None = None,
    path: str | None = None,
) -> Any:
    at = at or SystemClock().now()
    body = message if isinstance(message, str) else json.dumps(message)
    headers = {
        "Content-Type": "application/json",
        "webhook-id": message_id,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": Webhook(secret or source["secret"]).sign(message_id, at, body),
    }
    return client.post(path or f"/v1/inbound/{source['id']}", content=body.encode(), headers=headers)


def test_a_signed_message_is_taken_without_a_token(client, operator, source):
    assert source["inbound_url"].endswith(f"/v1/inbound/{source['id']}")
    answer = post(client, source)
    assert answer.status_code == 200, answer.text
    assert answer.json()["accepted"] == 1
    (row,) = operator.get(f"/v1/machine-sources/{source['id']}/equipment").json()["equipment"]
    assert (row["equipment"], row["meters"][0]["last_value"]) == ("M-1", 5000.0)


def test_frames_and_fleets_come_as_messages_too(client, source):
    frame = {
        "equipment": "M-2",
        "taken_at": "2026-05-01T07:30:00Z",
        "protocol": "j1979",
        "data": "41A60004D19E",
    }
    fleet = {
        "Equipment": [
            {
                "EquipmentHeader": {"EquipmentID": "M-3"},
                "CumulativeOperatingHours": {"datetime": "2026-05-01T07:30:00Z", "Hour": 12.5},
            }
        ]
    }
    for number, (kind, data) in enumerate(
        (("machine.frames", {"frames": [frame]}), ("machine.fleet", fleet))
    ):
        answer = post(client, source, {"type": kind, "data": data}, message_id=f"msg_{number}")
        assert (answer.status_code, answer.json()["accepted"]) == (200, 1), answer.text


def test_the_same_signed_message_again_is_refused_one_that_is_signed_again_is_answered_as_before(
    client, operator, source
):
    now = SystemClock().now()
    first = post(client, source, at=now)
    assert post(client, source, at=now).status_code == 409
    again = post(client, source, at=now + timedelta(seconds=30))
    assert (again.status_code, again.json()) == (200, first.json())
    assert again.headers["Idempotency-Replayed"] == "true"
    other = {**READINGS, "type": "machine.fleet"}
    assert post(client, source, other, at=now + timedelta(seconds=60)).status_code == 422
    (row,) = operator.get(f"/v1/machine-sources/{source['id']}/equipment").json()["equipment"]
    assert (row["meters"][0]["accepted"], row["meters"][0]["duplicate"]) == (1, 0)


@pytest.mark.parametrize("minutes", [-6, 6])
def test_an_old_or_early_signature_is_refused(client, source, minutes):
    answer = post(client, source, at=SystemClock().now() + timedelta(minutes=minutes))
    assert answer.status_code == 401
    assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize(
    ("reading", "told"),
    [
        ({"hours": 13.0}, "There is no such field here; check its name."),
        (
            {"taken_at": "2026-05-01T07:30:00"},
            "needs its offset from UTC, as in 2026-05-01T07:30:00+01:00, or Z for UTC",
        ),
        ({"equipment": None}, "Input should be a valid string"),
    ],
)
def test_fields_of_a_message_are_told_as_those_of_any_body(client, source, reading, told):
    whole = {"equipment": "M-1", "taken_at": "2026-05-01T07:30:00Z", "odometer_km": 5000.0} | reading
    message = {"type": "machine.readings", "data": {"readings": [whole]}}
    answer = post(client, source, message)
    assert [one["detail"] for one in answer.json()["errors"]] == [told]


def test_while_a_secret_is_rotated_both_are_taken_and_afterwards_the_new_one_only(
    client, operator, source, clock
):
    until = (START + timedelta(hours=1)).isoformat()
    path = f"/v1/machine-sources/{source['id']}/rotate"
    new = operator.post(path, {"old_valid_until": until}).json()
    assert new["secret"] != source["secret"]
    assert post(client, source, message_id="a").status_code == 200
    assert post(client, new, message_id="b").status_code == 200
    clock.advance(timedelta(hours=2))
    assert post(client, source, message_id="c").status_code == 401
    assert post(client, new, message_id="d").status_code == 200
    assert operator.post(path).json()["secret"] != new["secret"]
    assert post(client, new, message_id="e").status_code == 401


def test_a_wrong_signature_and_a_source_that_is_none_are_told_alike(client, operator, source, join):
    other = join("Other").post("/v1/machine-sources", {"name": "box"}).json()
    wrong = post(client, source, secret=other["secret"])
    none = post(client, source, path="/v1/inbound/src_999")
    assert operator.delete(f"/v1/machine-sources/{source['id']}").status_code == 204
    ended = post(client, source)
    told = {(one.status_code, one.json()["type"], one.json()["detail"]) for one in (wrong, none, ended)}
    assert len(told) == 1
    assert wrong.status_code == 401


def test_guessing_is_slowed_down(client, source):
    codes = [post(client, source, secret="whsec_c2Vjb25k").status_code for _ in range(20)]
    assert codes[:5] == [401] * 5
    assert codes[-1] == 429
    assert post(client, source).status_code == 200, "a right signature is no guess"


@pytest.mark.parametrize(
    "message",
    [
        "",
        "[]",
        "null",
        "{",
        "[" * 200_000,
        {"type": "other", "data": {}},
        {"type": ["machine.readings"], "data": {}},
        {"type": "machine.readings"},
        {"type": "machine.readings", "data": {"readings": []}},
        {
            "type": "machine.readings",
            "data": {"readings": [{"equipment": "M\u0000", "taken_at": "2026-05-01T07:30:00Z"}]},
        },
        {"type": "machine.fleet", "data": {"Equipment": [{}]}},
        '{"type": "machine.readings", "data": {"readings": [{"equipment": "M", "taken_at": "2026-05-01T07:30:00Z", '
        '"odometer_km": NaN}]}}',
    ],
    ids=range(12),
)
def test_nonsense_that_is_signed_is_refused_and_may_be_sent_again_put_right(client, source, message):
    answer = post(client, source, message)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert post(client, source, at=SystemClock().now() + timedelta(seconds=9)).status_code == 200
