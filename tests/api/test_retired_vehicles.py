"""A vehicle that leaves the fleet: nobody waits for it any more, and its history stays."""

import re
from datetime import date, timedelta

import pytest

from tests.jobs.conftest import FRIDAY_MORNING
from tests.jobs.vans import add_due_van

WEEK = "2026-W19"


@pytest.fixture
def fleet(operator, clock):
    """Two vans on a published list, one of them pinned to a day."""
    clock.present = FRIDAY_MORNING
    for van in ("VAN-1", "VAN-2"):
        add_due_van(operator, van, "2026-05-06")
    pin = {"vehicle": "VAN-1", "kind": "on", "day": "2026-05-07"}
    assert operator.post("/v1/visits/pins", pin).status_code == 201
    assert operator.post(f"/v1/due-lists/{WEEK}/publish").status_code == 200
    return operator


def lines(operator):
    return {one["vehicle"]: one for one in operator.get(f"/v1/due-lists/{WEEK}").json()["lines"]}


def test_what_was_planned_for_it_is_dropped_with_the_reason(fleet):
    tag = fleet.get(f"/v1/due-lists/{WEEK}").headers["etag"]
    assert fleet.get(f"/v1/due-lists/{WEEK}.ics").text.count("BEGIN:VEVENT") == 2
    assert fleet.delete("/v1/vehicles/VAN-1").status_code == 204
    assert {name: one["state"] for name, one in lines(fleet).items()} == {"VAN-1": "dropped", "VAN-2": "open"}
    (event,) = lines(fleet)["VAN-1"]["events"]
    assert (event["kind"], event["note"]) == ("dropped", "The vehicle left the fleet.")
    assert fleet.get(f"/v1/due-lists/{WEEK}", headers={"If-None-Match": tag}).status_code == 200
    assert fleet.get(f"/v1/due-lists/{WEEK}.ics").text.count("BEGIN:VEVENT") == 1
    moved = {"kind": "moved", "moved_to_on": "2026-05-08"}
    assert fleet.post(f"/v1/due-list-lines/{lines(fleet)['VAN-1']['id']}/events", moved).status_code == 409
    assert fleet.get("/v1/visits/pins").json()["pins"] == []


def test_lists_of_weeks_that_are_over_say_what_they_said(fleet, clock):
    clock.present += timedelta(weeks=2)
    assert date(2026, 5, 15) == clock.present.date(), "of the week after"
    assert fleet.delete("/v1/vehicles/VAN-1").status_code == 204
    assert {one["state"] for one in lines(fleet).values()} == {"open"}


def test_what_was_done_stays_done(fleet):
    line = lines(fleet)["VAN-1"]["id"]
    assert fleet.post(f"/v1/due-list-lines/{line}/events", {"kind": "done"}).status_code == 201
    assert fleet.delete("/v1/vehicles/VAN-1").status_code == 204
    assert lines(fleet)["VAN-1"]["state"] == "done"


def _service(vehicle):
    work = {"compartment": "brakes", "rounds": [{"drained_litres": 0.5, "filled_litres": 0.5}]}
    return {"vehicle": vehicle, "done_at": "2026-05-01T05:00:00Z", "compartments": [work]}


def _reading(vehicle):
    return {"readings": [{"vehicle": vehicle, "taken_at": "2026-05-01T05:00:00Z", "odometer": 123_456.0}]}


ADDED = {
    "compartment": lambda van, _: ("post", f"/v1/vehicles/{van}/compartments", {"kind": "brake_fluid"}),
    "other interval": lambda _, place: ("patch", f"/v1/compartments/{place}", {"interval_km": 50_000}),
    "other duty": lambda van, _: ("patch", f"/v1/vehicles/{van}", {"duty": "severe"}),
    "new cluster": lambda van, _: (
        "post",
        f"/v1/vehicles/{van}/cluster-replacements",
        {"replaced_at": "2026-05-01T05:00:00Z", "new_engine_hours": 0.0},
    ),
    "reading": lambda van, _: ("post", "/v1/readings", _reading(van)),
    "service": lambda van, _: ("post", "/v1/services", _service(van)),
    "sample": lambda van, _: (
        "post",
        "/v1/samples",
        {"vehicle": van, "compartment": "brakes", "taken_at": "2026-05-01T05:00:00Z", "grade": "brown"},
    ),
    "sample by the compartment": lambda _, place: (
        "post",
        "/v1/samples",
        {"compartment": place, "taken_at": "2026-05-01T05:00:00Z", "grade": "brown"},
    ),
    "return visit": lambda _, place: (
        "post",
        f"/v1/compartments/{place}/return-visits",
        {"rounds": 1, "after_days": 30},
    ),
    "pin": lambda van, _: ("post", "/v1/visits/pins", {"vehicle": van, "kind": "on", "day": "2026-05-07"}),
    "token": lambda van, _: ("post", "/v1/tokens", {"name": "x", "scopes": ["readings"], "vehicle": van}),
}


@pytest.mark.parametrize("what", ADDED)
def test_nothing_is_added_to_it_by_its_id(fleet, what):
    van = fleet.get("/v1/vehicles/VAN-1").json()["id"]
    (place,) = fleet.get(f"/v1/vehicles/{van}/compartments").json()["compartments"]
    assert fleet.delete(f"/v1/vehicles/{van}").status_code == 204
    before = fleet.get("/v1/audit").json()
    verb, path, body = ADDED[what](van, place["id"])
    answer = getattr(fleet, verb)(path, body)
    assert answer.status_code == (422 if what in {"reading", "sample"} else 409), answer.text
    told = "left the fleet on 2026-05-01" if what not in {"reading", "sample"} else "No vehicle|no vehicle"
    assert re.search(told, answer.text)
    assert fleet.get("/v1/audit").json() == before


def test_what_is_on_record_of_it_can_be_put_right(fleet):
    service = fleet.post("/v1/services", _service("VAN-1"))
    assert service.status_code == 201, service.text
    assert fleet.post("/v1/readings", _reading("VAN-1")).status_code == 200
    (reading,) = fleet.get("/v1/vehicles/VAN-1/readings?limit=1").json()["readings"]
    assert fleet.delete("/v1/vehicles/VAN-1").status_code == 204
    assert fleet.delete(f"/v1/services/{service.json()['id']}").status_code == 204
    assert fleet.patch(f"/v1/readings/{reading['id']}", {"decision": "discard"}).status_code == 200
