"""The weekly run keeps its time through the two nights on which clocks change, and through the turn of a long year."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlmodel import select

from service.jobs.weekly_run import run_weekly
from service.store.repositories import due_lists
from service.store.tables.organisation import Depot
from service.usecases.access.found_organisation import found_organisation
from service.usecases.week.publish_now import publish_now
from service.usecases.week.show_figures import show_figures
from tests.jobs.vans import add_due_van

SUNDAY = 7
HALF_PAST_TWO = 150


@pytest.fixture
def berlin(join):
    """An operator whose list is fixed on Sundays at 02:30, the time that the clock skips or shows twice."""
    return join(
        "Invented Night Shift",
        time_zone="Europe/Berlin",
        publishing_weekday=SUNDAY,
        publishing_minute=HALF_PAST_TWO,
    )


def lists_of(database, operator):
    with database.snapshot() as session:
        return due_lists.list_lists(session, operator.organisation_id)


def published_in_the_night(database, clock, first: datetime, hours: int) -> list[datetime]:
    """Run every ten minutes; the instants at which a list came out."""
    instants = []
    for step in range(6 * hours + 1):
        clock.present = first + timedelta(minutes=10 * step)
        instants += [clock.now()] * run_weekly(database, clock.now(), "node")
    return instants


def test_a_time_that_the_clock_skips_is_taken_at_the_end_of_the_gap(berlin, database, clock):
    """29 March 2026: 02:00 becomes 03:00 at 01:00 UTC (IANA time zone data)."""
    clock.present = datetime(2026, 3, 27, 12, 0, tzinfo=UTC)
    assert run_weekly(database, clock.now(), "node") == 1
    instants = published_in_the_night(database, clock, datetime(2026, 3, 28, 22, 0, tzinfo=UTC), 8)
    assert instants == [datetime(2026, 3, 29, 1, 0, tzinfo=UTC)]
    lists = lists_of(database, berlin)
    assert [one.iso_week for one in lists] == ["2026-W14", "2026-W13"]
    assert lists[0].due_at == datetime(2026, 3, 29, 1, 0, tzinfo=UTC)


def test_a_time_that_the_clock_shows_twice_is_taken_once(berlin, database, clock):
    """25 October 2026: 03:00 becomes 02:00 at 01:00 UTC; 02:30 is at 00:30 and again at 01:30 UTC (IANA data)."""
    clock.present = datetime(2026, 10, 23, 12, 0, tzinfo=UTC)
    assert run_weekly(database, clock.now(), "node") == 1
    instants = published_in_the_night(database, clock, datetime(2026, 10, 24, 22, 0, tzinfo=UTC), 8)
    assert instants == [datetime(2026, 10, 25, 0, 30, tzinfo=UTC)]
    assert [one.iso_week for one in lists_of(database, berlin)] == ["2026-W44", "2026-W43"]


def test_planned_days_are_local_days_of_the_week_after_the_change(berlin, database, clock):
    """The list is published at 01:00 UTC on Sunday; its first day is Monday 30 March in Berlin."""
    clock.present = datetime(2026, 3, 29, 1, 0, tzinfo=UTC)
    add_due_van(berlin, "VAN-01", "2026-03-31")
    assert run_weekly(database, clock.now(), "node") == 1
    line = berlin.get("/v1/due-lists/2026-W14").json()["lines"][0]
    assert line["planned_on"] == "2026-03-30"
    assert line["due"]["p50"] == "2026-03-31"


FRIDAYS = [datetime(2026, 12, 18, 6, tzinfo=UTC) + timedelta(weeks=week) for week in range(4)]
WEEKS = ["2026-W52", "2026-W53", "2027-W01", "2027-W02"]
"""2026 has 53 weeks: 28 December 2026 to 3 January 2027 is the last (ISO 8601, week 1 holds 4 January)."""


def test_the_weeks_52_53_and_1_follow_each_other_and_carry_lines_over(operator, database, clock):
    clock.present = FRIDAYS[0]
    add_due_van(operator, "VAN-01", "2026-12-23")
    add_due_van(operator, "VAN-02", "2027-01-06")
    listed = {}
    for friday, week in zip(FRIDAYS, WEEKS, strict=True):
        clock.present = friday
        assert run_weekly(database, clock.now(), "node") == 1
        assert run_weekly(database, clock.now(), "node") == 0
        body = operator.get(f"/v1/due-lists/{week}").json()
        listed[week] = {
            line["vehicle"]: (line["change"], line["first_listed_week"]) for line in body["lines"]
        }
        assert body["since_last"]["list"] == {WEEKS[0]: None}.get(week, WEEKS[WEEKS.index(week) - 1])
    assert listed == {
        "2026-W52": {"VAN-01": ("new", "2026-W52")},
        "2026-W53": {"VAN-01": ("carried_over", "2026-W52")},
        "2027-W01": {"VAN-01": ("carried_over", "2026-W52"), "VAN-02": ("new", "2027-W01")},
        "2027-W02": {"VAN-01": ("carried_over", "2026-W52"), "VAN-02": ("carried_over", "2027-W01")},
    }


def test_runs_missed_over_the_turn_of_the_year_are_caught_up_in_order(operator, database, clock):
    clock.present = FRIDAYS[0]
    add_due_van(operator, "VAN-01", "2026-12-23")
    assert run_weekly(database, clock.now(), "node") == 1
    clock.present = FRIDAYS[3]
    assert run_weekly(database, clock.now(), "node") == 3
    lists = lists_of(database, operator)
    assert [one.iso_week for one in lists] == WEEKS[::-1]
    assert [one.due_at for one in lists] == FRIDAYS[::-1]


def test_a_plan_over_the_turn_of_the_year_knows_the_holidays_of_both_years(operator, database, clock):
    """Christmas, Boxing Day and New Year's Day close the depot (holidays library, GB-ENG)."""
    clock.present = FRIDAYS[0]
    for number in range(20):
        add_due_van(operator, f"VAN-{number:02d}", "2026-12-23")
    with database.transaction() as session:
        depot = session.exec(select(Depot)).one()
        depot.holiday_region, depot.bay_minutes = "GB-ENG", [70] * 5 + [0, 0]
        session.add(depot)
    days = {visit["day"] for visit in operator.get("/v1/visits").json()["visits"]}
    assert len(days) == 20
    assert days.isdisjoint({"2026-12-25", "2026-12-28", "2027-01-01"})
    assert {"2026-12-24", "2026-12-29", "2027-01-04"} <= days


def test_the_first_days_of_an_organisation_are_a_draft_until_its_first_publishing_time(database, clock):
    """Whoever registers a fleet on a Monday does not look for a week at the list of a fleet without vehicles."""
    monday = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
    with database.transaction() as session:
        organisation, _ = found_organisation(session, monday, "Invented Beginners", {"time_zone": "UTC"})
        key = organisation.id
    for moment in (monday, monday + timedelta(days=3)):
        assert run_weekly(database, moment, "node") == 0
        with database.snapshot() as session:
            assert show_figures(session, moment).n_overdue_organisations == 0
    friday = datetime(2026, 5, 8, 6, 0, tzinfo=UTC)
    assert run_weekly(database, friday, "node") == 1
    with database.snapshot() as session:
        assert [one.iso_week for one in due_lists.list_lists(session, key)] == ["2026-W20"]


def test_whoever_publishes_the_first_week_by_hand_has_the_next_one_on_time(database, clock):
    monday = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
    with database.transaction() as session:
        _, caller = found_organisation(session, monday, "Invented Beginners", {"time_zone": "UTC"})
    with database.transaction() as session:
        publish_now(session, caller, monday, "2026-W19", "node")
    assert run_weekly(database, monday + timedelta(days=1), "node") == 0
    assert run_weekly(database, datetime(2026, 5, 8, 6, 0, tzinfo=UTC), "node") == 1
