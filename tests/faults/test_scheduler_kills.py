"""Three schedulers on one database, killed again and again around the publishing instants: one whole list a week.

No product sells side effects that happen exactly once; what makes a list happen once here is a unique row in the
transaction that writes it (as in the periodic tasks of procrastinate, whose documentation describes the same key).
Every list is announced to a receiver that fails three calls of ten. One of the clocks is eight days behind, and in
the middle everybody is away for 2.2 weeks. FAULT_KILLS=20 FAULT_WEEKS=10 FAULT_ORGANISATIONS=10 asks for the whole,
FAULT_SECONDS_A_WEEK=60 gives nodes the time to start between two kills: away for more than eight weeks, they make good
the last eight only.
"""

import json
import os
import random
import signal
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from sqlmodel import select
from standardwebhooks import Webhook

from service.domain.events import Event
from service.domain.fluid_kinds import FluidKind
from service.domain.roles import Scope
from service.domain.vehicle_classes import VehicleClass
from service.domain.weeks import IsoWeek, PublishingRule, publishing_instant
from service.jobs.weekly_run import run_weekly
from service.store.tables.organisation import Organisation
from service.usecases.access.caller import Caller
from service.usecases.deliveries.subscribe import subscribe
from service.usecases.fleet.register_compartments import register_compartment
from service.usecases.fleet.register_vehicles import NewVehicle, register_vehicle
from tests.clients.sinks import Sink, listening, reply
from tests.faults.nodes import Node, Store, scheduling

START = datetime(2026, 5, 6, 12, 0, tzinfo=UTC)
"""A Wednesday in ISO week 2026-W19."""

ZONES = ("Europe/Berlin", "America/Santiago", "Pacific/Chatham")
N_ORGANISATIONS = int(os.environ.get("FAULT_ORGANISATIONS", "3"))
N_WEEKS = int(os.environ.get("FAULT_WEEKS", "4"))
N_KILLS = 3 * int(os.environ.get("FAULT_KILLS", "2"))
"""Of three nodes."""

SECONDS_A_WEEK = float(os.environ.get("FAULT_SECONDS_A_WEEK", "8"))
SPEED = 7 * 86_400 / SECONDS_A_WEEK
SKEWS_SECONDS = (0.0, 90.0, -8 * 86_400.0)
"""On the nodes' own clocks: as they are, ninety seconds ahead, set back by eight days."""

OUTAGE_BEGINS, OUTAGE_WEEKS = 1.5, 2.2
FAILING_SHARE = 0.3
VEHICLES = 6


def _fail_now_and_then(_sink: Sink, handler: BaseHTTPRequestHandler) -> None:
    """Refuse three calls of ten, one of them late."""
    chance = random.random()
    if chance < FAILING_SHARE / 3:
        time.sleep(0.5)
    reply(handler, 500 if chance < FAILING_SHARE else 200)


def _found_fleets(store: Store, url: str) -> tuple[dict[int, PublishingRule], dict[int, str]]:
    """Organisations in three zones, each with a few vehicles that have long been due and somebody who is told.

    Gives their rules, and the secrets that sign what is sent to them.
    """
    rules, secrets = {}, {}
    for place in range(N_ORGANISATIONS):
        zone = ZONES[place % len(ZONES)]
        key, _ = store.found(f"Invented {place}", time_zone=zone)
        caller = Caller(organisation_id=key, actor="test", scopes=frozenset(Scope))
        with store.database.transaction() as session:
            events = [Event.DUE_LIST_PUBLISHED]
            secrets[key] = subscribe(session, caller, START, "webhook", f"{url}/{key}", events).secret
            for number in range(VEHICLES):
                new = NewVehicle(reference=f"V{number}", vehicle_class=VehicleClass.VAN)
                register_vehicle(session, caller, START, new)
                facts = {"interval_months": 12, "baseline_on": datetime(2024, 1, 8, tzinfo=UTC).date()}
                register_compartment(
                    session, caller, START, f"V{number}", FluidKind.ENGINE_OIL_DIESEL_HEAVY, facts
                )
            organisation = session.exec(select(Organisation).where(Organisation.id == key)).one()
            organisation.created_at = START - timedelta(
                days=6
            )  # a clock set back shows weeks before there was anybody
            session.add(organisation)
            rules[key] = _rule(organisation)
    return rules, secrets


def _rule(organisation: Organisation) -> PublishingRule:
    return PublishingRule(zone=ZoneInfo(organisation.time_zone), iso_weekday=organisation.publishing_weekday)


def _instants(rules: dict[int, PublishingRule]) -> list[datetime]:
    weeks = [IsoWeek.of(START.date()).shifted(number) for number in range(1, N_WEEKS + 1)]
    return sorted(publishing_instant(week, rule) for week in weeks for rule in rules.values())


def _kill_moments(rules: dict[int, PublishingRule], rng: np.random.Generator) -> Iterator[float]:
    """Seconds after the start, two of three of them aimed at a moment at which a list becomes due."""
    instants = [(instant - START).total_seconds() / SPEED for instant in _instants(rules)]
    moments = [
        float(rng.choice(instants) + rng.uniform(-0.2, 0.8))
        if number % 3
        else float(rng.uniform(0, instants[-1]))
        for number in range(N_KILLS)
    ]
    yield from sorted(moments)


def _run_with_kills(nodes: list[Node], rules: dict[int, PublishingRule], epoch: float) -> int:
    """Kill and start again; in the weeks of the outage nobody is there, and those kills come after it."""
    rng = np.random.default_rng(20260506)
    gone = OUTAGE_BEGINS * SECONDS_A_WEEK
    back = gone + OUTAGE_WEEKS * SECONDS_A_WEEK
    moments = [
        back + (moment - gone) / 2 if gone < moment < back else moment for moment in _kill_moments(rules, rng)
    ]

    def wait_for(moment: float) -> None:
        time.sleep(max(0.0, epoch + moment - time.time()))

    queue = list(nodes)
    for moment in sorted([*moments, gone]):
        wait_for(moment)
        # Whoever has been up longest: one that is still starting holds nothing that a kill could break.
        queue.append(queue.pop(0))
        victims = nodes if moment == gone else queue[-1:]
        for node in victims:
            node.stop(signal.SIGKILL)
        if moment == gone:
            wait_for(back)
        for node in victims:
            node.start()
    return len(moments) + len(nodes)


def _published(store: Store) -> set[tuple[int, str]]:
    rows = store.execute("SELECT organisation_id, iso_week FROM due_list")
    return {(int(str(key)), str(week)) for key, week in rows}


def _messages(store: Store, weeks: set[str]) -> dict[str, str]:
    """States of what is to be sent about these weeks, by their ids."""
    rows = store.execute("SELECT message_key, state FROM outbox_message")
    return {str(key): str(state) for key, state in rows if str(key).split("/")[2] in weeks}


def _wait_for_all(store: Store, expected: set[tuple[int, str]], timeout: float = 300.0) -> None:
    """Give the nodes time to catch up and to take over what a killed one had in hand; the clock runs on meanwhile."""
    weeks = {week for _, week in expected}
    end = time.monotonic() + timeout
    while time.monotonic() < end:
        if expected <= _published(store) and set(_messages(store, weeks).values()) == {"sent"}:
            return
        time.sleep(0.5)


@pytest.mark.slow
def test_every_week_has_one_whole_list_that_is_told_once_whoever_is_killed(
    store: Store, record_property: Any
):
    with listening(Sink(answer=_fail_now_and_then)) as sink:
        rules, secrets = _found_fleets(store, sink.url)
        # An organisation that has no list yet missed none; with one, every later week is owed.
        assert run_weekly(store.database, START, "the first node") == len(rules)
        weeks = [str(IsoWeek.of(START.date()).shifted(number)) for number in range(N_WEEKS + 1)]
        expected = {(key, week) for key in rules for week in weeks}
        # A start so far ahead that the nodes are up when it begins.
        epoch = time.time() + 10.0
        settings = {
            "TEST_CLOCK_START": START.isoformat(),
            "TEST_CLOCK_SPEED": str(SPEED),
            "TEST_CLOCK_EPOCH_SECONDS": str(epoch),
            "TICK_SECONDS": "0.3",
            "OUTBOUND_ALLOW": "127.0.0.0/8",
        }
        with ExitStack() as stack:
            nodes = [
                stack.enter_context(scheduling(store, number, **settings, TEST_CLOCK_SKEW_SECONDS=str(skew)))
                for number, skew in enumerate(SKEWS_SECONDS)
            ]
            n_killed = _run_with_kills(nodes, rules, epoch)
            time.sleep(max(0.0, epoch + (N_WEEKS + 0.2) * SECONDS_A_WEEK - time.time()))
            _wait_for_all(store, expected)
    _judge(store, rules, expected, weeks[-1])
    assert store.is_sound()
    n_calls = _judge_calls(store, sink, secrets, expected)
    record_property("kills", n_killed)
    record_property("organisation-weeks, calls of their receivers", f"{len(expected)} {n_calls}")


def _judge(
    store: Store, rules: dict[int, PublishingRule], expected: set[tuple[int, str]], last_week: str
) -> None:
    rows = store.execute("SELECT id, organisation_id, iso_week, n_lines, published_at FROM due_list")
    published = [(int(str(key)), str(week)) for _, key, week, _, _ in rows]
    wanted = [one for one in published if one[1] <= last_week]
    assert len(set(published)) == len(published), "a week twice"
    assert expected - set(wanted) == set(), "weeks missing"
    assert set(wanted) - expected == set(), "weeks that nobody missed"
    for list_id, key, week, n_lines, _ in rows:
        lines = store.execute("SELECT vehicle FROM due_list_line WHERE due_list_id = :id", id=list_id)
        assert len(lines) == n_lines == len(set(lines)) == VEHICLES, f"{key} {week} is not whole"
    claims = store.execute("SELECT organisation_id, period FROM job_run WHERE job = 'weekly due list'")
    assert sorted((int(str(key)), str(week)) for key, week in claims) == sorted(published)
    audited = store.execute("SELECT detail FROM audit_entry WHERE action = 'published'")
    assert len(audited) == len(published)
    assert all(
        publishing_instant(IsoWeek.parse(str(week)), rules[int(str(key))]) <= _instant(at)
        for _, key, week, _, at in rows
    ), "a list before its time"


def _judge_calls(store: Store, sink: Sink, secrets: dict[int, str], expected: set[tuple[int, str]]) -> int:
    """Each list was told under one id, whatever failed; every call was signed. Gives how many calls there were."""
    states = _messages(store, {week for _, week in expected})
    assert Counter(states.values()) == {"sent": len(states)}, "not told"
    assert sorted(tuple(key.split("/")[1:3]) for key in states) == sorted(
        (str(key), week) for key, week in expected
    ), "an organisation and week with another number of ids than one"
    received = {call.headers["webhook-id"] for call in sink.calls}
    assert set(states) <= received
    for call in sink.calls:
        key = call.headers["webhook-id"]
        told_at = datetime.fromtimestamp(int(call.headers["webhook-timestamp"]), UTC)
        secret = secrets[int(call.path.rsplit("/", 1)[1])]
        signature = Webhook(secret).sign(key, told_at, call.body.decode())
        assert signature in call.headers["webhook-signature"].split(" "), f"{key} is not signed"
        week = json.loads(call.body)["data"]["iso_week"]
        assert key.split("/")[1:3] == [call.path.rsplit("/", 1)[1], week]
    return sum(call.headers["webhook-id"] in states for call in sink.calls)


def _instant(value: object) -> datetime:
    instant = (
        value if isinstance(value, datetime) else datetime.fromisoformat(json.loads(json.dumps(str(value))))
    )
    return instant if instant.tzinfo else instant.replace(tzinfo=UTC)
