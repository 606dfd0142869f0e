"""Dates before a vehicle can have existed: refused wherever somebody gives one, with what to do about it.

That a machine stands for up to a year before its first use, and that none is at work after thirty, are own choices.
"""

from datetime import UTC, date, datetime, timedelta

import pytest

from tests.service_fixtures import START

PLACE = "hydraulic"
SINCE = date(2024, 3, 1)


@pytest.fixture
def fleet(operator):
    for name, more in (("NEW-1", {"in_service_on": f"{SINCE}"}), ("OLD-1", {"in_service_on": "1985-06-01"})):
        assert (
            operator.post("/v1/vehicles", {"vehicle": name, "class": "other_machine"} | more).status_code
            == 201
        )
    assert operator.post("/v1/vehicles", {"vehicle": "ANY-1", "class": "other_machine"}).status_code == 201
    operator.post("/v1/fluids", {"fluid": "OIL", "kind": PLACE})
    for name in ("NEW-1", "OLD-1", "ANY-1"):
        facts = {"kind": PLACE, "compartment": PLACE, "total_litres": 20.0, "drainable_litres": 20.0}
        assert operator.post(f"/v1/vehicles/{name}/compartments", facts).status_code == 201
    return operator


def at(day: date) -> str:
    return f"{day}T08:00:00+00:00"


def replace_meter(fleet, vehicle, day):
    facts = {"replaced_at": at(day), "new_engine_hours": 0.0}
    return fleet.post(f"/v1/vehicles/{vehicle}/cluster-replacements", facts), "/replaced_at"


def serve(fleet, vehicle, day):
    work = {"compartment": PLACE, "method": "drain_and_fill", "fluid": "OIL"}
    work |= {"rounds": [{"drained_litres": 20.0, "filled_litres": 20.0}]}
    body = {"vehicle": vehicle, "done_at": at(day), "compartments": [work]}
    return fleet.post("/v1/services", body), "/done_at"


def sample(fleet, vehicle, day):
    body = {"vehicle": vehicle, "compartment": PLACE, "taken_at": at(day), "grade": "clear"}
    return fleet.post("/v1/samples", body), "/taken_at"


def register(fleet, vehicle, day):
    facts = {"kind": "coolant_oat", "compartment": f"coolant {day}", "last_service_on": f"{day}"}
    return fleet.post(f"/v1/vehicles/{vehicle}/compartments", facts), "/last_service_on"


def change(fleet, vehicle, day):
    (place,) = fleet.get(f"/v1/vehicles/{vehicle}/compartments").json()["compartments"]
    return fleet.patch(f"/v1/compartments/{place['id']}", {"last_service_on": f"{day}"}), "/last_service_on"


def read(fleet, vehicle, day):
    row = {"vehicle": vehicle, "taken_at": at(day), "odometer": 10.0, "engine_hours": 1.0}
    return fleet.post("/v1/readings", {"readings": [row]}), "/readings/0"


GIVEN = [replace_meter, serve, sample, register, change, read]


@pytest.mark.parametrize("give", GIVEN)
@pytest.mark.parametrize(
    ("vehicle", "day", "told"),
    [
        ("NEW-1", SINCE - timedelta(days=367), "in service since 2024-03-01"),
        ("NEW-1", date(1980, 1, 1), "in service since 2024-03-01"),
        ("ANY-1", date(1980, 1, 1), "thirty years"),
        ("ANY-1", date(START.year - 30, START.month, START.day) - timedelta(days=10), "thirty years"),
    ],
)
def test_what_was_before_the_vehicle_is_refused_with_the_way_out(fleet, give, vehicle, day, told):
    answer, pointer = give(fleet, vehicle, day)
    assert answer.status_code == 422, answer.text
    assert told in answer.text
    assert "“In service since”" in answer.text
    assert pointer in {error["pointer"] for error in answer.json()["errors"]}


@pytest.mark.parametrize("give", GIVEN)
@pytest.mark.parametrize(
    ("vehicle", "day"),
    [
        ("NEW-1", SINCE - timedelta(days=200)),
        ("OLD-1", date(1985, 7, 1)),
        ("ANY-1", date(START.year - 29, 1, 1)),
    ],
)
def test_the_history_of_a_vehicle_may_be_long(fleet, give, vehicle, day):
    answer, _ = give(fleet, vehicle, day)
    assert answer.status_code in {200, 201}, answer.text


def test_what_was_before_is_judged_by_the_day_that_it_was_there(fleet):
    """The earliest day begins at midnight of the offset that the time was given with."""
    first = datetime.combine(SINCE - timedelta(days=366), datetime.min.time())
    facts = {"replaced_at": f"{first.isoformat()}+10:00", "new_engine_hours": 0.0}
    assert fleet.post("/v1/vehicles/NEW-1/cluster-replacements", facts).status_code == 201
    row = {"vehicle": "NEW-1", "odometer": 5.0}
    times = [f"{first.isoformat()}+10:00", f"{(first - timedelta(seconds=1)).isoformat()}+10:00"]
    sent = fleet.post("/v1/readings", {"readings": [row | {"taken_at": time} for time in times]}).json()
    assert [one["reason"] for one in sent["results"]] == [None, "too_old"]


def test_readings_of_a_clock_that_began_anew_are_bad_rows_among_good_ones(fleet):
    """A receiver of GPS whose count of weeks, of ten bits, has gone around tells a day 19.6 years ago; from memory."""
    days = [START - timedelta(days=day) for day in (40, 30, 20)]
    rows = [
        {"vehicle": vehicle, "taken_at": (day - lag).isoformat(), "odometer": 900.0 - (START - day).days}
        for vehicle in ("NEW-1", "ANY-1")
        for day in days
        for lag in (timedelta(0), timedelta(weeks=1024))
    ]
    answer = fleet.post("/v1/readings", {"readings": rows}).json()
    wrong = [place for place, one in enumerate(answer["results"]) if one["reason"] == "too_old"]
    assert wrong == [1, 3, 5]  # of ANY-1 nobody said since when it is there
    assert "In service since" in answer["results"][1]["detail"]
    stored = fleet.get("/v1/vehicles/NEW-1/readings").json()["readings"]
    assert [(row["odometer"], row["outcome"]) for row in stored] == [
        (860.0, "accepted"), (870.0, "accepted"), (880.0, "accepted"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("zone", "hour", "today"),
    [
        # UTC+12 and UTC-10; the wall shows another day than UTC.
        ("Pacific/Auckland", 13, date(2026, 5, 5)),
        ("Pacific/Honolulu", 5, date(2026, 5, 3)),
        ("UTC", 23, date(2026, 5, 4)),
    ],
)
def test_a_last_service_is_in_the_future_by_the_day_on_the_workshops_wall(join, clock, zone, hour, today):
    clock.present = datetime(2026, 5, 4, hour, tzinfo=UTC)
    workshop = join(time_zone=zone)
    assert workshop.post("/v1/vehicles", {"vehicle": "V-1", "class": "van"}).status_code == 201
    for day, status in ((today, 201), (today + timedelta(days=1), 422)):
        facts = {"kind": "coolant_oat", "compartment": f"coolant {day}", "last_service_on": f"{day}"}
        answer = workshop.post("/v1/vehicles/V-1/compartments", facts)
        assert answer.status_code == status, answer.text
    (place,) = workshop.get("/v1/vehicles/V-1/compartments").json()["compartments"]
    for day, status in ((today, 200), (today + timedelta(days=1), 422)):
        answer = workshop.patch(f"/v1/compartments/{place['id']}", {"last_service_on": f"{day}"})
        assert answer.status_code == status, answer.text


@pytest.mark.parametrize(("days", "taken"), [(0, True), (366, True), (367, False), (27_000, False)])
def test_a_vehicle_may_be_registered_up_to_a_year_before_it_comes(fleet, days, taken):
    """Own choice; a year mistyped would have every record of it refused as too early."""
    since = f"{START.date() + timedelta(days=days)}"
    new = {"vehicle": "NEXT-1", "class": "van", "in_service_on": since}
    answers = fleet.post("/v1/vehicles", new), fleet.patch("/v1/vehicles/NEW-1", {"in_service_on": since})
    assert [answer.status_code for answer in answers] == ([201, 200] if taken else [422, 422])
    if not taken:
        assert {answer.json()["errors"][0]["pointer"] for answer in answers} == {"/in_service_on"}
