"""Send the messages that wait, to each receiver one at a time."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Final

import numpy as np
import structlog

from service.clock import Clock
from service.errors import ServiceError
from service.jobs.counterparts import Counterpart, Counterparts, Shares
from service.jobs.fair_threads import FairThreads
from service.store.repositories import outbox
from service.store.repositories.occupied import Occupied
from service.store.session import Database
from service.store.tables.operations import OutboxMessage
from service.usecases.deliveries import deliver
from service.usecases.deliveries.deliver import Carriers

log = structlog.get_logger("deliveries")

RECEIVERS: Final = Shares(
    threads=64,
    at_work=8,
    moment_seconds=0.5,  # common practice, no source
    organisation=8,
    slow=16,
    slow_organisation=4,
    channels={"mail": 2},  # all mails go to one server: when it hangs, it holds up these and no webhook
)

LEASE: Final = timedelta(minutes=2)
"""Longer than any one try can take; a killed node's messages are taken over after it."""

REHEARSED_LEASE: Final = timedelta(seconds=30)
"""Of real time, where the clock runs faster: twice what a receiver is waited for, and no rehearsal waits longer."""


class Deliveries(FairThreads[OutboxMessage]):
    """The threads that send."""

    name = "delivery"

    def __init__(
        self,
        database: Database,
        clock: Clock,
        carriers: Carriers,
        rng: np.random.Generator,
        lease: timedelta = LEASE,
    ) -> None:
        super().__init__(Counterparts(RECEIVERS))
        self.database = database
        self.clock = clock
        self.carriers = carriers
        self.rng = rng
        self.lease = lease

    def is_any_due(self) -> bool:
        """Whether there is anything to send."""
        with self.database.snapshot() as session:
            return outbox.is_any_due(session, self.clock.now())

    def claim(self, turns: Iterator[Occupied]) -> OutboxMessage | None:
        """Take the message that has waited longest."""
        with self.database.transaction() as session:
            found = (outbox.claim_due(session, self.clock.now(), self.lease, turn) for turn in turns)
            return next((one for one in found if one is not None), None)

    def counterpart_of(self, task: OutboxMessage) -> Counterpart:
        """Its receiver."""
        return Counterpart(
            id=task.subscription_id, organisation_id=task.organisation_id, channel=task.channel
        )

    def do(self, task: OutboxMessage) -> None:
        """Send it."""
        try:
            with self.database.snapshot() as session:
                outgoing = deliver.prepare(session, task, self.clock.now(), self.carriers.sender)
            if outgoing is not None:
                with self.counterparts.waiting_for(self.counterpart_of(task)):
                    self.carriers.carry(outgoing)
        except Exception as error:
            self._note_failure(task, error)
            return
        with self.database.transaction() as session:
            if outgoing is None:
                deliver.settle_ended(session, task)
            else:
                deliver.settle_sent(session, task, self.clock.now())
        log.info("delivered", message_key=task.message_key, channel=task.channel, n_tries=task.n_tries)

    def _note_failure(self, message: OutboxMessage, error: Exception) -> None:
        facts = {"message_key": message.message_key, "n_tries": message.n_tries}
        if isinstance(error, ServiceError):
            log.warning("delivery_failed", reason=error.detail, **facts)
        else:
            log.error("delivery_failed", exc_info=error, **facts)
        with self.database.transaction() as session:
            deliver.settle_failed(session, message, error, self.clock.now(), self.rng)
