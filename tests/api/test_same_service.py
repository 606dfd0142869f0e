"""The same service told twice is stored once, and the answer names the one on record."""

import pytest

from tests.faults.test_same_moment import at_once

KIND = "automatic_transmission_car"


@pytest.fixture
def fleet(operator):
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    operator.post("/v1/vehicles", {"vehicle": "VAN-08", "class": "van"})
    operator.post("/v1/fluids", {"fluid": "ATF-A", "kind": KIND})
    for vehicle in ("VAN-07", "VAN-08"):
        for place in ("gearbox", "second gearbox"):
            body = {"compartment": place, "kind": KIND, "fluid": "ATF-A"}
            body |= {"total_litres": 8, "drainable_litres": 4}
            operator.post(f"/v1/vehicles/{vehicle}/compartments", body)
    return operator


def told(*places, vehicle="VAN-07", done_at="2026-05-01T14:10:00+02:00"):
    rounds = [{"drained_litres": 4, "filled_litres": 4}]
    works = [{"compartment": place, "rounds": rounds} for place in places or ("gearbox",)]
    return {"vehicle": vehicle, "done_at": done_at, "compartments": works}


def litres_left(fleet):
    (shelf,) = fleet.get("/v1/stock").json()["fluids"]
    return shelf["litres"]


@pytest.mark.parametrize(
    "again",
    [
        told(),
        told(done_at="2026-05-01T12:10:00Z"),
        told("second gearbox", "gearbox"),
        told() | {"late_entry": True, "note": "typed twice"},
    ],
)
def test_the_same_service_again_is_refused_and_names_the_one_on_record(fleet, again):
    first = fleet.post("/v1/services", told()).json()
    answer = fleet.post("/v1/services", again)
    assert answer.status_code == 409, answer.text
    problem = answer.json()
    assert problem["type"] == "/problems/duplicate"
    assert first["id"] in problem["detail"]
    assert [error["pointer"] for error in problem["errors"]] == ["/done_at"]
    assert len(fleet.get("/v1/services").json()["services"]) == 1
    # One fill of 4 L left a shelf that held nothing (bookkeeping, derived).
    assert litres_left(fleet) == pytest.approx(-4.0)


@pytest.mark.parametrize(
    "other",
    [told("second gearbox"), told(done_at="2026-05-01T14:11:00+02:00"), told(vehicle="VAN-08")],
)
def test_other_work_another_minute_or_another_vehicle_is_no_repetition(fleet, other):
    fleet.post("/v1/services", told())
    assert fleet.post("/v1/services", other).status_code == 201


def test_a_voided_service_may_be_recorded_anew(fleet):
    first = fleet.post("/v1/services", told())
    assert fleet.delete(first.headers["Location"]).status_code == 204
    second = fleet.post("/v1/services", told())
    assert second.status_code == 201
    assert second.json()["id"] in fleet.post("/v1/services", told()).json()["detail"]
    assert litres_left(fleet) == pytest.approx(-4.0)


def test_a_race_of_the_same_service_stores_one(fleet):
    answers = at_once([lambda: fleet.post("/v1/services", told())] * 2)
    assert sorted(answer.status_code for answer in answers) == [201, 409]
    assert len(fleet.get("/v1/services").json()["services"]) == 1
    assert litres_left(fleet) == pytest.approx(-4.0)
