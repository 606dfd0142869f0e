"""What a tick does: everything that is due, one failure stopping nothing else, and nothing on a wrong clock."""

import time
from datetime import timedelta

import pytest
from sqlmodel import select

from service.clock import SystemClock
from service.domain.roles import Scope
from service.jobs import clock as clock_room
from service.jobs.clock import Tick, start_clock
from service.jobs.housekeeping import Housekeeping
from service.jobs.weekly_run import run_weekly
from service.store.repositories import due_lists, housekeeping, jobs
from service.store.tables.operations import (
    IdempotencyKey,
    JobFailure,
    JobRun,
    NodeHeartbeat,
    OutboxMessage,
)
from service.store.tables.subscriptions import Subscription
from service.usecases.access.manage_tokens import create_token
from service.usecases.access.note_token_uses import TokenUses
from service.usecases.fleet.change_settings import change_organisation
from service.usecases.week.publish_due_list import draft_list, publish_list

WEEK = timedelta(days=7)


def weeks_of(workshop):
    with workshop.database.snapshot() as session:
        return sorted(due_lists.list_weeks(session).get(workshop.caller.organisation_id, set()))


def test_a_tick_publishes_beats_and_goes_on_after_a_failure(workshop, database, clock):
    done = []

    def fail():
        raise RuntimeError("broken")

    Tick(database, clock, fail, lambda: done.append("sent"), checks_clock=False)()
    assert (weeks_of(workshop), done) == (["2026-W19"], ["sent"])
    with database.snapshot() as session:
        assert jobs.latest_heartbeat(session) == clock.now()
        assert jobs.latest_run(session, "weekly due list") == clock.now()


def test_a_stopped_tick_begins_nothing(workshop, database, clock):
    tick = Tick(database, clock, checks_clock=False)
    tick.stop()
    tick()
    assert weeks_of(workshop) == []


def test_a_node_whose_clock_is_wrong_does_nothing(workshop, database, clock):
    """The test's clock stands months away from the server's; SQLite has no clock but the node's own."""
    Tick(database, clock)()
    assert weeks_of(workshop) == (["2026-W19"] if database.is_sqlite else [])
    Tick(database, SystemClock())()
    assert len(weeks_of(workshop)) >= 1


def test_the_timer_runs_every_task(database):
    ran = {"a": 0, "b": 0}

    def count(name):
        return lambda: ran.__setitem__(name, ran[name] + 1)

    scheduler = start_clock(3600, count("a"), count("b"))
    scheduler.shutdown(wait=True)
    assert set(ran.values()) <= {0, 1}
    scheduler = start_clock(0.02, count("a"), count("b"))
    for _ in range(1000):
        if min(ran.values()) >= 3:
            break
        time.sleep(0.01)
    scheduler.shutdown(wait=True)
    assert min(ran.values()) >= 3


def test_no_run_is_doubled_or_dropped_for_being_late():
    """By default the library drops a run that is more than a second late."""
    scheduler = start_clock(3600, lambda: None)
    (job,) = scheduler.get_jobs()
    scheduler.shutdown(wait=True)
    assert (job.misfire_grace_time, job.coalesce, job.max_instances) == (None, True, 1)


def test_the_timer_does_what_may_wait_once_and_a_moment_later(monkeypatch):
    done = []
    scheduler = start_clock(3600, once=lambda: done.append("soon"))
    scheduler.shutdown(wait=True)
    assert done == []
    monkeypatch.setattr(clock_room, "A_MOMENT", timedelta())
    scheduler = start_clock(0.01, lambda: done.append("tick"), once=lambda: done.append("soon"))
    for _ in range(1000):
        if done.count("tick") >= 3 and "soon" in done:
            break
        time.sleep(0.01)
    scheduler.shutdown(wait=True)
    assert done.count("soon") == 1


def test_a_week_that_fails_is_not_hidden_by_a_later_one(workshop, database, clock, monkeypatch):
    from service.jobs import weekly_run

    run_weekly(database, clock.now(), "node")
    clock.advance(2 * WEEK)
    draft = weekly_run.draft_list

    def fail_once(session, organisation_id, week, now):
        if str(week) == "2026-W20":
            raise RuntimeError("poison")
        return draft(session, organisation_id, week, now)

    monkeypatch.setattr(weekly_run, "draft_list", fail_once)
    assert run_weekly(database, clock.now(), "node") == 0
    monkeypatch.undo()
    assert run_weekly(database, clock.now(), "node") == 2
    assert weeks_of(workshop) == ["2026-W19", "2026-W20", "2026-W21"]


def test_a_list_published_ahead_hides_no_week_before_it(workshop, database, clock):
    from service.domain.weeks import IsoWeek

    week = IsoWeek.parse("2026-W22")
    with database.transaction() as session:
        draft = draft_list(session, workshop.caller.organisation_id, week, clock.now())
        publish_list(session, workshop.caller, week, clock.now(), clock.now(), "api", draft)
    for _ in range(4):
        run_weekly(database, clock.now(), "node")
        clock.advance(WEEK)
    assert weeks_of(workshop) == ["2026-W19", "2026-W20", "2026-W21", "2026-W22"]


@pytest.mark.parametrize(
    "changes",
    [
        {"publishing_weekday": 1},
        {"publishing_weekday": 7, "publishing_minute": 1439},
        {"time_zone": "Pacific/Kiritimati"},
        {"time_zone": "Pacific/Pago_Pago"},
        {"publishing_minute": 0},
    ],
)
@pytest.mark.parametrize("hours", [0, 30, 100])
def test_changing_the_publishing_rule_doubles_and_loses_no_week(workshop, database, clock, changes, hours):
    """Weeks are told apart by their Monday (ISO 8601), so a rule changed at any moment changes only the instant."""
    n_published = run_weekly(database, clock.now(), "node")
    clock.advance(timedelta(hours=hours))
    with database.transaction() as session:
        change_organisation(session, workshop.caller, clock.now(), changes)
    for _ in range(5 * 7):
        n_published += run_weekly(database, clock.now(), "node")
        clock.advance(timedelta(days=1))
    weeks = weeks_of(workshop)
    assert n_published == len(weeks)
    assert weeks == [f"2026-W{number}" for number in range(19, 19 + len(weeks))]
    assert len(weeks) >= 5


def test_housekeeping_deletes_what_is_old_once_an_hour(workshop, database, clock, monkeypatch):
    monkeypatch.setattr(housekeeping, "ROWS_A_TURN", 2)
    key = workshop.caller.organisation_id
    with database.transaction() as session:
        for place, age in enumerate((timedelta(days=8), *[timedelta(days=10)] * 5)):
            session.add(
                IdempotencyKey(
                    organisation_id=key,
                    operation="POST /v1/x",
                    key=str(place),
                    body_hash="",
                    status=200,
                    body=b"",
                    created_at=clock.now() - age,
                )
            )
        session.add(NodeHeartbeat(node="gone", ticked_at=clock.now() - timedelta(days=3)))
        facts = {"job": "x", "period": "y", "code": "z", "detail": "", "node": "n"}
        session.add(JobFailure(organisation_id=key, at=clock.now() - timedelta(days=91), **facts))
        session.add(JobFailure(organisation_id=key, at=clock.now() - timedelta(days=89), **facts))
    keeper = Housekeeping(database, clock)
    assert keeper.run_if_due() == 5 + 1 + 1
    assert keeper.run_if_due() == 0
    clock.advance(timedelta(days=2))
    assert keeper.run_if_due() == 1 + 1, "the younger key and failure have come of age"


def test_housekeeping_keeps_what_is_still_to_be_sent_however_old_it_is(workshop, database, clock):
    key, old = workshop.caller.organisation_id, clock.now() - timedelta(days=500)
    with database.transaction() as session:
        receiver = Subscription(
            organisation_id=key,
            channel="mail",
            target="kim@example.org",
            events=["due_list.published"],
            unsubscribe_code="x",
            created_at=old,
            created_by="test",
        )
        session.add(receiver)
        session.flush()
        for state in ("waiting", "sending", "sent", "given_up"):
            facts = {
                "event": "due_list.published",
                "channel": "mail",
                "target": receiver.target,
                "payload": {},
            }
            session.add(
                OutboxMessage(
                    organisation_id=key,
                    subscription_id=receiver.id,
                    message_key=state,
                    state=state,
                    next_try_at=old,
                    created_at=old,
                    **facts,
                )
            )
    assert Housekeeping(database, clock).run_if_due() == 2
    with database.snapshot() as session:
        assert set(session.exec(select(OutboxMessage.state))) == {"waiting", "sending"}


def test_uses_of_tokens_are_stored_now_and_then_and_survive_a_failure(workshop, database, clock):
    with database.transaction() as session:
        token, _ = create_token(session, workshop.caller, clock.now(), "office", [Scope.READ])

    def stored():
        with database.snapshot() as session:
            return session.get(type(token), token.id).last_used_at

    uses, noted = TokenUses(), clock.now()
    uses.note(token.id, noted)

    class Away:
        def transaction(self):
            raise OSError

    with pytest.raises(OSError):  # noqa: PT011 - any failure will do
        uses.flush(Away())
    assert uses.flush(database) == 1
    assert stored() == noted
    uses.note(token.id, noted + timedelta(seconds=30))
    assert uses.flush(database) == 0, "to the minute is enough"
    uses.note(token.id, noted + timedelta(minutes=2))
    assert uses.flush(database) == 1
    late = TokenUses()
    late.note(token.id, noted)
    late.flush(database)
    assert stored() == noted + timedelta(minutes=2), "another node's earlier note changes nothing"


def test_runs_of_three_years_ago_go_and_their_lists_are_not_made_again(workshop, database, clock):
    """What is published is known by the lists, so that a run that is forgotten is not repeated."""
    tick = Tick(database, clock, checks_clock=False)
    tick()
    published = weeks_of(workshop)
    assert published
    with database.transaction() as session:
        for run in session.exec(select(JobRun)):
            run.finished_at = clock.now() - housekeeping.RUNS_KEPT - timedelta(days=1)
            session.add(run)
    assert Housekeeping(database, clock).run_if_due() == len(published)
    tick()
    assert weeks_of(workshop) == published
