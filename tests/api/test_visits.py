"""The visit plan: what is done together, on which day and why, and what people ask of it."""

from collections import Counter
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlmodel import select

from service.jobs.weekly_run import run_weekly
from service.store.repositories.visits import prices_minor_a_litre
from service.store.tables.organisation import Depot
from tests.service_fixtures import Operator

FRIDAY_MORNING = datetime(2026, 5, 1, 6, 30, tzinfo=UTC)
"""The Friday before ISO week 2026-W19; 4 May is a Monday and, in England, a public holiday."""


class Yard:
    """A fleet that is built a vehicle at a time; all fluids are due by months, so every date is certain."""

    def __init__(self, operator: Operator, database) -> None:
        self.operator, self.database = operator, database

    def vehicle(self, name: str, depot: str = "North", **due_on: str) -> None:
        """Add a vehicle with 24-month fluids: `coolant="2026-05-06"` is due on that day."""
        facts = {"vehicle": name, "class": "van", "depot": depot}
        weekdays = due_on.pop("weekdays", None)
        if weekdays is not None:
            facts["available_weekdays"] = weekdays
        assert self.operator.post("/v1/vehicles", facts).status_code == 201
        for compartment, day in due_on.items():
            due = date.fromisoformat(day)
            body = {
                "kind": "brake_fluid" if compartment.startswith("brake") else "coolant_oat",
                "compartment": compartment,
                "interval_months": 24,
                "last_service_on": due.replace(year=due.year - 2).isoformat(),
            }
            answer = self.operator.post(f"/v1/vehicles/{name}/compartments", body)
            assert answer.status_code == 201, answer.text

    def depot(self, name: str, **facts: object) -> None:
        """Change what the bays of a depot have."""
        with self.database.transaction() as session:
            row = session.exec(select(Depot).where(Depot.reference == name)).one()
            for key, value in facts.items():
                setattr(row, key, value)
            session.add(row)

    def plan(self, **query: object) -> dict:
        answer = self.operator.get("/v1/visits", params=query)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def why(self, name: str) -> dict:
        answer = self.operator.get(f"/v1/visits/{name}")
        assert answer.status_code == 200, answer.text
        return answer.json()["visits"][0]

    def pin(self, name: str, kind: str, day: str):
        return self.operator.post("/v1/visits/pins", {"vehicle": name, "kind": kind, "day": day})


@pytest.fixture
def yard(operator, clock, database):
    clock.present = FRIDAY_MORNING
    return Yard(operator, database)


def days_of(plan: dict) -> dict[str, str]:
    return {visit["vehicle"]: visit["day"] for visit in plan["visits"]}


def test_services_that_fall_close_together_are_one_visit_and_those_far_apart_are_two(yard):
    """Coolant and brakes five weeks apart: 35 days of a two-year job are worth far less than a visit."""
    yard.vehicle("VAN-01", coolant="2026-05-06", brakes="2026-06-10")
    yard.vehicle("VAN-02", coolant="2026-05-06", brakes="2027-03-10")
    plan = yard.plan()
    by_vehicle = {visit["vehicle"]: visit for visit in plan["visits"]}
    together = by_vehicle["VAN-01"]
    assert [line["compartment"] for line in together["lines"]] == ["coolant", "brakes"]
    assert together["saved_minor"] > 0
    assert "In one visit, because that costs less than apart: coolant and brakes." in together["reasons"]
    # A quarter of 24 months is the most that a fluid comes early: ten months are more.
    assert [line["compartment"] for line in by_vehicle["VAN-02"]["lines"]] == ["coolant"]
    # One set-up for two jobs.
    alone = by_vehicle["VAN-02"]["labour_minutes"]
    setup = alone - by_vehicle["VAN-02"]["lines"][0]["labour_minutes"]
    minutes = sum(line["labour_minutes"] for line in together["lines"])
    assert together["labour_minutes"] == minutes + setup


def test_a_visit_spared_is_worth_its_own_cost_and_the_bay_time_of_setting_up(yard):
    """The same cost as in exchange plans and policies; a third of an hour of setting up, at the price of a bay hour."""
    yard.vehicle("VAN-01", coolant="2026-05-06", brakes="2026-06-10")

    def saved(**terms: int) -> int:
        assert yard.operator.patch("/v1/planning-terms", {"terms": terms}).status_code == 200
        return yard.plan()["visits"][0]["saved_minor"]

    assert saved(visit_minor=5_000, labour_minor_an_hour=0, fluid_minor_a_litre=0) == 5_000
    # With a price on work and fluid, changing the brakes' fluid five weeks early gives a little of it up.
    assert 5_000 < saved(labour_minor_an_hour=6_000) <= 5_000 + 6_000 / 3


def test_a_fluid_costs_what_its_cheapest_pack_does_by_the_litre(yard):
    """20 L for 200 and 5 L for 60 are 10 and 12 a litre; a pack that has no price says nothing."""
    packs = [{"litres": 5, "price_minor": 6_000}, {"litres": 20, "price_minor": 20_000}, {"litres": 200}]
    made = yard.operator.post("/v1/fluids", {"fluid": "COOL-1", "kind": "coolant_oat", "packs": packs})
    assert made.status_code == 201, made.text
    with yard.database.snapshot() as session:
        found = prices_minor_a_litre(session, yard.operator.organisation_id)
    assert list(found.values()) == [1_000.0]


def test_a_published_week_still_takes_what_has_fallen_due_in_it(yard, database, clock):
    yard.vehicle("VAN-01", coolant="2026-05-06")
    assert run_weekly(database, clock.now(), "node") == 1
    clock.present = datetime(2026, 5, 4, 6, 0, tzinfo=UTC)
    yard.vehicle("VAN-02", coolant="2026-05-06")
    assert "2026-05-04" <= days_of(yard.plan())["VAN-02"] <= "2026-05-08"


def test_a_published_week_takes_nothing_early_that_is_not_on_its_list(yard, database, clock):
    """One visit a week: the second would come a week early rather than late, were that week not fixed."""
    yard.vehicle("VAN-01", coolant="2026-05-13")
    yard.depot("North", bay_minutes=[0, 120, 0, 0, 0, 0, 0])
    assert run_weekly(database, clock.now(), "node") == 1
    clock.present = datetime(2026, 5, 4, 6, 0, tzinfo=UTC)
    yard.vehicle("VAN-02", coolant="2026-05-13")
    assert sorted(days_of(yard.plan()).values()) == ["2026-05-12", "2026-05-19"]


def test_the_week_s_list_holds_what_is_done_in_the_same_visit_and_says_why(yard):
    yard.vehicle("VAN-01", coolant="2026-05-06", brakes="2026-06-10")
    coolant, brakes = yard.operator.get("/v1/due-lists/2026-W19").json()["lines"]
    assert coolant["planned_on"] == brakes["planned_on"]
    assert "2026-05-04" <= coolant["planned_on"] <= "2026-05-08"
    assert brakes["change"] == "new"
    assert "Due in 5 weeks; done with the visit for coolant" in brakes["reason"]
    assert "cheaper than a second visit" in brakes["reason"]
    assert "done with" not in coolant["reason"]


def test_bays_are_never_planned_beyond_their_minutes_and_the_rest_is_said(yard):
    """Twenty visits due in one week, one hour of bay a day: seven or eight weeks are needed for about forty hours."""
    for number in range(20):
        yard.vehicle(f"VAN-{number:02d}", coolant="2026-05-06")
    yard.depot("North", bay_minutes=[120, 120, 0, 0, 0, 0, 0])
    plan = yard.plan()
    loads = plan["depots"][0]["weeks"]
    assert all(load["booked_minutes"] <= load["open_minutes"] for load in loads)
    assert sum(load["n_visits"] for load in loads) == len(plan["visits"])
    assert len(plan["visits"]) + len(plan["not_placed"]) == 20
    assert plan["not_placed"]
    for visit in plan["not_placed"]:
        assert visit["placing"] == "bays_full"
        assert "The bays of North are full" in visit["reasons"][0]
    delayed = [visit for visit in plan["visits"] if visit["placing"] == "delayed"]
    assert delayed
    assert "the bays of North are full then" in delayed[0]["reasons"][0]


def test_work_is_brought_forward_when_the_week_it_is_due_in_is_full(yard):
    """Six visits due in W20, which is closed on all days but one that holds two: the others come in W19."""
    for number in range(6):
        yard.vehicle(f"VAN-{number}", coolant="2026-05-13")
    yard.depot("North", closed_on=["2026-05-12", "2026-05-13", "2026-05-14", "2026-05-15"])
    yard.depot("North", bay_minutes=[200, 200, 200, 200, 200, 0, 0])
    plan = yard.plan()
    weeks = Counter(date.fromisoformat(visit["day"]).isocalendar().week for visit in plan["visits"])
    assert weeks == {19: 4, 20: 2}
    early = {visit["vehicle"] for visit in plan["visits"] if visit["placing"] == "brought_forward"}
    assert len(early) == 4
    listed = yard.operator.get("/v1/due-lists/2026-W19").json()["lines"]
    assert {line["vehicle"] for line in listed} == early
    assert all("Due in 2026-W20; 1 week earlier" in line["reason"] for line in listed)


def test_holidays_closing_days_and_the_vehicle_s_own_days_are_kept(yard):
    """4 May 2026 is the early May bank holiday in England (holidays library)."""
    yard.vehicle("VAN-01", coolant="2026-05-06")
    yard.vehicle("VAN-02", coolant="2026-05-06", weekdays=[4])
    yard.depot("North", holiday_region="GB-ENG", closed_on=["2026-05-05"])
    days = {
        line["vehicle"]: line["planned_on"]
        for line in yard.operator.get("/v1/due-lists/2026-W19").json()["lines"]
    }
    assert days["VAN-01"] >= "2026-05-06"
    assert days["VAN-02"] == "2026-05-07"


def test_a_pin_is_respected_and_replaced_and_removed(yard):
    yard.vehicle("VAN-01", coolant="2026-05-06")
    made = yard.pin("VAN-01", "on", "2026-05-08")
    assert made.status_code == 201, made.text
    visit = yard.plan()["visits"][0]
    assert (visit["day"], visit["placing"]) == ("2026-05-08", "pinned")
    assert visit["reasons"][0].startswith("Pinned to 2026-05-08 by ")
    assert yard.operator.get("/v1/due-lists/2026-W19").json()["lines"][0]["planned_on"] == "2026-05-08"
    again = yard.pin("VAN-01", "not_before", "2026-05-12").json()
    assert [pin["id"] for pin in yard.operator.get("/v1/visits/pins").json()["pins"]] == [again["id"]]
    visit = yard.plan()["visits"][0]
    assert visit["day"] >= "2026-05-12"
    assert yard.operator.delete(f"/v1/visits/pins/{again['id']}").status_code == 204
    assert yard.operator.delete(f"/v1/visits/pins/{again['id']}").status_code == 404
    assert yard.plan()["visits"][0]["day"] < "2026-05-12"


@pytest.mark.parametrize("kind", ["on", "not_before"])
def test_a_visit_is_pinned_as_far_as_anything_is_projected_and_no_further(yard, kind):
    yard.vehicle("VAN-01", coolant="2026-05-06")
    last = date.fromisocalendar(2026, 18 + 26 - 1, 7)
    for day in (last + timedelta(days=1), date(2062, 5, 4)):
        answer = yard.pin("VAN-01", kind, f"{day}")
        assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/day")
        assert f"choose a day up to {last}" in answer.json()["detail"]
    assert yard.pin("VAN-01", kind, f"{last}").status_code == 201


def test_a_vehicle_pinned_into_a_week_is_on_its_list_though_it_is_due_later(yard):
    yard.vehicle("VAN-01", coolant="2026-06-17")
    assert yard.operator.get("/v1/due-lists/2026-W19").json()["lines"] == []
    yard.pin("VAN-01", "on", "2026-05-07")
    line = yard.operator.get("/v1/due-lists/2026-W19").json()["lines"][0]
    assert line["planned_on"] == "2026-05-07"
    assert "Pinned to 2026-05-07" in line["reason"]


def test_a_pin_ends_when_the_vehicle_was_served(yard, clock):
    yard.vehicle("VAN-01", coolant="2026-05-06", brakes="2027-04-30")
    yard.pin("VAN-01", "on", "2026-05-08")
    clock.advance(timedelta(days=3))
    work = {
        "compartment": "coolant",
        "method": "flush",
        "rounds": [{"drained_litres": 5.0, "filled_litres": 5.0}],
    }
    body = {"vehicle": "VAN-01", "done_at": clock.now().isoformat(), "compartments": [work]}
    answer = yard.operator.post("/v1/services", body)
    assert answer.status_code == 201, answer.text
    assert yard.plan()["visits"] == []
    assert yard.operator.delete(answer.headers["Location"]).status_code == 204  # recorded by mistake
    assert days_of(yard.plan()) == {"VAN-01": "2026-05-08"}


def test_a_pin_holds_on_its_own_day(yard, clock):
    yard.vehicle("VAN-01", coolant="2026-05-20")
    yard.pin("VAN-01", "on", "2026-05-07")
    clock.present = datetime(2026, 5, 7, 6, 30, tzinfo=UTC)
    visit = yard.plan()["visits"][0]
    assert (visit["day"], visit["placing"]) == ("2026-05-07", "pinned")


def test_impossible_pins_are_refused(yard):
    yard.vehicle("VAN-01", coolant="2026-05-06")
    assert yard.pin("VAN-01", "on", "2026-04-30").status_code == 422
    assert yard.pin("VAN-09", "on", "2026-05-08").status_code == 404
    assert yard.pin("VAN-01", "perhaps", "2026-05-08").status_code == 422
    assert yard.operator.delete("/v1/visits/pins/pin_99").status_code == 404
    assert yard.operator.get("/v1/visits", params={"weeks": 0}).status_code == 422
    assert yard.operator.get("/v1/visits", params={"depot": "Nowhere"}).status_code == 404


def test_another_organisation_s_pin_and_vehicle_are_out_of_reach(yard, join):
    yard.vehicle("VAN-01", coolant="2026-05-06")
    pin = yard.pin("VAN-01", "on", "2026-05-08").json()["id"]
    other = join("Another Invented Operator")
    assert other.delete(f"/v1/visits/pins/{pin}").status_code == 404
    assert other.get("/v1/visits/VAN-01").status_code == 404
    assert other.get("/v1/visits").json()["visits"] == []


def test_a_published_list_stays_and_what_happens_after_it_stands_beside_it(yard, database, clock):
    yard.vehicle("VAN-01", coolant="2026-05-06")
    yard.vehicle("VAN-02", coolant="2026-05-06")
    run_weekly(database, clock.now(), "node")
    published = yard.operator.get("/v1/due-lists/2026-W19").json()
    planned = {line["vehicle"]: line["planned_on"] for line in published["lines"]}
    clock.present = datetime(2026, 5, 4, 6, 0, tzinfo=UTC)
    assert days_of(yard.plan()) == planned
    assert {visit["placing"] for visit in yard.plan()["visits"]} == {"published"}
    yard.pin("VAN-01", "on", "2026-05-08")
    moved = next(line["id"] for line in published["lines"] if line["vehicle"] == "VAN-02")
    event = {"kind": "moved", "moved_to_on": "2026-05-14"}
    assert yard.operator.post(f"/v1/due-list-lines/{moved}/events", event).status_code == 201
    assert days_of(yard.plan()) == {"VAN-01": "2026-05-08", "VAN-02": "2026-05-14"}
    after = yard.operator.get("/v1/due-lists/2026-W19").json()
    assert (
        next(line for line in after["lines"] if line["vehicle"] == "VAN-01")["planned_on"]
        == planned["VAN-01"]
    )
    following = yard.operator.get("/v1/due-lists/2026-W20").json()["lines"]
    line = next(line for line in following if line["vehicle"] == "VAN-02")
    assert (line["planned_on"], line["change"]) == ("2026-05-14", "moved")


def test_a_visit_can_be_asked_why_it_is_where_it_is(yard):
    yard.vehicle("VAN-01", coolant="2026-05-20")
    visit = yard.why("VAN-01")
    assert visit["due_week"] == "2026-W21"
    options = {option["iso_week"]: option for option in visit["options"]}
    assert options["2026-W21"]["early_minor"] == options["2026-W21"]["overdue_minor"] == 0
    assert options["2026-W20"]["early_minor"] > 0
    assert options["2026-W22"]["overdue_minor"] == 3000
    assert options["2026-W23"]["overdue_minor"] == 6000
