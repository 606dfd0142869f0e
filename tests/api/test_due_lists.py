"""Due lists: what is due this week and why, published once and never changed."""

import csv
import io
import re
from datetime import UTC, date, datetime, timedelta

import pytest

from service.domain.fluid_contamination import COOLANT_IN_AUTOMATIC
from service.domain.weeks import IsoWeek
from service.jobs.weekly_run import run_weekly

FRIDAY_MORNING = datetime(2026, 5, 1, 6, 30, tzinfo=UTC)


@pytest.fixture
def fleet(operator, clock):
    """Two vans: one past its interval by distance, one far from it; and a truck past its months."""
    clock.present = FRIDAY_MORNING
    for van, odometer in (("VAN-01", 79_900), ("VAN-02", 20_000)):
        operator.post("/v1/vehicles", {"vehicle": van, "class": "van", "depot": "North"})
        gearbox = {
            "kind": "automatic_transmission_car",
            "compartment": "gearbox",
            "total_litres": 9.0,
            "drainable_litres": 3.5,
            "interval_km": 60_000,
            "interval_months": 96,
            "last_service_on": "2024-05-01",
            "last_service_odometer_km": 20_000 if van == "VAN-01" else 15_000,
        }
        assert operator.post(f"/v1/vehicles/{van}/compartments", gearbox).status_code == 201
        rows = [
            {
                "vehicle": van,
                "taken_at": (FRIDAY_MORNING - timedelta(days=2 + 7 * week)).isoformat(),
                "odometer": odometer - 420 * week,
            }
            for week in range(12)
        ]
        answer = operator.post("/v1/readings", {"readings": rows[::-1]}).json()
        assert (answer["accepted"], answer["held"]) == (12, 0), answer
    operator.post("/v1/vehicles", {"vehicle": "TRUCK-1", "class": "truck", "depot": "South"})
    operator.post(
        "/v1/vehicles/TRUCK-1/compartments",
        {
            "kind": "coolant_oat",
            "compartment": "coolant",
            "interval_months": 24,
            "last_service_on": "2024-05-06",
            "last_service_odometer_km": 1000,
        },
    )
    return operator


def test_the_list_of_next_week_says_what_is_due_and_why(fleet):
    answer = fleet.get("/v1/due-lists/2026-W19")
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert body["status"] == "draft"
    assert [(line["vehicle"], line["limit"]) for line in body["lines"]] == [
        ("VAN-01", "distance"),
        ("TRUCK-1", "calendar"),
    ]
    van, truck = body["lines"]
    # 79,900 km two days ago at 60 km/d: the interval of 60,000 km from 20,000 km ends today.
    assert van["due"]["p50"] in {"2026-05-01", "2026-05-02", "2026-05-03"}
    told = re.match(
        r"The interval end(?:s in|ed) about (\d+) km(?: ago)?\.|The interval ends now\.", van["reason"]
    )
    assert told is not None, van["reason"]
    assert int(told[1] or 0) <= 60, "a day's driving at most"
    # 3.5 of 9.0 L a round: 0.389 new, 0.627, 0.772; three rounds for three quarters (mass balance, derived).
    assert (van["rounds"], van["litres"]) == (3, 10.5)
    assert truck["due"] == {"p10": "2026-05-06", "p50": "2026-05-06", "p90": "2026-05-06"}
    assert "24 months since the last full service end on 2026-05-06" in truck["reason"]
    assert {line["planned_on"] for line in body["lines"]} == {"2026-05-04"}


def test_a_list_is_published_once_and_does_not_change(fleet, database, clock):
    assert run_weekly(database, clock.now(), "node-a") == 1
    assert run_weekly(database, clock.now(), "node-b") == 0
    published = fleet.get("/v1/due-lists/2026-W19").json()
    assert published["status"] == "published"
    assert [line["change"] for line in published["lines"]] == ["new", "new"]
    fleet.patch("/v1/vehicles/VAN-02", {"duty": "severe"})
    late = {"vehicle": "VAN-02", "taken_at": clock.now().isoformat(), "odometer": 20_150}
    fleet.post("/v1/readings", {"readings": [late]})
    assert fleet.get("/v1/due-lists/2026-W19").json() == published
    unchanged = fleet.get("/v1/due-lists/2026-W19")
    again = fleet.get("/v1/due-lists/2026-W19", headers={"If-None-Match": unchanged.headers["ETag"]})
    assert again.status_code == 304


def test_the_next_list_carries_open_lines_over_and_tells_what_was_done(fleet, database, clock):
    run_weekly(database, clock.now(), "node")
    van, truck = fleet.get("/v1/due-lists/2026-W19").json()["lines"]
    done = fleet.post(f"/v1/due-list-lines/{truck['id']}/events", {"kind": "done"})
    assert (done.status_code, done.json()["state"]) == (201, "done")
    assert fleet.post(f"/v1/due-list-lines/{truck['id']}/events", {"kind": "done"}).status_code == 409
    clock.advance(timedelta(days=7))
    assert run_weekly(database, clock.now(), "node") == 1
    following = fleet.get("/v1/due-lists/2026-W20").json()
    assert following["since_last"]["done"] == [{"vehicle": "TRUCK-1", "compartment": "coolant"}]
    carried = next(line for line in following["lines"] if line["vehicle"] == "VAN-01")
    assert (carried["change"], carried["first_listed_week"]) == ("carried_over", "2026-W19")
    assert carried["id"] != van["id"]


def test_a_line_that_was_moved_ahead_is_told_as_moved_until_its_week_is_over(fleet, database, clock):
    run_weekly(database, clock.now(), "node")
    van = fleet.get("/v1/due-lists/2026-W19").json()["lines"][0]
    move = {"kind": "moved", "moved_to_on": "2026-05-20"}  # Wednesday of week 21
    assert fleet.post(f"/v1/due-list-lines/{van['id']}/events", move).status_code == 201
    told = {}
    for week in ("2026-W20", "2026-W21", "2026-W22"):
        clock.advance(timedelta(days=7))
        assert run_weekly(database, clock.now(), "node") == 1
        lines = fleet.get(f"/v1/due-lists/{week}").json()["lines"]
        told[week] = next(
            (line["change"], line["planned_on"]) for line in lines if line["vehicle"] == "VAN-01"
        )
    assert told["2026-W20"] == told["2026-W21"] == ("moved", "2026-05-20")
    assert told["2026-W22"][0] == "carried_over"


def test_missed_fridays_are_caught_up(fleet, database, clock):
    run_weekly(database, clock.now(), "node")
    clock.advance(timedelta(days=21))
    assert run_weekly(database, clock.now(), "node") == 3
    weeks = [head["iso_week"] for head in fleet.get("/v1/due-lists").json()["due_lists"]]
    assert weeks == ["2026-W22", "2026-W21", "2026-W20", "2026-W19"]


def test_one_organisation_s_trouble_does_not_stop_the_others(fleet, database, clock, join, monkeypatch):
    other = join("Another Invented Operator")
    from service.jobs import weekly_run

    draft = weekly_run.draft_list

    def fail_for_the_first(session, organisation_id, week, now):
        if organisation_id == fleet.organisation_id:
            raise RuntimeError("poison")
        return draft(session, organisation_id, week, now)

    monkeypatch.setattr(weekly_run, "draft_list", fail_for_the_first)
    assert run_weekly(database, clock.now(), "node") == 1
    assert other.get("/v1/due-lists/2026-W19").json()["status"] == "published"
    assert fleet.get("/v1/due-lists/2026-W19").json()["status"] == "draft"


def test_a_list_can_be_fetched_in_every_form(fleet):
    table = fleet.get("/v1/due-lists/2026-W19.csv")
    assert table.status_code == 200, table.text
    assert table.headers["content-disposition"] == 'attachment; filename="due-list-2026-W19.csv"'
    rows = list(csv.DictReader(io.StringIO(table.content.decode("utf-8-sig"))))
    assert [row["Vehicle"] for row in rows] == ["VAN-01", "TRUCK-1"]
    assert fleet.get("/v1/due-lists/2026-W19.pdf").content.startswith(b"%PDF")
    assert fleet.get("/v1/due-lists/2026-W19.xlsx").content.startswith(b"PK")
    assert fleet.get("/v1/due-lists/2026-W19.ics").content.startswith(b"BEGIN:VCALENDAR")
    assert fleet.get("/v1/due-lists/2026-W19.exe").status_code == 422


def test_a_week_that_is_over_without_a_list_has_none(fleet):
    assert fleet.get("/v1/due-lists/2026-W10").status_code == 404
    assert fleet.get("/v1/due-lists/2026-W54").status_code == 422
    assert fleet.get("/v1/due-lists/last").status_code == 422


@pytest.mark.parametrize(
    ("seen", "reason"),
    [
        (
            {"laboratory": {"coolant_fraction": 0.004}},
            f"The last sample shows 0.40% coolant: due now, find the cause first. {COOLANT_IN_AUTOMATIC}",
        ),
        (
            {"laboratory": {"water_fraction": 0.006}},
            "The last sample shows 0.60% water, limit 0.20%: due now, find the cause first.",
        ),
        (
            {"grade": "milky"},
            "The last sample shows water or coolant in the fluid: due now, find the cause first. "
            f"{COOLANT_IN_AUTOMATIC}",
        ),
    ],
)
def test_a_contaminated_fluid_is_listed_with_what_was_found(fleet, seen, reason):
    """0.2 % water is what a heavy-duty operator's manual calls normal condensate in an automatic transmission."""
    van = fleet.get("/v1/vehicles/VAN-02/compartments").json()["compartments"][0]
    sample = {"compartment": van["id"], "taken_at": FRIDAY_MORNING.isoformat(), **seen}
    answer = fleet.post("/v1/samples", sample)
    assert answer.status_code in {200, 201}, answer.text
    lines = fleet.get("/v1/due-lists/2026-W19").json()["lines"]
    (line,) = [line for line in lines if line["vehicle"] == "VAN-02"]
    assert (line["limit"], line["reason"]) == ("contamination", reason)


def test_a_list_that_was_read_is_not_sent_again_until_something_happens_to_a_line(fleet):
    assert fleet.post("/v1/due-lists/2026-W19/publish").status_code == 200
    path = "/v1/due-lists/2026-W19"
    first = fleet.get(path)
    held = {"If-None-Match": first.headers["ETag"]}
    again = fleet.get(path, headers=held)
    assert (again.status_code, again.content) == (304, b"")
    line = first.json()["lines"][0]["id"]
    assert fleet.post(f"/v1/due-list-lines/{line}/events", {"kind": "done"}).status_code == 201
    changed = fleet.get(path, headers=held)
    assert (changed.status_code, changed.json()["lines"][0]["state"]) == (200, "done")
    assert fleet.get(path, headers={"If-None-Match": changed.headers["ETag"]}).status_code == 304


def test_a_fluid_found_contaminated_after_the_list_was_fixed_stands_beside_it(fleet):
    """Beside, because a published list never changes; and whoever holds the list is not told to keep it."""
    path = "/v1/due-lists/2026-W19"
    published = fleet.post(f"{path}/publish").json()
    first = fleet.get(path)
    assert first.json() == published
    assert published["contaminated_since"] == []
    van = fleet.get("/v1/vehicles/VAN-02/compartments").json()["compartments"][0]
    sample = {"compartment": van["id"], "taken_at": FRIDAY_MORNING.isoformat(), "grade": "milky"}
    taken = fleet.post("/v1/samples", sample).json()["id"]
    told = fleet.get(path, headers={"If-None-Match": first.headers["ETag"]})
    (alarm,) = told.json()["contaminated_since"]
    assert (alarm["vehicle"], alarm["compartment_id"]) == ("VAN-02", van["id"])
    assert alarm["reason"].startswith("The last sample shows water or coolant in the fluid: due now")
    assert told.json()["lines"] == published["lines"]
    assert fleet.get(path, headers={"If-None-Match": told.headers["ETag"]}).status_code == 304
    assert fleet.delete("/v1/vehicles/VAN-02").status_code == 204
    assert fleet.get(path).json()["contaminated_since"] == []
    assert fleet.delete(f"/v1/samples/{taken}").status_code == 204


def test_a_line_that_counts_from_a_guess_says_so(operator, clock):
    """Half of life and interval are taken as gone where nobody told of a full change: common practice, no source."""
    operator.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"})
    body = {"kind": "engine_oil_petrol", "interval_km": 1_000}
    made = operator.post("/v1/vehicles/VAN-1/compartments", body).json()
    day = clock.now().date()
    rows = [
        {
            "vehicle": "VAN-1",
            "taken_at": f"{day - timedelta(days=back)}T00:00:00Z",
            "odometer": 90_000 - 100 * back,
        }
        for back in (60, 30, 1)
    ]
    operator.post("/v1/readings", {"readings": rows})
    told = "Nobody told of its last change"

    def reasons():
        weeks = ("current", IsoWeek.of(day + timedelta(days=7)))
        lists = [operator.get(f"/v1/due-lists/{week}").json() for week in weeks]
        return [line["reason"] for shown in lists for line in shown["lines"]]

    assert all(told in reason for reason in reasons())
    assert reasons()
    known = {"last_service_on": f"{day - timedelta(days=20)}", "last_service_odometer_km": 88_900}
    assert operator.patch(f"/v1/compartments/{made['id']}", known).status_code == 200
    assert reasons()
    assert not any(told in reason for reason in reasons())


def test_a_week_far_ahead_is_not_fixed_by_a_slip_of_the_year(fleet, clock):
    """A list that is fixed stays for good; the bound is an own choice."""
    for week in ("2027-W19", "2026-W40"):
        answer = fleet.post(f"/v1/due-lists/{week}/publish")
        assert answer.status_code == 422, answer.text
        assert "weeks ahead" in answer.json()["detail"]
    assert fleet.get("/v1/due-lists").json()["due_lists"] == []


def test_a_line_is_not_moved_to_a_day_that_is_over(fleet, database, clock):
    run_weekly(database, clock.now(), "node")
    line = fleet.get("/v1/due-lists/2026-W19").json()["lines"][0]
    event = {"kind": "moved", "moved_to_on": f"{clock.now().date() - timedelta(days=1)}"}
    answer = fleet.post(f"/v1/due-list-lines/{line['id']}/events", event)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/moved_to_on")
    today = {"kind": "moved", "moved_to_on": f"{clock.now().date()}"}
    assert fleet.post(f"/v1/due-list-lines/{line['id']}/events", today).status_code == 201


def test_a_line_is_moved_as_far_as_anything_is_projected_and_no_further(fleet, database, clock):
    """26 weeks with the present one, counted by ISO 8601: from W18, W43 is the last."""
    run_weekly(database, clock.now(), "node")
    line = fleet.get("/v1/due-lists/2026-W19").json()["lines"][0]
    last = date.fromisocalendar(2026, 18 + 26 - 1, 7)
    for day in (last + timedelta(days=1), date(2062, 5, 4)):
        answer = fleet.post(
            f"/v1/due-list-lines/{line['id']}/events", {"kind": "moved", "moved_to_on": f"{day}"}
        )
        assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/moved_to_on")
        assert f"26 weeks ahead; choose a day up to {last}" in answer.json()["detail"]
    event = {"kind": "moved", "moved_to_on": f"{last}"}
    assert fleet.post(f"/v1/due-list-lines/{line['id']}/events", event).status_code == 201
