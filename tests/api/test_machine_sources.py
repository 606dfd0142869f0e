"""Sources of machine data: own series, offset and record; readings only where vehicle and offset are known."""

from datetime import timedelta
from typing import Any

import pytest

from tests.service_fixtures import START

XML = {"Content-Type": "application/xml"}
CHECK_BYTES = "9D C2 78 01 FF FF FF FF"
"""24 691 357 steps of 5 m: 123 456.785 km by the public scale of J1939 SPN 917; derived."""


def fleet(*machines: tuple[str, str, float | None, float | None]) -> str:
    """A document: name, time, km and hours of each machine."""
    parts = []
    for name, at, km, hours in machines:
        distance = f"<Distance datetime='{at}'><OdometerKilometre>{km}</OdometerKilometre></Distance>"
        meter = f"<CumulativeOperatingHours datetime='{at}'><Hour>{hours}</Hour></CumulativeOperatingHours>"
        parts.append(
            f"<Equipment><EquipmentHeader><EquipmentID>{name}</EquipmentID></EquipmentHeader>"
            f"{distance if km is not None else ''}{meter if hours is not None else ''}</Equipment>"
        )
    return f"<Fleet xmlns='http://standards.iso.org/iso/15143/-3'>{''.join(parts)}</Fleet>"


@pytest.fixture
def source(operator) -> str:
    answer = operator.post("/v1/machine-sources", {"name": "portal"})
    assert answer.status_code == 201, answer.text
    assert answer.json()["secret"].startswith("whsec_")
    assert operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"}).status_code == 201
    return str(answer.json()["id"])


def send(operator, source: str, *machines: Any) -> dict[str, Any]:
    answer = operator.post(
        f"/v1/machine-sources/{source}/documents", headers=XML, content=fleet(*machines).encode()
    )
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def equipment_of(operator, source: str) -> list[dict[str, Any]]:
    return list(operator.get(f"/v1/machine-sources/{source}/equipment").json()["equipment"])


def link(operator, source: str, **facts: Any) -> dict[str, Any]:
    (row,) = equipment_of(operator, source)
    answer = operator.put(
        f"/v1/machine-sources/{source}/equipment/{row['id']}", {"vehicle": "VAN-07", **facts}
    )
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def readings_of(operator) -> list[tuple[Any, ...]]:
    rows = operator.get("/v1/vehicles/VAN-07/readings").json()["readings"]
    return [
        (row["source"], row["taken_at"], row["odometer"], row["engine_hours"], row["outcome"]) for row in rows
    ]


def meter_of(operator, source: str, meter: str = "odometer") -> dict[str, Any]:
    (row,) = equipment_of(operator, source)
    return next(one for one in row["meters"] if one["meter"] == meter)


def test_what_a_source_sends_waits_until_somebody_says_which_vehicle_it_is(operator, source):
    counts = send(operator, source, ("M-1", "2026-05-01T07:30:00Z", 72379.12, 4711.5))
    assert (counts["machines"], counts["accepted"]) == (1, 2)
    assert readings_of(operator) == []
    shown = link(operator, source)
    assert shown["vehicle"] == "VAN-07"
    assert [one["offset_origin"] for one in shown["meters"]] == ["sole", "sole"]
    assert sorted(readings_of(operator), key=str) == [
        ("portal", "2026-05-01T07:30:00Z", 72379.12, None, "accepted"),
        ("portal", "2026-05-01T07:30:00Z", None, 4711.5, "accepted"),
    ]


def test_the_same_document_twice_stores_nothing_twice(operator, source):
    document = ("M-1", "2026-05-01T07:30:00Z", 100.0, 5.0)
    send(operator, source, document)
    link(operator, source)
    assert send(operator, source, document)["duplicate"] == 2
    assert len(readings_of(operator)) == 2


def test_the_offset_to_the_dashboard_is_learned_between_two_values(operator, source):
    """The dashboard shows 500 km more; read half way between two values of the source, which is exact on a line."""
    send(operator, source, ("M-1", "2026-05-01T06:00:00Z", 1000.0, None))
    dashboard = {
        "vehicle": "VAN-07",
        "taken_at": "2026-05-01T07:00:00Z",
        "odometer": 1510.0,
        "source": "driver",
    }
    assert operator.post("/v1/readings", {"readings": [dashboard]}).status_code == 200
    link(operator, source)
    assert meter_of(operator, source)["offset"] is None, "no value after the reading yet"
    assert [row[0] for row in readings_of(operator)] == ["driver"]
    send(operator, source, ("M-1", "2026-05-01T08:00:00Z", 1020.0, None))
    meter = meter_of(operator, source)
    assert (meter["offset"], meter["offset_origin"]) == (500.0, "learned")
    assert {row[2] for row in readings_of(operator) if row[0] == "portal"} == {1500.0, 1520.0}


def test_an_offset_can_be_set_and_how_far_it_is_off_is_shown(operator, source):
    send(operator, source, ("M-1", "2026-05-03T06:00:00Z", 1000.0, None))
    link(operator, source, odometer_offset_km=250.0)
    assert readings_of(operator)[0][2] == 1250.0
    dashboard = {
        "vehicle": "VAN-07",
        "taken_at": "2026-05-03T07:00:00Z",
        "odometer": 1262.0,
        "source": "driver",
    }
    operator.post("/v1/readings", {"readings": [dashboard]})
    send(operator, source, ("M-1", "2026-05-03T08:00:00Z", 1020.0, None))
    meter = meter_of(operator, source)
    assert (meter["offset"], meter["offset_origin"]) == (250.0, "set")
    assert meter["drift"] == pytest.approx(2.0)


def test_a_source_that_jumps_is_held_on_its_own_series_and_disturbs_no_vehicle(operator, source):
    for day in range(1, 4):
        send(operator, source, ("M-1", f"2026-04-0{day}T06:00:00Z", 1000.0 + 100 * day, 50.0 + 8 * day))
    link(operator, source)
    before = readings_of(operator)
    jumped = send(operator, source, ("M-1", "2026-04-04T06:00:00Z", 90_000.0, 2.0))
    assert jumped["held"] == 2
    assert {one["reason"] for one in jumped["results"]} == {"implausible_pace", "implausible_hours"}
    assert readings_of(operator) == before
    meter = meter_of(operator, source)
    assert (meter["accepted"], meter["held"], meter["last_value"]) == (3, 1, 1300.0)
    send(operator, source, ("M-1", "2026-04-05T06:00:00Z", 1500.0, 90.0))
    assert len(readings_of(operator)) == len(before) + 2


def test_two_sources_of_one_vehicle_have_series_and_offsets_of_their_own(operator, source):
    send(operator, source, ("M-1", "2026-05-01T06:00:00Z", 1000.0, None))
    link(operator, source)
    other = operator.post("/v1/machine-sources", {"name": "box"}).json()["id"]
    send(operator, other, ("imei 1", "2026-05-02T06:00:00Z", 77_000.0, None))
    link(operator, other, odometer_offset_km=-75_900.0)
    assert {row[0]: row[2] for row in readings_of(operator)} == {"portal": 1000.0, "box": 1100.0}


def test_more_than_one_value_an_hour_does_not_fill_the_lists(operator, source):
    for minute in (0, 10, 20):
        send(operator, source, ("M-1", f"2026-05-01T06:{minute:02d}:00Z", 1000.0 + minute, None))
    link(operator, source)
    assert [row[2] for row in readings_of(operator)] == [1000.0]
    (row,) = equipment_of(operator, source)
    values = operator.get(f"/v1/machine-sources/{source}/equipment/{row['id']}/values?limit=2")
    assert [one["use"] for one in values.json()["values"]] == ["passed_on", "thinned_out"]
    assert 'rel="next"' in values.headers["link"]


def test_frames_are_decoded_by_the_public_scales(operator, source):
    frames = [
        {"protocol": "j1939", "pgn": 65217, "data": CHECK_BYTES},
        {"protocol": "j1939", "pgn": 65253, "data": "81 C4 03 00 FF FF FF FF"},
        {"protocol": "j1939", "pgn": 65248, "data": "FF FF FF FF 06 12 0F 00"},
        {"protocol": "j1939", "pgn": 65217, "data": "FF FF FF FF FF FF FF FF"},
        {"protocol": "j1939", "pgn": 65262, "data": "FF FF FF FF FF FF FF FF"},
        {"protocol": "j1939", "pgn": 65217, "data": "9D C2"},
    ]
    told = [
        {"equipment": "gateway", "taken_at": f"2026-05-01T07:3{place}:00Z", **frame}
        for place, frame in enumerate(frames)
    ]
    answer = operator.post(f"/v1/machine-sources/{source}/frames", {"frames": told})
    assert answer.status_code == 200, answer.text
    outcomes = [(one["outcome"], one["reason"]) for one in answer.json()["results"]]
    assert outcomes == [
        ("accepted", None),
        ("accepted", None),
        ("duplicate", "duplicate"),
        *(("rejected", "no_meter"),) * 3,
    ], "the coarser of two odometers is left out; what holds no meter is told"
    link(operator, source)
    assert {row[2:4] for row in readings_of(operator)} == {(123_456.785, None), (None, 12_345.65)}


def test_an_answer_by_j1979_is_read_unsigned(operator, source):
    """315 806 tenths: 31 580.6 km; a first byte over 7F would turn a signed number negative."""
    frames = [
        {"equipment": name, "taken_at": "2026-05-01T07:30:00Z", "protocol": "j1979", "data": data}
        for name, data in (("A", "41 A6 00 04 D1 9E"), ("B", "41A6FFFFFFFF"))
    ]
    answer = operator.post(f"/v1/machine-sources/{source}/frames", {"frames": frames}).json()
    assert [one["outcome"] for one in answer["results"]] == ["accepted", "rejected"]
    assert answer["results"][1]["reason"] == "out_of_range"
    first, second = equipment_of(operator, source)
    assert (first["equipment"], first["meters"][0]["last_value"]) == ("A", 31_580.6)
    assert (second["equipment"], second["meters"][0]["last_value"]) == ("B", None)


def test_a_document_of_which_nothing_can_be_stored_is_refused(operator, source):
    future = (START + timedelta(days=2)).isoformat().replace("+00:00", "Z")
    path = f"/v1/machine-sources/{source}/documents"
    for machine in (
        ("M-1", future, 5.0, None),
        ("M-1", "0001-01-01T00:00:00Z", 5.0, None),
        ("", future, 5.0, 1.0),
    ):
        answer = operator.post(path, headers=XML, content=fleet(machine).encode())
        assert answer.status_code == 422, answer.text
        assert answer.json()["errors"]
    assert equipment_of(operator, source) == []
    assert send(operator, source)["machines"] == 0, "an empty fleet is no mistake"


def test_a_document_of_more_values_than_a_call_may_have_is_refused_whole(operator, source):
    """One is one transaction, for which every other writer waits; a page by the standard has far fewer."""
    path = f"/v1/machine-sources/{source}/documents"
    machines = [(f"M-{place}", "2026-05-01T07:30:00Z", 5.0, 1.0) for place in range(5_001)]
    answer = operator.post(path, headers=XML, content=fleet(*machines).encode())
    assert answer.status_code == 422, answer.text
    assert "10000" in answer.json()["detail"]
    assert equipment_of(operator, source) == []


def test_a_document_with_a_key_has_one_effect(operator, source):
    path = f"/v1/machine-sources/{source}/documents"
    content = fleet(("M-1", "2026-05-01T07:30:00Z", 5.0, None)).encode()
    first, again = (
        operator.post(path, headers={**XML, "Idempotency-Key": "k1"}, content=content) for _ in range(2)
    )
    assert (first.json(), again.headers["Idempotency-Replayed"]) == (again.json(), "true")


def test_an_ended_source_takes_nothing_and_its_name_stays_taken(operator, source):
    assert operator.delete(f"/v1/machine-sources/{source}").status_code == 204
    path = f"/v1/machine-sources/{source}/documents"
    content = fleet(("M-1", "2026-05-01T07:30:00Z", 5.0, None)).encode()
    assert operator.post(path, headers=XML, content=content).status_code == 409
    assert operator.post("/v1/machine-sources", {"name": "portal"}).status_code == 409


def test_a_pull_from_a_private_address_is_refused_and_the_authorization_is_never_shown(operator, source):
    pull = {"url": "https://127.0.0.1/fleet/1", "minutes": 60, "authorization": "Bearer abc"}
    refused = operator.patch(f"/v1/machine-sources/{source}", {"pull": pull})
    assert refused.status_code == 422
    public = {**pull, "url": "https://192.0.2.1/fleet/1"}
    assert operator.patch(f"/v1/machine-sources/{source}", {"pull": public}).status_code == 422
    assert "Bearer" not in operator.get("/v1/machine-sources").text
