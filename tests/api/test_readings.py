"""Readings through the API: every row has an outcome, and one bad row never loses the good ones."""

from datetime import timedelta

import pytest

from service.api.schemas.readings import ReadingResults
from service.store.repositories import reading_owners

VAN = {"vehicle": "VAN-07", "class": "van"}


@pytest.fixture
def fleet(operator):
    operator.post("/v1/vehicles", VAN)
    operator.post("/v1/vehicles", {"vehicle": "TRUCK-1", "class": "truck", "odometer_unit": "mi"})
    return operator


def reading(day: int, odometer: float, **more):
    return {
        "vehicle": "VAN-07",
        "taken_at": f"2026-04-{day:02d}T07:30:00+02:00",
        "odometer": odometer,
        **more,
    }


def send(operator, *rows):
    return operator.post("/v1/readings", {"readings": list(rows)})


def test_good_rows_are_stored_beside_bad_ones(fleet):
    answer = send(
        fleet,
        reading(1, 84_000),
        reading(2, 84_060) | {"vehicle": "NOBODY"},
        reading(3, -5),
        reading(4, 84_200, colour="red"),
        reading(5, 84_260),
    )
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert [row["outcome"] for row in body["results"]] == [
        "accepted",
        "rejected",
        "rejected",
        "rejected",
        "accepted",
    ]
    assert [row["reason"] for row in body["results"]] == [
        None,
        "unknown_vehicle",
        "out_of_range",
        "malformed",
        None,
    ]
    assert (body["accepted"], body["held"], body["duplicate"], body["rejected"]) == (2, 0, 0, 3)
    assert len(fleet.get("/v1/vehicles/VAN-07/readings").json()["readings"]) == 2


def test_what_is_not_nothing_and_less_than_a_meter_shows_is_refused(fleet):
    answer = send(
        fleet,
        reading(1, 0.0),
        reading(2, 1e-320),
        reading(3, 0.5, engine_hours=5e-324),
        reading(4, 0.0006, unit="mi"),
        reading(5, 0.001, engine_hours=0.05),
    )
    assert [row["reason"] for row in answer.json()["results"]] == [None, *["out_of_range"] * 3, None]


@pytest.mark.parametrize("many", [1, 1_000])
def test_vehicles_are_found_one_by_one_or_with_the_whole_fleet(fleet, join, monkeypatch, many):
    monkeypatch.setattr(reading_owners, "MANY_NAMES", many)
    join("Others").post("/v1/vehicles", {"vehicle": "THEIRS", "class": "van"})
    fleet.post("/v1/vehicles", {"vehicle": "RETIRED", "class": "van"})
    assert fleet.delete("/v1/vehicles/RETIRED").status_code == 204
    for day in (1, 2):
        names = ("VAN-07", "RETIRED", "THEIRS", "TRUCK-1", fleet.get("/v1/vehicles/VAN-07").json()["id"])
        rows = [
            reading(day, 84_000 + 60 * day) | {"vehicle": name, "engine_hours": 9.0 * day + place}
            for place, name in enumerate(names)
        ]
        told = [row["reason"] for row in send(fleet, *rows).json()["results"]]
        assert told[1:4] == ["unknown_vehicle", "unknown_vehicle", None], told
        assert told[4] != "unknown_vehicle"


def test_a_call_of_which_nothing_can_be_stored_is_a_422_that_names_the_rows(fleet):
    answer = send(fleet, reading(1, 84_000) | {"vehicle": "NOBODY"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/readings/0"


def test_a_reading_keeps_the_offset_it_came_with(fleet):
    send(fleet, reading(1, 84_000, reference="trip 1"))
    (stored,) = fleet.get("/v1/readings?reference=trip%201").json()["readings"]
    assert stored["taken_at"] == "2026-04-01T07:30:00+02:00"
    assert stored["odometer"] == 84_000


def test_miles_are_converted_at_the_door_and_shown_as_keyed(fleet):
    send(fleet, reading(1, 100_000) | {"vehicle": "TRUCK-1"})
    (stored,) = fleet.get("/v1/vehicles/TRUCK-1/readings").json()["readings"]
    assert (stored["odometer"], stored["unit"]) == (100_000, "mi")
    assert stored["odometer_km"] == pytest.approx(160_934.4)  # 1 mi = 1.609344 km exactly


def test_the_same_reading_twice_is_stored_once(fleet):
    row = reading(1, 84_000, reference="r1")
    assert send(fleet, row, row).json()["duplicate"] == 1
    assert send(fleet, row).json()["duplicate"] == 1
    assert send(fleet, reading(1, 84_000)).json()["duplicate"] == 1
    other = send(fleet, reading(2, 84_100, reference="r1"))
    assert other.status_code == 422
    assert "reference_reused" in other.json()["errors"][0]["detail"]


def test_a_repeat_of_a_discarded_reading_is_told_that_it_does_not_count(fleet):
    row = reading(2, 84_060)
    send(fleet, reading(1, 84_000), row)
    stored = fleet.get("/v1/vehicles/VAN-07/readings").json()["readings"][-1]["id"]
    fleet.patch(f"/v1/readings/{stored}", {"decision": "discard"})
    (result,) = send(fleet, row).json()["results"]
    assert result["outcome"] == "duplicate"
    assert "somebody discarded it" in result["detail"]
    assert "Nothing to do" in send(fleet, reading(1, 84_000)).json()["results"][0]["detail"]
    fleet.patch(f"/v1/readings/{stored}", {"decision": "release"})
    assert "Nothing to do" in send(fleet, row).json()["results"][0]["detail"]


def test_a_rollback_is_held_with_its_reason_and_can_be_released_or_discarded(fleet):
    for day in range(1, 11):
        send(fleet, reading(day, 84_000 + 60 * day))
    held = send(fleet, reading(12, 4_000)).json()
    assert held["held"] == 1, held
    (row,) = fleet.get("/v1/readings?outcome=held").json()["readings"]
    assert row["used_km"] is None
    discarded = fleet.patch(f"/v1/readings/{row['id']}", {"decision": "discard"})
    assert (discarded.status_code, discarded.json()["outcome"]) == (200, "rejected")
    assert fleet.get("/v1/readings?outcome=held").json()["readings"] == []


def test_times_without_an_offset_or_in_the_future_or_absurd_are_refused_with_the_rule(fleet, clock):
    rows = [
        reading(1, 84_000) | {"taken_at": text}
        for text in (
            "2026-04-01T07:30:00",
            (clock.now() + timedelta(hours=3)).isoformat(),
            "0001-01-01T00:00:00+14:00",
            "9999-12-31T23:59:59-14:00",
            "2025-02-29T07:30:00Z",
            "2026-04-01T07:30:00+23:59",
            "0",
        )
    ]
    answer = send(fleet, *rows, reading(2, 84_000))
    reasons = [row["reason"] for row in answer.json()["results"]]
    assert reasons == ["missing_offset", "future", *["malformed"] * 5, None]


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e400", "true", '"12"', "1" * 400])
def test_numbers_that_are_none_are_refused(fleet, number):
    body = (
        '{"readings": [{"vehicle": "VAN-07", "taken_at": "2026-04-01T07:30:00Z", "odometer": '
        + number
        + "}]}"
    ).encode()
    answer = fleet.client.post(
        "/v1/readings", content=body, headers=fleet.headers | {"Content-Type": "application/json"}
    )
    assert answer.status_code in {400, 422}
    assert answer.headers["content-type"] == "application/problem+json"


CSV = "vehicle,taken_at,odometer,reference\nVAN-07,2026-04-01T07:30:00+02:00,84210.4,r1\nVAN-07,2026-04-02,84270.4,r2\n"


def send_file(operator, content: bytes, **query):
    headers = operator.headers | {"Content-Type": "text/csv"}
    return operator.client.post("/v1/readings", params=query, content=content, headers=headers)


@pytest.mark.parametrize(
    "content",
    [
        CSV.encode(),
        b"\xef\xbb\xbf" + CSV.encode(),
        CSV.replace("\n", "\r\n").encode(),
        CSV.replace("\n", "\r").encode(),
        CSV.rstrip("\n").encode(),
        CSV.replace(",", ";").replace(".4;", ",4;").encode(),
        CSV.replace("VAN-07", '"VAN-07"').encode(),
        b"sep=,\r\n" + CSV.encode(),
        b'\xef\xbb\xbf"sep=;"\n' + CSV.replace(",", ";").replace(".4;", ",4;").encode(),
        b"SEP=\t\n" + CSV.replace(",", "\t").encode(),
    ],
    ids=[
        "plain",
        "byte order mark",
        "CRLF",
        "CR",
        "no last newline",
        "semicolon and decimal comma",
        "quotes",
        "separator named",
        "separator named in quotes",
        "tabs named",
    ],
)
def test_every_sound_form_of_a_file_gives_the_same_readings(fleet, content):
    answer = send_file(fleet, content, time_zone="Europe/Berlin")
    assert answer.status_code == 200, answer.text
    assert [row["outcome"] for row in answer.json()["results"]] == ["accepted", "accepted"]
    stored = fleet.get("/v1/vehicles/VAN-07/readings").json()["readings"]
    assert [row["odometer"] for row in stored] == [84_210.4, 84_270.4]
    assert stored[1]["taken_at"] == "2026-04-02T12:00:00+02:00"


@pytest.mark.parametrize(
    "content",
    [
        CSV.encode("utf-16"),
        CSV.replace("VAN-07", "VÄN-07").encode("latin-1"),
        b"PK\x03\x04" + b"\x00" * 100,
        CSV.replace("odometer", "vehicle").encode(),
        b"",
        b"\n",
        b"sep=,\n",
        b"sep=;\n" + CSV.encode(),
        b"sep=,\nsep=,\n" + CSV.encode(),
        b'vehicle,taken_at,odometer\n"VAN-07,2026-04-01,1\n',
        b"vehicle,taken_at,odometer\nVAN-07,2026-04-01T07:30:00Z," + b"9" * 200_000 + b"\n",
    ],
    ids=[
        "UTF-16",
        "Latin-1",
        "zip",
        "doubled header",
        "empty",
        "blank",
        "separator alone",
        "another separator",
        "separator twice",
        "open quote",
        "long cell",
    ],
)
def test_a_broken_file_is_refused_and_nothing_of_it_is_stored(fleet, content):
    answer = send_file(fleet, content, time_zone="Europe/Berlin")
    assert answer.status_code == 422, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert fleet.get("/v1/vehicles/VAN-07/readings").json()["readings"] == []


def test_one_impossible_day_in_a_long_call_is_one_bad_row(fleet):
    rows = [
        reading(1, 84_000 + n) | {"taken_at": f"2026-04-01T{n // 60:02d}:{n % 60:02d}:00Z"}
        for n in range(900)
    ]
    rows[700]["taken_at"] = "2026-02-30T07:30:00Z"
    answer = send(fleet, *rows).json()
    assert (answer["rejected"], answer["results"][700]["reason"]) == (1, "malformed")
    lines = [f"VAN-07,{row['taken_at']},{row['odometer']}" for row in rows]
    file = send_file(fleet, ("vehicle,taken_at,odometer\n" + "\n".join(lines)).encode()).json()
    assert (file["rejected"], file["results"][700]["reason"]) == (1, "malformed")


def test_a_ragged_row_is_one_bad_row(fleet):
    answer = send_file(
        fleet, CSV.encode() + b"VAN-07,2026-04-03T07:30:00Z\n", time_zone="Europe/Berlin"
    ).json()
    assert (answer["accepted"], answer["rejected"]) == (2, 1)
    assert answer["results"][2]["reason"] == "malformed"


def test_a_file_sent_twice_adds_nothing(fleet):
    send_file(fleet, CSV.encode(), time_zone="Europe/Berlin")
    again = send_file(fleet, CSV.encode(), time_zone="Europe/Berlin").json()
    assert (again["accepted"], again["duplicate"]) == (0, 2)


def test_a_projection_rests_on_the_stored_readings(fleet):
    facts = {"kind": "automatic_transmission_car", "interval_km": 20_000}
    fleet.post("/v1/vehicles/VAN-07/compartments", facts)
    for day in range(1, 29):
        send(fleet, reading(day, 84_000 + 60 * day))
    answer = fleet.get("/v1/vehicles/VAN-07/projection")
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert body["odometer_km"]["p10"] >= 84_000 + 60 * 28
    assert body["km_per_day"]["p10"] < 60 < body["km_per_day"]["p90"]
    (gearbox,) = body["compartments"]
    dates = [day or "beyond the horizon" for day in gearbox["due"].values()]
    assert dates == sorted(dates)
    assert 0.5 < sum(gearbox["probability_by_limit"].values()) <= 1.001


def test_the_answer_is_written_as_its_schema_writes_it(fleet):
    rows = [reading(1, 100.0), reading(1, 100.0), reading(2, 40.0), reading(3, -1.0), {"vehicle": "Größe"}]
    answer = fleet.post("/v1/readings", {"readings": rows})
    assert {row["outcome"] for row in answer.json()["results"]} == {
        "accepted",
        "duplicate",
        "held",
        "rejected",
    }
    assert answer.content == ReadingResults.model_validate_json(answer.content).model_dump_json().encode()


@pytest.mark.parametrize("source", ["service", "sample", "cluster"])
def test_no_reading_passes_for_one_that_came_with_a_record(fleet, source):
    """Else it keeps the record's own reading out by its reference, or is discarded when the record is voided."""
    row = {"vehicle": "VAN-07", "taken_at": "2026-05-01T07:30:00Z", "odometer": 84_000.0}
    rows = [row | {"source": source, "reference": "srv_1"}, row | {"source": "driver", "reference": "srv_1"}]
    answer = fleet.post("/v1/readings", {"readings": rows}).json()
    assert [one["outcome"] for one in answer["results"]] == ["rejected", "accepted"]
    assert "are kept for what comes with a record" in answer["results"][0]["detail"]
    head = "vehicle,taken_at,odometer,source,reference\n"
    csv = f"{head}VAN-07,2026-05-02T07:30:00Z,84100,{source},srv_1\n"
    sent = fleet.post("/v1/readings", content=csv, headers={"Content-Type": "text/csv"})
    assert sent.status_code == 422
    assert sent.json()["errors"][0]["pointer"] == "row 2"
