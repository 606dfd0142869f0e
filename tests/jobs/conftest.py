"""Organisations, receivers and the threads that send, on a database of each kind."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from service.clients.addresses import parse_networks
from service.clients.mail import NoMailer
from service.clients.targets import TargetRules
from service.clients.webhooks import WebhookSender
from service.clock import SystemClock
from service.domain.events import Event
from service.jobs.counterparts import Counterparts
from service.jobs.deliveries import RECEIVERS, Deliveries
from service.jobs.weekly_run import run_weekly
from service.store.repositories import outbox
from service.usecases.access.caller import Caller
from service.usecases.access.found_organisation import found_organisation
from service.usecases.deliveries import subscribe
from service.usecases.deliveries.compose_mail import Sender
from service.usecases.deliveries.deliver import Carriers

FRIDAY_MORNING = datetime(2026, 5, 1, 6, 30, tzinfo=UTC)
LOOPBACK = TargetRules(parse_networks("127.0.0.0/8"))


@dataclass
class Node:
    """One node of the service: it publishes and sends."""

    database: object
    clock: object
    mailer: object = field(default_factory=NoMailer)
    stamp: object = field(default_factory=SystemClock)
    timeout_seconds: float = 5.0
    receivers: Counterparts = field(default_factory=lambda: Counterparts(RECEIVERS))

    def __post_init__(self):
        carriers = Carriers(
            webhooks=WebhookSender(self.stamp, LOOPBACK, self.timeout_seconds),
            mailer=self.mailer,
            sender=Sender(mail_from="sumpwise@example.org", public_url="https://fleet.example.org"),
        )
        self.deliveries = Deliveries(self.database, self.clock, carriers, np.random.default_rng(7))
        self.deliveries.counterparts = self.receivers

    def publish(self):
        return run_weekly(self.database, self.clock.now(), "node")

    def send(self):
        self.deliveries.finish_due()


@dataclass
class Workshop:
    """An organisation whose receivers subscribe."""

    database: object
    clock: object
    caller: Caller

    def subscribe(self, target, channel="webhook"):
        with self.database.transaction() as session:
            events = [Event.DUE_LIST_PUBLISHED]
            return subscribe.subscribe(session, self.caller, self.clock.now(), channel, target, events)

    def messages(self):
        """What is in the outbox, the oldest first."""
        with self.database.snapshot() as session:
            rows = outbox.list_messages(
                session, self.caller.organisation_id, state=None, before_id=None, limit=100
            )
        return rows[::-1]


@pytest.fixture
def found(database, clock):
    """Make an organisation."""
    clock.present = FRIDAY_MORNING

    def make(name="Invented Haulage", **facts):
        with database.transaction() as session:
            _, caller = found_organisation(session, clock.now() - timedelta(weeks=52), name, facts)
        return Workshop(database, clock, caller)

    return make


@pytest.fixture
def workshop(found):
    """One organisation."""
    return found()


@pytest.fixture
def node(database, clock):
    """One node without a mail server."""
    return Node(database, clock)
