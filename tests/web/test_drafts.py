"""A draft is shown again for some minutes, but never past something that somebody did."""

from datetime import timedelta

import pytest

from service.errors import UnavailableError
from service.store.repositories import fleet as fleet_rows
from service.store.repositories.changes import latest_change
from service.usecases.access.delete_organisation import delete_organisation
from service.web.drafts import BEARS_ON_NO_DRAFT, KEPT_FOR, MOST_WITH_WORK
from tests.web.small_fleet import FRIDAY

DRAFT = "/due-lists/2026-W19"
DAY = "/vehicles/veh_1/day"


@pytest.fixture
def counted(workshop, fleet, monkeypatch):
    """Somebody is signed in; gives the instants at which a list was worked out."""
    from service.web import drafts

    instants = []

    def show(session, caller, now, name, kept=None):
        instants.append(now)
        return original(session, caller, now, name, kept)

    original = drafts.show_due_list
    monkeypatch.setattr(drafts, "show_due_list", show)
    workshop.come_in()
    return instants


def test_a_draft_is_worked_out_once_and_says_when(workshop, counted):
    first = workshop.get(DRAFT).text
    workshop.clock.advance(timedelta(minutes=4))
    second = workshop.get(f"{DRAFT}?vehicle=VAN").text
    assert len(counted) == 1
    assert "Draft of 06:30" in first
    assert "Draft of 06:30" in second
    assert "VAN-01" in second


def test_time_and_readings_come_in_after_five_minutes(workshop, counted):
    workshop.get(DRAFT)
    workshop.clock.advance(KEPT_FOR)
    assert "Draft of 06:35" in workshop.get(DRAFT).text
    assert counted == [FRIDAY, FRIDAY + KEPT_FOR]


def test_a_clock_that_was_set_back_keeps_nothing(workshop, counted):
    workshop.get(DRAFT)
    workshop.clock.advance(timedelta(minutes=-1))
    workshop.get(DRAFT)
    assert len(counted) == 2


def test_what_somebody_did_is_in_the_draft_at_once(workshop, counted):
    workshop.get(DRAFT)
    answer = workshop.fill(DAY, DAY, week="2026-W19", kind="on", day="2026-05-07")
    assert answer.status_code == 303
    assert "Pinned to Thursday 07/05/2026" in workshop.get(DRAFT).text
    assert len(counted) == 2
    removed = workshop.operator.delete("/v1/vehicles/VAN-01")
    assert removed.status_code == 204, removed.text
    assert "VAN-01" not in workshop.get(DRAFT).text


def test_what_was_done_is_worked_out_as_of_the_same_instant_until_that_is_old(workshop, counted):
    workshop.get(DRAFT)
    workshop.clock.advance(timedelta(minutes=3))
    assert workshop.fill(DAY, DAY, week="2026-W19", kind="on", day="2026-05-07").status_code == 303
    assert "Draft of 06:33" in workshop.get(DRAFT).text
    workshop.clock.advance(timedelta(minutes=1))
    assert "Draft of 06:33" in workshop.get(DRAFT).text
    workshop.clock.advance(timedelta(minutes=1))
    assert "Draft of 06:35" in workshop.get(DRAFT).text
    assert counted == [FRIDAY, FRIDAY, FRIDAY + KEPT_FOR]


def test_work_is_kept_for_few_drafts(workshop, counted):
    for week in range(19, 19 + MOST_WITH_WORK + 2):
        workshop.get(f"/due-lists/2026-W{week}")
    kept = workshop.client.app.state.drafts._kept.values()
    assert [one.work is not None for one in kept] == [False] * 2 + [True] * MOST_WITH_WORK


def test_signing_in_works_nothing_out_again(workshop, counted):
    workshop.get(DRAFT)
    workshop.come_in("paul")
    workshop.get(DRAFT)
    assert len(counted) == 1


def test_a_published_list_is_never_a_kept_draft(workshop, counted):
    workshop.get(DRAFT)
    assert workshop.operator.post("/v1/due-lists/2026-W19/publish").status_code == 200
    assert "Published 01/05/2026 06:30" in workshop.get(DRAFT).text


def test_drafts_are_those_of_the_own_organisation(workshop, counted, join):
    workshop.get(DRAFT)
    other = join("Other Invented")
    workshop.come_in("quin", organisation_id=other.organisation_id)
    assert "VAN-01" not in workshop.get(DRAFT).text


def test_a_draft_of_a_deleted_organisation_is_nobody_elses(workshop, counted, join):
    """SQLite gives its id, and the numbers of its changes, to whoever comes next."""
    workshop.get(DRAFT)
    before = _latest_number(workshop.database, workshop.operator.organisation_id)
    with workshop.database.transaction() as session:
        delete_organisation(session, workshop.operator.organisation_id)
    workshop.clock.advance(timedelta(minutes=1))
    other = join("Other Invented")
    for number in range(before):
        if _latest_number(workshop.database, other.organisation_id) < before:
            assert other.post("/v1/depots", {"depot": f"Yard {number}"}).status_code == 201
    workshop.come_in("quin", organisation_id=other.organisation_id)
    assert "VAN-01" not in workshop.get(DRAFT).text


def _latest_number(database, organisation_id):
    with database.snapshot() as session:
        latest = latest_change(session, organisation_id, BEARS_ON_NO_DRAFT)
    return 0 if latest is None else latest[0]


def test_the_present_week_is_ready_after_a_start(workshop, counted):
    workshop.client.app.state.drafts.warm_up(workshop.database, FRIDAY)
    assert counted == [FRIDAY]
    assert "Draft of 06:30" in workshop.get("/").text
    assert counted == [FRIDAY]


def test_a_start_without_a_database_is_none_the_worse(workshop, counted, monkeypatch):
    def away(*_):
        raise UnavailableError("The database is away.")

    monkeypatch.setattr(fleet_rows, "list_organisation_ids", away)
    workshop.client.app.state.drafts.warm_up(workshop.database, FRIDAY)
    assert counted == []
