"""Readings that came with a record, taken out and sent again: known if unchanged, put right at their record if not."""

import csv
import io

import pytest

COLUMNS = ("vehicle", "taken_at", "odometer", "unit", "engine_hours", "source", "reference")


@pytest.fixture
def fleet(operator):
    """A vehicle of which a service, a sample and a new cluster told the odometer, and a voided service too."""
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van", "odometer_unit": "mi"})
    operator.post("/v1/vehicles", {"vehicle": "VAN-08", "class": "van"})
    gearbox = {"kind": "automatic_transmission_car", "compartment": "gearbox", "fluid": "ATF-A"}
    operator.post("/v1/fluids", {"fluid": "ATF-A", "kind": "automatic_transmission_car"})
    compartment = operator.post("/v1/vehicles/VAN-07/compartments", gearbox).json()["id"]
    row = {"vehicle": "VAN-07", "taken_at": "2026-04-01T08:00:00+02:00", "odometer": 50_000.3}
    operator.post("/v1/readings", {"readings": [row | {"source": "driver", "reference": "card 1"}]})
    work = {"compartment": "gearbox", "rounds": [{"drained_litres": 3, "filled_litres": 3}]}
    done = {"vehicle": "VAN-07", "compartments": [work]}
    for day, miles in ((3, 50_070), (6, 50_100)):
        facts = done | {"done_at": f"2026-04-0{day}T09:00:00+02:00", "odometer": miles, "engine_hours": 1_200}
        service = operator.post("/v1/services", facts)
        assert service.status_code == 201, service.text
    assert operator.delete(service.headers["Location"]).status_code == 204
    sample = {"compartment": compartment, "taken_at": "2026-04-07T09:00:00+02:00", "odometer": 50_200}
    answer = operator.post("/v1/samples", sample | {"grade": "brown"})
    assert answer.status_code == 201, answer.text
    renewed = {"replaced_at": "2026-04-08T09:00:00+02:00", "old_odometer": 50_250, "new_odometer": 3}
    assert operator.post("/v1/vehicles/VAN-07/cluster-replacements", renewed).status_code == 201
    return operator


def taken_out(fleet):
    return [
        {name: row[name] for name in COLUMNS}
        for row in fleet.get("/v1/readings?limit=500").json()["readings"]
    ]


def as_file(rows):
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS)
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def send_both_ways(fleet, rows):
    """Answers to the same rows as JSON and as a file."""
    return (
        fleet.post("/v1/readings", {"readings": rows}),
        fleet.post("/v1/readings", content=as_file(rows), headers={"Content-Type": "text/csv"}),
    )


def test_unchanged_readings_are_there_already_whatever_they_came_with(fleet):
    rows = taken_out(fleet)
    assert [row["source"] for row in rows] == [
        "driver", "service", "service", "sample", "cluster", "cluster",
    ]  # fmt: skip
    for answer in send_both_ways(fleet, rows):
        assert answer.status_code == 200, answer.text
        assert {row["outcome"] for row in answer.json()["results"]} == {"duplicate"}
    for answer in send_both_ways(fleet, [row | {"reference": None} for row in rows]):
        assert {row["outcome"] for row in answer.json()["results"]} == {"duplicate"}
    assert taken_out(fleet) == rows


@pytest.mark.parametrize("source", ["service", "sample", "cluster"])
def test_a_changed_one_is_refused_and_led_to_its_record_and_the_others_are_taken(fleet, source):
    rows = taken_out(fleet)
    for row in rows:
        if row["source"] == source:
            row["odometer"] += 7
    rows.append(rows[0] | {"taken_at": "2026-04-09T08:00:00+02:00", "odometer": 40, "reference": "card 2"})
    answer = fleet.post("/v1/readings", {"readings": rows}).json()
    outcomes = [result["outcome"] for result in answer["results"]]
    assert outcomes[-1] == "accepted"
    for row, outcome, result in zip(rows[:-1], outcomes[:-1], answer["results"][:-1], strict=True):
        assert outcome == ("rejected" if row["source"] == source else "duplicate")
        if outcome == "rejected":
            assert "put a number right at its record" in result["detail"]


def test_it_is_told_for_the_vehicle_that_it_is_of(fleet):
    (row,) = [row for row in taken_out(fleet) if row["source"] == "sample"]
    answer = fleet.post("/v1/readings", {"readings": [row | {"vehicle": "VAN-08", "unit": "mi"}, row]})
    assert [result["outcome"] for result in answer.json()["results"]] == ["rejected", "duplicate"]


def test_a_token_of_another_vehicle_is_told_nothing_of_it(fleet):
    (row,) = [row for row in taken_out(fleet) if row["source"] == "sample"]
    token = {"name": "box", "scopes": ["readings"], "vehicle": "VAN-08"}
    made = fleet.post("/v1/tokens", token)
    assert made.status_code == 201, made.text
    own = {"vehicle": "VAN-08", "taken_at": row["taken_at"], "odometer": 10.0}
    answer = fleet.client.post(
        "/v1/readings",
        json={"readings": [row, own]},
        headers={"Authorization": f"Bearer {made.json()['secret']}"},
    )
    assert [one["reason"] for one in answer.json()["results"]] == ["unknown_vehicle", None]
