"""A vehicle that leaves the fleet: nobody waits for it any more, and its history stays."""

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
