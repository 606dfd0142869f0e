"""The plan when something is odd: it says so for each visit, and it never fails."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from sqlmodel import select

from service.domain.visit_reasons import Placing
from service.domain.weeks import IsoWeek
from service.engine.due.limits import Meter
from service.store.tables.organisation import Depot, Organisation
from service.store.tables.vehicles import Vehicle
from service.store.tables.visits import VisitPin
from service.usecases.access.caller import system_caller
from service.usecases.visits.explain_visits import explain_visit
from service.usecases.visits.fleet_names import load_names
from service.usecases.visits.plan_visits import plan_visits
from service.usecases.visits.visit_jobs import use_a_day
from service.usecases.week.publish_due_list import draft_list, publish_list
from service.usecases.week.show_visits import show_visits

NOW = datetime(2026, 5, 1, 6, 30, tzinfo=UTC)
WEEK = IsoWeek(2026, 19)


@pytest.fixture
def shop(operator, clock):
    clock.present = NOW
    return operator


def add_van(shop, number: int, due: str = "2026-05-06", compartments: int = 1, **facts: object) -> None:
    """A van whose brake fluid is due on a certain day, 24 months after the last change."""
    body = {"vehicle": f"VAN-{number:02d}", "class": "van", "depot": "North", **facts}
    assert shop.post("/v1/vehicles", body).status_code == 201
    for place in range(compartments):
        add_circuit(shop, number, place, due)


def add_circuit(shop, number: int, place: int, due: str) -> None:
    day = date.fromisoformat(due)
    compartment = {
        "kind": "brake_fluid",
        "compartment": f"circuit {place}",
        "interval_months": 24,
        "last_service_on": day.replace(year=day.year - 2).isoformat(),
    }
    assert shop.post(f"/v1/vehicles/VAN-{number:02d}/compartments", compartment).status_code == 201


def change(database, table, **facts: object) -> None:
    """Set columns of the only row of a table."""
    with database.transaction() as session:
        row = session.exec(select(table)).one()
        for name, value in facts.items():
            setattr(row, name, value)
        session.add(row)


def planned(database, shop, week: IsoWeek = WEEK, now: datetime = NOW):
    with database.snapshot() as session:
        names = load_names(session, shop.organisation_id)
        plan = plan_visits(session, names, week, now)
        explained = [explain_visit(plan, names, place) for place in range(plan.visits.day.size)]
        return plan, explained


def drafted(database, shop, week: IsoWeek = WEEK, now: datetime = NOW):
    with database.snapshot() as session:
        return draft_list(session, shop.organisation_id, week, now)[0]


@pytest.mark.parametrize("minutes", [[0] * 7, [], [-60] * 7])
def test_a_depot_without_hours_is_named_as_the_reason(database, shop, minutes):
    add_van(shop, 1)
    change(database, Depot, bay_minutes=minutes)
    plan, explained = planned(database, shop)
    assert plan.visits.day.tolist() == [-1]
    assert explained[0].placing is Placing.DEPOT_CLOSED
    assert explained[0].text == "North has no bay hours in these 8 weeks."
    line = drafted(database, shop)[0]
    assert line.planned_on is None
    assert "North has no bay hours" in line.reason


def test_a_week_in_which_the_depot_is_closed_is_left_out(database, shop):
    add_van(shop, 1)
    change(database, Depot, closed_on=[day.isoformat() for day in WEEK.days()])
    plan, explained = planned(database, shop)
    assert plan.day_of(0) == date(2026, 5, 11)
    assert explained[0].placing is Placing.DELAYED
    assert "vehicle and bays do not meet sooner" in explained[0].text


def test_a_vehicle_that_may_never_come_is_said(database, shop):
    add_van(shop, 1)
    change(database, Vehicle, available_weekdays=0)
    _, explained = planned(database, shop)
    assert explained[0].placing is Placing.VEHICLE_NEVER_THERE


def test_a_vehicle_that_cannot_come_before_it_is_due_comes_as_soon_as_it_can(database, shop):
    """Due on Wednesday 6 May, free on Mondays only, and 4 May is closed: 11 May."""
    add_van(shop, 1, available_weekdays=[1])
    change(database, Depot, closed_on=["2026-05-04"])
    plan, explained = planned(database, shop)
    assert plan.day_of(0) == date(2026, 5, 11)
    assert explained[0].placing is Placing.DELAYED


def test_a_visit_longer_than_any_day_is_taken_apart(database, shop):
    """Three jobs of 50 minutes and 20 for setting up are 170; the bays have 100 a day: three visits of 70."""
    add_van(shop, 1, compartments=3)
    change(database, Depot, bay_minutes=[100] * 5 + [0, 0])
    plan, _ = planned(database, shop)
    assert plan.visits.labour_minutes.tolist() == [70.0, 70.0, 70.0]
    assert plan.visits.is_split.all()
    assert not plan.visits.saved_minor.any()
    assert len(set(plan.visits.day.tolist())) == 3
    assert (plan.booked_minutes <= plan.open_minutes).all()
    with database.snapshot() as session:
        shown = show_visits(session, system_caller(shop.organisation_id, "test"), NOW)
    assert all("longer than any day" in visit.reasons[-1] for visit in shown.visits)


def test_the_parts_of_a_visit_taken_apart_come_in_the_order_of_their_dates(database, shop):
    """Three fluids of one visit, due on three days; the one that was registered first is due last."""
    add_van(shop, 1, "2026-05-20")
    add_circuit(shop, 1, 1, "2026-05-06")
    add_circuit(shop, 1, 2, "2026-05-13")
    assert planned(database, shop)[0].visits.day.size == 1
    change(database, Depot, bay_minutes=[100] * 5 + [0, 0])
    plan, _ = planned(database, shop)
    assert plan.visits.is_split.tolist() == [True] * 3
    assert plan.visits.latest_days.tolist() == sorted(set(plan.visits.latest_days.tolist()))
    assert plan.visits.is_first.tolist() == [True, False, False]


def test_what_is_due_before_the_plan_begins_comes_with_what_is_due_on_its_first_day(database, shop):
    """A week early is more than a two-hundredth of two years; a plan that begins on 11 May has both on that day."""
    add_van(shop, 1, "2026-05-02")
    add_circuit(shop, 1, 1, "2026-05-11")
    change(database, Organisation, planning={"most_early_share": 0.005})
    assert planned(database, shop)[0].visits.day.size == 2
    assert planned(database, shop, IsoWeek(2026, 20))[0].visits.day.size == 1


@pytest.mark.parametrize(("probability", "odds"), [(0.5, 1.0), (0.8, 0.25)])
def test_a_visit_waits_for_no_later_week_than_it_is_listed_for_however_little_lateness_costs(
    database, shop, probability, odds
):
    """The cheapest week is where F reaches early / (early + overdue) (newsvendor): that is the listing probability."""
    add_van(shop, 1, "2026-05-20")
    terms = {"overdue_minor_a_week": 0.0, "listing_probability": probability}
    change(database, Organisation, planning=terms)
    plan, _ = planned(database, shop)
    assert plan.day_of(0) in IsoWeek(2026, 21).days()
    assert plan.visits.overdue_minor_a_week == pytest.approx(odds * plan.visits.early_minor_a_week)


def test_a_job_longer_than_any_day_is_said(database, shop):
    add_van(shop, 1)
    change(database, Depot, bay_minutes=[60] * 5 + [0, 0])
    _, explained = planned(database, shop)
    assert explained[0].placing is Placing.LONGER_THAN_ANY_DAY
    assert explained[0].text == "It takes 70 minutes, more than any day of North has."


def test_all_vehicles_due_in_one_week_fill_the_weeks_and_the_rest_is_said(database, shop):
    """30 visits of 70 minutes; 2 a day on one day a week: 16 in 8 weeks, 14 without a day."""
    for number in range(30):
        add_van(shop, number)
    change(database, Depot, bay_minutes=[0, 140, 0, 0, 0, 0, 0])
    plan, explained = planned(database, shop)
    assert int((plan.visits.day >= 0).sum()) == 16
    assert (plan.booked_minutes <= plan.open_minutes).all()
    left = [one for place, one in enumerate(explained) if plan.visits.day[place] < 0]
    assert [one.placing for one in left] == [Placing.BAYS_FULL] * 14
    lines = drafted(database, shop)
    assert len(lines) == 30
    assert sum(line.planned_on is not None and line.planned_on in WEEK.days() for line in lines) == 2


def test_overtime_is_used_only_where_the_organisation_allows_it(database, shop):
    """Two visits of 70 minutes on the only day of 120: with a fifth more there is room for both, 140 of 144."""
    add_van(shop, 1)
    add_van(shop, 2)
    change(database, Depot, bay_minutes=[0, 120, 0, 0, 0, 0, 0])
    plan, _ = planned(database, shop)
    assert sorted(plan.visits.day.tolist()) == [1, 8]
    terms = {"overtime_share": 0.2, "overtime_minor_an_hour": 100.0, "overdue_minor_a_week": 9_000.0}
    change(database, Organisation, planning=terms)
    plan, _ = planned(database, shop)
    assert plan.visits.day.tolist() == [1, 1]


def test_terms_that_make_no_sense_count_as_not_set(database, shop):
    add_van(shop, 1)
    usual, _ = planned(database, shop)
    change(
        database,
        Organisation,
        planning={"visit_minor": -5.0, "listing_probability": 0.0, "overtime_share": -1.0},
    )
    odd, _ = planned(database, shop)
    assert odd.visits.day.tolist() == usual.visits.day.tolist()


@pytest.mark.parametrize("probability", [0.02, 0.1, 0.25, 0.5, 0.8, 0.9, 0.97])
def test_any_listing_probability_can_be_planned_with(database, shop, probability):
    """All of a fluid's probability lies on one day, so the threshold does not matter."""
    add_van(shop, 1)
    change(database, Organisation, planning={"listing_probability": probability})
    plan, _ = planned(database, shop)
    assert plan.visits.due_week.tolist() == [0]
    assert plan.day_of(0) in WEEK.days()


def test_an_unknown_holiday_region_closes_nothing(database, shop):
    add_van(shop, 1)
    change(database, Depot, holiday_region="XX-99")
    plan, _ = planned(database, shop)
    assert plan.day_of(0) == date(2026, 5, 4)


def test_days_that_are_over_are_not_planned_and_today_is(database, shop):
    """Due on Monday, looked at on Thursday 7 May: today is the first day, and the visit is late."""
    add_van(shop, 1, "2026-05-04")
    thursday = datetime(2026, 5, 7, 9, 0, tzinfo=UTC)
    plan, explained = planned(database, shop, now=thursday)
    assert plan.day_of(0) == date(2026, 5, 7)
    assert explained[0].placing is Placing.OVERDUE


def test_a_list_of_a_week_that_is_over_plans_its_work_from_today(database, shop):
    add_van(shop, 1)
    line = drafted(database, shop, now=NOW + timedelta(days=21))[0]
    assert line.planned_on is not None
    assert line.planned_on >= date(2026, 5, 22)


def test_a_list_far_ahead_can_be_drafted(database, shop):
    add_van(shop, 1)
    assert drafted(database, shop, IsoWeek(2026, 40))[0].planned_on == date(2026, 9, 28)
    assert drafted(database, shop, IsoWeek(2027, 40))[0].planned_on == date(2027, 10, 4)


def test_an_organisation_with_nothing_has_an_empty_plan(database, shop):
    plan, explained = planned(database, shop)
    assert (len(plan.jobs), explained, drafted(database, shop)) == (0, [], [])


def pin(database, shop, vehicle_id: int, kind: str, day: date) -> None:
    with database.transaction() as session:
        session.add(
            VisitPin(
                organisation_id=shop.organisation_id,
                vehicle_id=vehicle_id,
                kind=kind,
                day=day,
                created_at=NOW - timedelta(hours=1),
                by="planner",
            )
        )


def test_pins_that_overbook_a_day_or_fall_on_a_closed_one_are_kept_and_said(database, shop):
    for number in (1, 2, 3):
        add_van(shop, number)
    change(database, Depot, bay_minutes=[100] * 5 + [0, 0])
    for vehicle_id, day in ((1, date(2026, 5, 5)), (2, date(2026, 5, 5)), (3, date(2026, 5, 9))):
        pin(database, shop, vehicle_id, "on", day)
    plan, explained = planned(database, shop)
    assert [plan.day_of(place) for place in range(3)] == [date(2026, 5, 5)] * 2 + [date(2026, 5, 9)]
    assert "North is overbooked by 40 minutes on this day." in explained[0].text
    assert "North has no bay hours on this day." in explained[2].text


@pytest.mark.parametrize("kind", ["on", "not_before"])
def test_a_pin_beyond_the_weeks_holds_the_vehicle_back_and_says_so(database, shop, kind):
    add_van(shop, 1)
    pin(database, shop, 1, kind, date(2026, 9, 1))
    plan, explained = planned(database, shop)
    assert plan.visits.day.tolist() == [-1]
    assert explained[0].placing is Placing.HELD_BACK
    assert explained[0].text.startswith("Held back until 2026-09-01 by planner")


def test_a_pin_whose_day_is_over_asks_for_nothing(database, shop):
    add_van(shop, 1)
    pin(database, shop, 1, "not_before", date(2026, 4, 30))
    assert planned(database, shop)[1][0].placing is Placing.IN_ITS_WEEK


def test_a_promised_day_that_is_over_binds_nobody(database, shop):
    """Promised for Monday and not done: on Thursday the vehicle comes at once."""
    add_van(shop, 1)
    with database.snapshot() as session:
        draft = draft_list(session, shop.organisation_id, WEEK, NOW)
    with database.transaction() as session:
        publish_list(session, system_caller(shop.organisation_id, "test"), WEEK, NOW, NOW, "test", draft)
    assert planned(database, shop)[0].day_of(0) == date(2026, 5, 4)
    thursday = datetime(2026, 5, 7, 9, 0, tzinfo=UTC)
    assert planned(database, shop, now=thursday)[0].day_of(0) == date(2026, 5, 7)


@pytest.mark.parametrize(
    ("interval_km", "life_km", "least", "most"),
    [(100, 1_000_000, 1.0, 1.0), (1_000_000, 10_000, 16.0, 34.0)],
    ids=["shorter than a day counts as a day", "by condition"],
)
def test_an_interval_ends_with_the_first_of_its_limits(database, shop, interval_km, life_km, least, most):
    """85 % of a life of 10,000 km last 17 days at 500 a day, and 34 if use falls back to half of that (derived)."""
    add_van(shop, 1, compartments=0)
    oil = {"kind": "engine_oil_petrol", "interval_km": interval_km, "life_km": life_km}
    assert shop.post("/v1/vehicles/VAN-01/compartments", oil).status_code == 201
    readings = [
        {"vehicle": "VAN-01", "taken_at": f"2026-04-{day:02d}T06:00:00Z", "odometer": 10_000 + 500 * day}
        for day in (1, 8, 15, 22, 29)
    ]
    assert shop.post("/v1/readings", {"readings": readings}).json()["accepted"] == 5
    (days,) = planned(database, shop)[0].jobs.interval_days
    assert least <= days <= most


def test_a_meter_that_stands_still_or_was_never_read_wears_no_interval_out():
    nothing = np.zeros(2)
    meter = Meter(
        last_reading=np.array([90_000.0, np.nan]),
        days_since_reading=nothing,
        moments=lambda _rows, days: (0.0 * days, 0.0 * days),
    )
    assert use_a_day(meter).tolist()[0] == 0.01
    assert np.isnan(use_a_day(meter)[1])


def test_the_same_question_has_the_same_answer(database, shop):
    for number in range(12):
        add_van(shop, number, f"2026-05-{4 + number:02d}", compartments=1 + number % 2)
    change(database, Depot, bay_minutes=[150] * 5 + [0, 0])
    first, again = planned(database, shop)[0], planned(database, shop)[0]
    assert np.array_equal(first.visits.day, again.visits.day)
    assert drafted(database, shop) == drafted(database, shop)
