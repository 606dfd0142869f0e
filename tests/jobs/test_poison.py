"""One organisation whose data break a job is alone with it: the others' work is done, and somebody hears of it."""

from datetime import timedelta

import pytest
from sqlmodel import select

from service.errors import UnavailableError
from service.jobs import clock as clock_room
from service.jobs import fleet_projection, weekly_run
from service.jobs.clock import Tick
from service.jobs.each_organisation import each_organisation
from service.jobs.fleet_projection import NightlyProjection
from service.jobs.weekly_run import run_weekly
from service.store.repositories import due_lists
from service.store.tables.operations import JobFailure
from service.store.tables.organisation import Organisation
from service.usecases.week.show_figures import show_figures

N_ORGANISATIONS = 4


@pytest.fixture
def keys(found):
    """Organisations, of which the second has data that break something."""
    return [found(f"Invented {number}").caller.organisation_id for number in range(N_ORGANISATIONS)]


def breaks_for(key, place, function):
    """The function, which fails for one organisation; `place` is where its key stands among the arguments."""

    def call(*arguments):
        if arguments[place] == key:
            raise ZeroDivisionError("poison")
        return function(*arguments)

    return call


def with_lists(database):
    with database.snapshot() as session:
        return set(due_lists.list_weeks(session))


def failures(database):
    with database.snapshot() as session:
        return [(one.organisation_id, one.code) for one in session.exec(select(JobFailure))]


def test_a_list_that_cannot_be_drafted_keeps_no_other_from_coming_out(keys, database, clock, monkeypatch):
    broken = breaks_for(keys[1], 1, weekly_run.draft_list)
    monkeypatch.setattr(weekly_run, "draft_list", broken)
    assert run_weekly(database, clock.now(), "node") == N_ORGANISATIONS - 1
    assert with_lists(database) == {*keys} - {keys[1]}
    assert failures(database) == [(keys[1], "ZeroDivisionError")]
    clock.advance(timedelta(seconds=30))
    assert run_weekly(database, clock.now(), "node") == 0
    assert failures(database) == [(keys[1], "ZeroDivisionError")], "a tick later it is no other failure"


def test_a_zone_that_is_no_longer_one_keeps_no_other_from_its_list_and_is_alerted(keys, database, clock):
    """Names leave the IANA list now and then: US/Pacific-New went in 2020b."""
    with database.transaction() as session:
        organisation = session.get(Organisation, keys[1])
        organisation.time_zone = "US/Pacific-New"
        session.add(organisation)
    Tick(database, clock, checks_clock=False)()
    assert with_lists(database) == {*keys} - {keys[1]}
    assert failures(database) == [(keys[1], "invalid-input")]
    with database.snapshot() as session:
        assert show_figures(session, clock.now()).n_overdue_organisations == 1


@pytest.mark.parametrize("name", ["fit_fleet", "refresh_fleet"])
def test_a_fleet_that_cannot_be_brought_up_to_date_keeps_no_other_from_it(
    keys, database, clock, monkeypatch, name
):
    seen = []
    kept = getattr(clock_room, name)

    def watch(session, organisation_id, now):
        seen.append(organisation_id)
        return kept(session, organisation_id, now)

    monkeypatch.setattr(clock_room, name, breaks_for(keys[1], 1, watch))
    Tick(database, clock, checks_clock=False)()
    assert set(seen) == {*keys} - {keys[1]}


def test_a_fleet_that_cannot_be_projected_keeps_no_other_from_it(keys, database, clock, monkeypatch):
    seen = []
    kept = fleet_projection.chunks_of

    def watch(session, organisation_id, since, now):
        seen.append(organisation_id)
        return kept(session, organisation_id, since, now)

    monkeypatch.setattr(fleet_projection, "chunks_of", breaks_for(keys[1], 1, watch))
    NightlyProjection(database, clock, "node").run_if_due()
    assert set(seen) == {*keys} - {keys[1]}


def test_a_lock_on_one_fleet_s_rows_keeps_no_other_from_its_turn(keys, database):
    seen = []

    def work(organisation_id):
        if organisation_id == keys[1]:
            raise UnavailableError("held")
        seen.append(organisation_id)
        return 1

    assert each_organisation(database, "work", work) == N_ORGANISATIONS - 1
    assert set(seen) == {*keys} - {keys[1]}


def test_nobody_is_tried_while_the_database_is_away(keys, database, monkeypatch):
    seen = []

    def work(organisation_id):
        seen.append(organisation_id)
        raise UnavailableError("away")

    monkeypatch.setattr(database, "is_reachable", lambda: False)
    with pytest.raises(UnavailableError):
        each_organisation(database, "work", work)
    assert len(seen) == 1
