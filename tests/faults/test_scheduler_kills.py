"""Three schedulers on one database, killed again and again around the publishing instants: one whole list a week.

No product sells side effects that happen exactly once; what makes a list happen once here is a unique row in the
transaction that writes it (as in the periodic tasks of procrastinate, whose documentation describes the same key).
"""

import json
import os
import signal
import time
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from sqlmodel import select

from service.domain.fluid_kinds import FluidKind
from service.domain.roles import Scope
from service.domain.vehicle_classes import VehicleClass
from service.domain.weeks import IsoWeek, PublishingRule, publishing_instant
from service.jobs.weekly_run import run_weekly
from service.store.tables.organisation import Organisation
from service.usecases.access.caller import Caller
from service.usecases.fleet.register_compartments import register_compartment
from service.usecases.fleet.register_vehicles import NewVehicle, register_vehicle
from tests.faults.nodes import Node, Store, scheduling

START = datetime(2026, 5, 6, 12, 0, tzinfo=UTC)
"""A Wednesday in ISO week 2026-W19."""

ZONES = ("Europe/Berlin", "America/Santiago", "Pacific/Chatham")
N_WEEKS = int(os.environ.get("FAULT_WEEKS", "3"))
N_KILLS = int(os.environ.get("FAULT_KILLS", "6"))
SECONDS_A_WEEK = float(os.environ.get("FAULT_SECONDS_A_WEEK", "15"))
SPEED = 7 * 86_400 / SECONDS_A_WEEK
SKEWS_SECONDS = (0.0, 90.0, -90.0)


def _found_fleets(store: Store) -> dict[int, PublishingRule]:
    """Organisations in three zones, each with a few vehicles that have long been due."""
    rules = {}
    for zone in ZONES:
        key, _ = store.found(f"Invented {zone}", time_zone=zone)
        caller = Caller(organisation_id=key, actor="test", scopes=frozenset(Scope))
        with store.database.transaction() as session:
            for number in range(6):
                new = NewVehicle(reference=f"V{number}", vehicle_class=VehicleClass.VAN)
                register_vehicle(session, caller, START, new)
                facts = {"interval_months": 12, "baseline_on": datetime(2024, 1, 8, tzinfo=UTC).date()}
                register_compartment(
                    session, caller, START, f"V{number}", FluidKind.ENGINE_OIL_DIESEL_HEAVY, facts
                )
            rules[key] = _rule(session.exec(select(Organisation).where(Organisation.id == key)).one())
    return rules


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
    rng = np.random.default_rng(20260506)
    n_killed = 0
    for moment in _kill_moments(rules, rng):
        time.sleep(max(0.0, epoch + moment - time.time()))
        victim = nodes[int(rng.integers(len(nodes)))]
        victim.stop(signal.SIGKILL)
        victim.start()
        n_killed += 1
    return n_killed


def _published(store: Store) -> set[tuple[int, str]]:
    rows = store.execute("SELECT organisation_id, iso_week FROM due_list")
    return {(int(str(key)), str(week)) for key, week in rows}


def _wait_for_lists(store: Store, expected: set[tuple[int, str]], timeout: float = 120.0) -> None:
    """Give the nodes time to catch up; the clock runs on meanwhile."""
    end = time.monotonic() + timeout
    while not expected <= _published(store) and time.monotonic() < end:
        time.sleep(0.2)


@pytest.mark.slow
def test_every_week_has_one_whole_list_whoever_is_killed(store: Store, record_property: Any):
    rules = _found_fleets(store)
    # An organisation that has no list yet missed none; with one, every later week is owed.
    assert run_weekly(store.database, START, "the first node") == len(rules)
    last_week = IsoWeek.of(START.date()).shifted(N_WEEKS)
    expected = {
        (key, str(IsoWeek.of(START.date()).shifted(number))) for key in rules for number in range(N_WEEKS + 1)
    }
    # The clock is stopped at the end of the last week: a start so far ahead that the nodes are up when it begins.
    epoch = time.time() + 20.0
    settings = {
        "TEST_CLOCK_START": START.isoformat(),
        "TEST_CLOCK_SPEED": str(SPEED),
        "TEST_CLOCK_EPOCH_SECONDS": str(epoch),
        "TICK_SECONDS": "0.3",
    }
    with ExitStack() as stack:
        nodes = [
            stack.enter_context(
                scheduling(store, number, **settings, TEST_CLOCK_SKEW_SECONDS=str(skew * SPEED / 7_000))
            )
            for number, skew in enumerate(SKEWS_SECONDS)
        ]
        n_killed = _run_with_kills(nodes, rules, epoch)
        end = epoch + (N_WEEKS + 0.2) * SECONDS_A_WEEK
        time.sleep(max(0.0, end - time.time()))
        _wait_for_lists(store, expected)
    _judge(store, rules, expected, str(last_week))
    assert store.is_sound()
    record_property("kills", n_killed)
    record_property("organisation-weeks", len(expected))


def _judge(
    store: Store, rules: dict[int, PublishingRule], expected: set[tuple[int, str]], last_week: str
) -> None:
    rows = store.execute("SELECT id, organisation_id, iso_week, n_lines, published_at FROM due_list")
    published = [(int(str(key)), str(week)) for _, key, week, _, _ in rows]
    wanted = [one for one in published if one[1] <= last_week]
    assert len(set(published)) == len(published), "a week twice"
    assert expected - set(wanted) == set(), "weeks missing"
    for list_id, key, week, n_lines, _ in rows:
        lines = store.execute("SELECT vehicle FROM due_list_line WHERE due_list_id = :id", id=list_id)
        assert len(lines) == n_lines == len(set(lines)) == 6, f"{key} {week} is not whole"
    claims = store.execute("SELECT organisation_id, period FROM job_run WHERE job = 'weekly due list'")
    assert sorted((int(str(key)), str(week)) for key, week in claims) == sorted(published)
    audited = store.execute("SELECT detail FROM audit_entry WHERE action = 'published'")
    assert len(audited) == len(published)
    assert all(
        publishing_instant(IsoWeek.parse(str(week)), rules[int(str(key))])
        - timedelta(seconds=100 * SPEED / 7_000)
        <= _instant(at)
        for _, key, week, _, at in rows
    ), "a list before its time"


def _instant(value: object) -> datetime:
    instant = (
        value if isinstance(value, datetime) else datetime.fromisoformat(json.loads(json.dumps(str(value))))
    )
    return instant if instant.tzinfo else instant.replace(tzinfo=UTC)
