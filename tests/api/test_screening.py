"""What screening says of readings through the API: every reason, and what later readings make of it."""

from datetime import timedelta

import pytest

from tests.service_fixtures import START

FIRST_DAY = START - timedelta(days=300)
MILE_IN_KM = 1.609344  # exact: international yard and pound agreement of 1959


@pytest.fixture
def fleet(operator):
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    operator.post("/v1/vehicles", {"vehicle": "VAN-08", "class": "van"})
    operator.post("/v1/vehicles", {"vehicle": "TRUCK-1", "class": "van", "odometer_unit": "mi"})
    return operator


def send(operator, *rows, vehicle="VAN-07"):
    """Rows of day and odometer; the last row's result."""
    body = [
        {"vehicle": vehicle, "taken_at": (FIRST_DAY + timedelta(days=day)).isoformat(), "odometer": km}
        for day, km in rows
    ]
    answer = operator.post("/v1/readings", {"readings": body})
    assert answer.status_code == 200, answer.text
    return answer.json()["results"][-1]


def stored(operator, vehicle="VAN-07"):
    rows = operator.get(f"/v1/vehicles/{vehicle}/readings?limit=500").json()["readings"]
    return sorted(rows, key=lambda row: row["taken_at"])


def steady(last_day=200, start=84_000.0, rate=60.0, gap=10):
    return [(day, start + rate * day) for day in range(0, last_day + 1, gap)]


def judged_anew(operator):
    entries = operator.get("/v1/audit").json()["entries"]
    return [entry for entry in entries if entry["action"] == "judged anew"]


@pytest.mark.parametrize(
    ("km", "reason"),
    [
        (70_000.0, "rollback"),
        (9_660.0, "digit_lost_or_added"),
        (966_600.0, "digit_lost_or_added"),
        (600_000.0, "implausible_pace"),
        (96_600.0 / MILE_IN_KM, "miles_for_km"),
        (96_600.0 * MILE_IN_KM, "km_for_miles"),
    ],
    ids=["rollback", "digit lost", "digit added", "implausible pace", "miles for km", "km for miles"],
)
def test_a_wrong_number_is_held_with_its_reason(fleet, km, reason):
    send(fleet, *steady())
    result = send(fleet, (210, round(km)))
    assert (result["outcome"], result["reason"]) == ("held", reason), result
    assert result["detail"]
    assert stored(fleet)[-1]["used_km"] is None


def test_kilometres_keyed_for_an_odometer_in_miles_are_held(fleet):
    send(fleet, *steady(start=52_000.0, rate=37.0), vehicle="TRUCK-1")
    result = send(fleet, (210, round(59_770.0 * MILE_IN_KM)), vehicle="TRUCK-1")
    assert (result["outcome"], result["reason"]) == ("held", "km_for_miles")


def test_a_unit_that_is_corrected_after_readings_came_is_asked_about_until_they_are_sent_again(fleet):
    """The numbers go on without a gap, so that screening takes the odometer to count on in the other unit."""

    def warnings():
        return fleet.get("/v1/vehicles/VAN-07").json()["warnings"]

    send(fleet, *steady(last_day=100))
    fleet.patch("/v1/vehicles/VAN-07", {"odometer_unit": "mi"})
    assert warnings() == []
    send(fleet, *[(day, 84_000.0 + 60.0 * day) for day in range(110, 161, 10)])
    rows = stored(fleet)
    assert rows[-1]["used_km"] - rows[-2]["used_km"] == 600.0
    (warning,) = warnings()
    assert "told in mi" in warning
    assert "still counted in km" in warning
    for row in rows:
        if row["unit"] == "km":
            fleet.patch(f"/v1/readings/{row['id']}", {"decision": "discard"})
    send(fleet, *steady(last_day=100))
    rows = [row for row in stored(fleet) if row["outcome"] == "accepted"]
    assert rows[-1]["used_km"] - rows[-2]["used_km"] == pytest.approx(600.0 * MILE_IN_KM)
    assert rows[0]["used_km"] == pytest.approx(84_000.0 * MILE_IN_KM)
    assert warnings() == []


def test_another_vehicles_number_is_recognised(fleet, database, clock):
    from service.usecases.due.refresh_fleet import refresh_fleet

    send(fleet, *steady())
    send(fleet, *steady(start=313_000.0, rate=20.0), vehicle="VAN-08")
    with database.transaction() as session:
        refresh_fleet(session, fleet.organisation_id, clock.now())
    result = send(fleet, (203, 317_040.0))
    assert (result["outcome"], result["reason"]) == ("held", "other_vehicle"), result
    send(fleet, (210, 96_600.0), (220, 97_200.0))
    (held,) = fleet.get("/v1/readings?outcome=held").json()["readings"]
    assert held["reason"] == "other_vehicle"


def test_a_repeat_is_a_duplicate_and_a_time_to_come_is_refused(fleet, clock):
    send(fleet, *steady())
    assert send(fleet, (200, 96_000.0))["outcome"] == "duplicate"
    future = fleet.post(
        "/v1/readings",
        {
            "readings": [
                {
                    "vehicle": "VAN-07",
                    "taken_at": (clock.now() + timedelta(days=1)).isoformat(),
                    "odometer": 1,
                }
            ]
        },
    )
    assert future.status_code == 422
    assert "future" in future.json()["errors"][0]["detail"]


def test_two_numbers_of_one_instant_are_questioned(fleet):
    """Within what a day's driving explains both are believed, since days without a time are taken at noon."""
    send(fleet, *steady())
    assert send(fleet, (210, 96_600.0))["detail"] is None
    assert "shows 300 km less" in send(fleet, (210, 96_900.0))["detail"]
    assert send(fleet, (210.1, 96_902.0), (210.1, 96_903.0))["detail"] is None
    answer = fleet.post(
        "/v1/readings",
        {
            "readings": [
                {"vehicle": vehicle, "taken_at": "2026-03-01T12:00:00Z", "odometer": km}
                for vehicle, km in (("VAN-08", 500.0), ("TRUCK-1", 650.0), ("VAN-08", 650.0))
            ]
        },
    )
    first, other, second = answer.json()["results"]
    assert (other["detail"], second["outcome"]) == (None, "accepted")
    assert ("150 km more" in first["detail"], "150 km less" in second["detail"]) == (True, True)


@pytest.mark.parametrize("step", range(6))
def test_of_two_numbers_of_one_instant_the_one_that_came_first_stays_first(fleet, step):
    """SQLite keeps instants to the millisecond, and not to the nearest: which one looks earlier would be chance."""
    send(fleet, *steady())
    day = 210 + step / 7
    send(fleet, (day, 96_600.0))
    send(fleet, (day, 96_900.0))
    assert [row["outcome"] for row in stored(fleet)[-2:]] == ["accepted", "accepted"]


def test_a_replacement_s_two_numbers_and_one_of_the_new_instrument_raise_no_question(fleet):
    send(fleet, *steady())
    assert replace(fleet).status_code == 201
    assert send(fleet, (205, 14.0)) == {"index": 0, "outcome": "accepted", "reason": None, "detail": None}


@pytest.mark.parametrize("step", range(4))
def test_hours_that_come_after_the_same_odometer_are_not_lost(fleet, step):
    """Somebody sends a file of odometers, and then one with the hours beside them."""
    rows = [
        {"vehicle": "VAN-07", "taken_at": (FIRST_DAY + timedelta(days=day + step / 7)).isoformat()}
        | {"odometer": km}
        for day, km in steady(last_day=30)
    ]
    with_hours = [row | {"engine_hours": 100.0 + place} for place, row in enumerate(rows)]
    outcomes = [
        {one["outcome"] for one in fleet.post("/v1/readings", {"readings": sent}).json()["results"]}
        for sent in (rows, with_hours, with_hours, rows)
    ]
    assert outcomes == [{"accepted"}, {"accepted"}, {"duplicate"}, {"duplicate"}]
    assert [row["used_hours"] for row in stored(fleet)] == [
        None,
        100.0,
        None,
        101.0,
        None,
        102.0,
        None,
        103.0,
    ]
    assert [row["used_km"] for row in stored(fleet)] == [
        km for _, km in steady(last_day=30) for _ in range(2)
    ]


def test_a_vehicle_that_stood_still_is_accepted_as_parked(fleet):
    send(fleet, *steady())
    assert send(fleet, (260, 96_002.0)) | {"detail": ""} == {
        "index": 0, "outcome": "accepted", "reason": "parked", "detail": "",
    }  # fmt: skip


def test_a_replaced_cluster_shows_in_the_readings_that_follow_it(fleet):
    send(fleet, *steady())
    assert send(fleet, (210, 500.0))["outcome"] == "held"
    send(fleet, (220, 1_100.0), (230, 1_700.0), (240, 2_300.0), (250, 2_900.0), (260, 3_500.0))
    rows = stored(fleet)
    used = [row["used_km"] for row in rows]
    assert [row["outcome"] for row in rows[-6:]] == ["accepted"] * 6
    assert "cluster_replaced" in {row["reason"] for row in rows[-6:]}
    assert used == sorted(used)
    assert used[-1] - used[-6] == pytest.approx(3_000.0)
    (entry,) = judged_anew(fleet)
    changes = {one["reading"]: one for one in entry["detail"]["readings"]}
    assert changes[rows[-6]["id"]]["before"] == {"outcome": "held", "reason": "rollback"}
    assert changes[rows[-6]["id"]]["after"]["outcome"] == "accepted"
    assert entry["detail"]["n_readings"] == len(changes)


def test_a_wrong_number_that_was_believed_is_convicted_by_the_readings_after_it(fleet):
    """A plausible number too high by 3,000 km is believed until the true ones contradict it."""
    send(fleet, *steady())
    assert send(fleet, (210, 99_400.0))["outcome"] == "accepted"
    send(fleet, (220, 97_200.0), (230, 97_800.0), (240, 98_400.0), (250, 99_000.0))
    rows = stored(fleet)
    assert [row["outcome"] for row in rows[-5:]] == ["held", *["accepted"] * 4]
    assert rows[-5]["id"] in {
        one["reading"] for entry in judged_anew(fleet) for one in entry["detail"]["readings"]
    }


def test_a_large_change_of_work_is_held_at_first_and_vindicated_by_what_follows(fleet):
    send(fleet, *steady(rate=30.0))
    first = send(fleet, (207, 98_000.0))
    send(fleet, (214, 106_000.0), (221, 114_000.0), (228, 122_000.0))
    rows = stored(fleet)
    assert (first["outcome"], [row["outcome"] for row in rows[-4:]]) == ("held", ["accepted"] * 4)
    assert judged_anew(fleet)


def test_a_wrong_first_reading_is_found_out(fleet):
    send(fleet, (0, 160_000.0), *[(day, 101_200.0 + 50.0 * day) for day in range(10, 80, 10)])
    rows = stored(fleet)
    assert [row["outcome"] for row in rows] == ["held", *["accepted"] * 7]


def replace(operator, day=205, **more):
    facts = {
        "replaced_at": (FIRST_DAY + timedelta(days=day)).isoformat(),
        "old_odometer": 96_300.0,
        "new_odometer": 12.0,
    }
    return operator.post("/v1/vehicles/VAN-07/cluster-replacements", facts | more)


@pytest.mark.parametrize("new_odometer", [12.0, 59_800.0, 96_400.0, 150_000.0])
def test_a_confirmed_replacement_of_the_cluster_goes_on_exactly(fleet, new_odometer):
    send(fleet, *steady())
    send(fleet, (210, new_odometer + 300.0))
    answer = replace(fleet, new_odometer=new_odometer)
    assert answer.status_code == 201, answer.text
    old, new = answer.json()["readings"]
    assert (old["used_km"], new["used_km"], new["reason"]) == (96_300.0, 96_300.0, "cluster_replaced")
    assert send(fleet, (220, new_odometer + 900.0))["outcome"] == "accepted"
    assert [row["used_km"] for row in stored(fleet)[-2:]] == [96_600.0, 97_200.0]
    assert replace(fleet, new_odometer=new_odometer).status_code == 409
    actions = [entry["action"] for entry in fleet.get("/v1/audit").json()["entries"]]
    assert "cluster replaced" in actions


def test_a_discarded_replacement_is_as_if_it_had_never_been(fleet):
    send(fleet, *steady())
    for reading in replace(fleet).json()["readings"]:
        fleet.patch(f"/v1/readings/{reading['id']}", {"decision": "discard"})
    assert send(fleet, (210, 300.0))["outcome"] == "held"
    assert send(fleet, (210.5, 96_630.0))["outcome"] == "accepted"


@pytest.mark.parametrize(
    "wrong",
    [
        {"old_odometer": -1.0},
        {"new_odometer": 1e12},
        {"replaced_at": "2099-01-01T00:00:00Z"},
        {"unit": "league"},
    ],
)
def test_an_impossible_replacement_is_refused(fleet, wrong):
    assert replace(fleet, **wrong).status_code == 422


@pytest.mark.parametrize("old_odometer", [95_300.0, 69_300.0, 9_630.0, 963_000.0, 99_300.0])
def test_a_last_number_that_does_not_go_on_from_what_was_read_is_refused_until_it_is_released(
    fleet, old_odometer
):
    """A slip of the pen there would shift all that the vehicle ever does."""
    send(fleet, *steady())
    send(fleet, (210, 300.0))
    before = stored(fleet)
    answer = replace(fleet, old_odometer=old_odometer)
    assert answer.status_code == 422
    (told,) = answer.json()["errors"]
    assert (told["pointer"], "release it" in told["detail"]) == ("/old_odometer", True)
    assert stored(fleet) == before
    assert send(fleet, (204.9, old_odometer))["outcome"] == "held"
    (held,) = [row for row in stored(fleet) if row["odometer"] == old_odometer]
    fleet.patch(f"/v1/readings/{held['id']}", {"decision": "release"})
    answer = replace(fleet, old_odometer=old_odometer)
    assert answer.status_code == 201, answer.text
    old, new = answer.json()["readings"]
    assert (old["odometer"], old["outcome"], new["used_km"]) == (old_odometer, "accepted", old["used_km"])


def test_a_replacement_is_held_against_what_was_read_before_it_whatever_came_since(fleet):
    send(fleet, *steady(last_day=100), (110, 400.0), (120, 1_000.0), (130, 1_600.0), (140, 2_200.0))
    assert replace(fleet, day=105, old_odometer=90_300.0).status_code == 201
    assert stored(fleet)[-1]["used_km"] == pytest.approx(90_300.0 + 2_188.0)


@pytest.mark.parametrize(
    "rows",
    [
        [(100, 50_000.0)],
        [(100, 50_000.0), (100.05, 50_004.0)],
        [(day, 50_000.0) for day in range(0, 200, 10)],
        [],
    ],
    ids=["one reading", "two a day", "all equal", "none"],
)
def test_few_or_dull_readings_give_an_honest_wide_projection(fleet, rows):
    facts = {"kind": "automatic_transmission_car", "interval_km": 60_000, "interval_months": 48}
    fleet.post("/v1/vehicles/VAN-07/compartments", facts)
    if rows:
        send(fleet, *rows)
    assert_honest(fleet, has_reading=bool(rows))


def test_held_readings_alone_give_the_projection_of_no_reading(fleet):
    send(fleet, (100, 50_000.0))
    (only,) = stored(fleet)
    fleet.patch(f"/v1/readings/{only['id']}", {"decision": "discard"})
    assert_honest(fleet, has_reading=False)


def assert_honest(operator, has_reading):
    answer = operator.get("/v1/vehicles/VAN-07/projection")
    assert answer.status_code == 200, answer.text
    assert "NaN" not in answer.text
    body = answer.json()
    assert (body["odometer_km"] is not None) == has_reading
    rate = body["km_per_day"]
    assert 0.0 <= rate["p10"] <= rate["p50"] < rate["p90"]
    if has_reading:
        assert body["odometer_km"]["p10"] < body["odometer_km"]["p90"]


def test_an_hour_meter_that_outruns_the_clock_is_left_out_and_says_so_ever_after(fleet):
    def hours(day, km, engine_hours):
        row = {"vehicle": "VAN-07", "odometer": km, "engine_hours": engine_hours}
        row["taken_at"] = (FIRST_DAY + timedelta(days=day)).isoformat()
        return fleet.post("/v1/readings", {"readings": [row]}).json()["results"][0]

    hours(0, 84_000.0, 100.0)
    wrong = hours(10, 84_600.0, 900.0)  # 800 h in 240 h
    assert (wrong["outcome"], wrong["reason"]) == ("accepted", "implausible_hours")
    hours(20, 85_200.0, 130.0)
    rows = stored(fleet)
    assert [row["reason"] for row in rows] == [None, "implausible_hours", None]
    assert rows[1]["engine_hours"] == 900.0
    assert judged_anew(fleet) == []
