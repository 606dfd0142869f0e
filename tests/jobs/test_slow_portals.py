"""Portals that hang: they hold up themselves alone, whoever has many of them."""

import time
from datetime import timedelta

import numpy as np
import pytest

from service.clients.addresses import parse_networks
from service.clients.fleet_pages import PageFetcher
from service.clients.targets import TargetRules
from service.jobs.counterparts import Counterparts
from service.jobs.machine_pulls import PORTALS, MachinePulls
from service.store.repositories import machine_sources
from service.usecases.machines import manage_sources
from tests.clients.sinks import Sink, hang, listening, reply

EMPTY = b"<Fleet xmlns='http://standards.iso.org/iso/15143/-3'></Fleet>"
LOOPBACK = TargetRules(parse_networks("127.0.0.0/8"))
LONG_SECONDS = 30.0
PATIENCE_SECONDS = 4 * PORTALS.moment_seconds


def quick(_sink, handler):
    reply(handler, 200, EMPTY, **{"Content-Type": "application/xml"})


def pulls_that_wait(database, clock, seconds: float) -> MachinePulls:
    return MachinePulls(
        database, clock, PageFetcher(LOOPBACK, timeout_seconds=seconds), np.random.default_rng(1)
    )


@pytest.fixture
def register(database, clock):
    """Make a source of an organisation that is due at once."""

    def make(workshop, url):
        with database.transaction() as session:
            pull = manage_sources.Pull(url=url, minutes=30, authorization=None)
            manage_sources.add_source(session, workshop.caller, clock.now(), url[-30:], pull)

    return make


def called_within(sink, seconds):
    began = time.monotonic()
    while not sink.calls and time.monotonic() - began < seconds:
        time.sleep(0.01)
    return len(sink.calls) == 1


def test_portals_that_hang_hold_up_no_other_organisation(found, register, database, clock):
    """Eight of one organisation and one of each of five others hang; the last one's is fetched while they do."""
    many, single = found("Slow Invented Ltd"), [found(f"Slow {place}") for place in range(5)]
    pulls = pulls_that_wait(database, clock, LONG_SECONDS)
    with listening(Sink(answer=hang)) as hanging, listening(Sink(answer=quick)) as sink:
        for place, slow in enumerate([many] * 8 + single):
            register(slow, f"{hanging.url}/{place}")
        register(found("Quick Invented Ltd"), sink.url)
        pulls.start_due()
        assert called_within(sink, PATIENCE_SECONDS), "while the others are waited for half a minute"
        paths = [call.path for call in hanging.calls]
        assert len(set(paths)) == len(paths) == PORTALS.organisation + len(single)
        hanging.is_released.set()
        pulls.finish_due()


def test_a_portal_that_hung_last_time_comes_last(found, register, database, clock):
    slow = found()
    pulls = pulls_that_wait(database, clock, 1.1 * PORTALS.moment_seconds)
    with listening(Sink(answer=hang)) as hanging, listening(Sink(answer=quick)) as sink:
        for place in range(PORTALS.organisation):
            register(slow, f"{hanging.url}/{place}")
        pulls.finish_due()
        remembered: Counterparts = pulls.counterparts
        pulls = pulls_that_wait(database, clock, LONG_SECONDS)
        pulls.counterparts = remembered
        clock.advance(timedelta(hours=1))
        pulls.start_due()
        register(slow, sink.url)
        pulls.start_due()
        assert called_within(sink, PATIENCE_SECONDS), "though it was due after them and belongs to the same"
        hanging.is_released.set()
        pulls.finish_due()
    with database.snapshot() as session:
        rows = machine_sources.list_sources(session, slow.caller.organisation_id)
    assert [row.n_failures for row in rows] == [2, 2, 2, 0]
    assert "receiver" not in (rows[0].last_error or "receiver"), "a portal sends"
