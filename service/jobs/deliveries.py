"""Send what waits, on a few threads: a receiver that hangs holds up one of them and nobody else's messages."""

import threading
from collections import Counter
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Final

import numpy as np
import structlog

from service.clock import Clock
from service.errors import ServiceError
from service.store.repositories import outbox
from service.store.repositories.outbox import Occupied
from service.store.session import Database
from service.store.tables.operations import OutboxMessage
from service.usecases.deliveries import deliver
from service.usecases.deliveries.deliver import Carriers

log = structlog.get_logger("deliveries")

THREADS: Final = 8
MAIL_THREADS: Final = 2
"""All mails go to one server: when it hangs, it holds up these and no webhook."""

ORGANISATION_THREADS: Final = 3
"""One organisation with many receivers that hang leaves threads for the others."""

LEASE: Final = timedelta(minutes=2)
"""Longer than any one try can take; a killed node's messages are taken over after it."""


@dataclass(slots=True)
class Deliveries:
    """The threads that send, and which receivers they are busy with."""

    database: Database
    clock: Clock
    carriers: Carriers
    rng: np.random.Generator
    lease: timedelta = LEASE
    n_threads: int = THREADS
    _busy: dict[int, OutboxMessage] = field(default_factory=dict)
    _threads: set[threading.Thread] = field(default_factory=set)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _is_stopping: threading.Event = field(default_factory=threading.Event)

    def start_due(self) -> int:
        """Put free threads to work on what is due; returns how many were, without waiting for them."""
        n_started = 0
        while not self._is_stopping.is_set() and len(self._threads) < self.n_threads:
            message = self._claim()
            if message is None:
                break
            # Daemons: stopping the program waits for no receiver, and an unfinished try is made again later.
            thread = threading.Thread(target=self._work, args=(message,), name="delivery", daemon=True)
            with self._lock:
                self._threads.add(thread)
            thread.start()
            n_started += 1
        return n_started

    def finish_due(self) -> None:
        """Send everything that is due, and wait until it is done."""
        while self.start_due() or self._threads:
            for thread in list(self._threads):
                thread.join()

    def stop(self) -> None:
        """Begin nothing more."""
        self._is_stopping.set()

    def _work(self, message: OutboxMessage) -> None:
        following: OutboxMessage | None = message
        try:
            while following is not None:
                self._deliver(following)
                following = None if self._is_stopping.is_set() else self._claim()
        except Exception:
            log.exception("delivery_thread_failed")
        finally:
            with self._lock:
                self._threads.discard(threading.current_thread())

    def _claim(self) -> OutboxMessage | None:
        """Take a message for a receiver that no thread of ours is busy with; marked busy until it is settled."""
        now = self.clock.now()
        with self.database.snapshot() as session:
            if not outbox.is_any_due(session, now):
                return None
        with self._lock:
            with self.database.transaction() as session:
                message = outbox.claim_due(session, now, self.lease, self._occupied())
            if message is not None:
                self._busy[message.subscription_id] = message
        return message

    def _occupied(self) -> Occupied:
        threads = Counter(one.organisation_id for one in self._busy.values())
        n_mails = sum(one.channel == "mail" for one in self._busy.values())
        return Occupied(
            subscription_ids=list(self._busy),
            organisation_ids=[key for key, number in threads.items() if number >= ORGANISATION_THREADS],
            channels=["mail"] if n_mails >= MAIL_THREADS else (),
        )

    def _deliver(self, message: OutboxMessage) -> None:
        try:
            self._try(message)
        finally:
            with self._lock:
                self._busy.pop(message.subscription_id, None)

    def _try(self, message: OutboxMessage) -> None:
        try:
            with self.database.snapshot() as session:
                outgoing = deliver.prepare(session, message, self.clock.now(), self.carriers.sender)
            if outgoing is not None:
                self.carriers.carry(outgoing)
        except Exception as error:
            self._note_failure(message, error)
            return
        with self.database.transaction() as session:
            if outgoing is None:
                deliver.settle_ended(session, message)
            else:
                deliver.settle_sent(session, message, self.clock.now())
        log.info(
            "delivered", message_key=message.message_key, channel=message.channel, n_tries=message.n_tries
        )

    def _note_failure(self, message: OutboxMessage, error: Exception) -> None:
        facts = {"message_key": message.message_key, "n_tries": message.n_tries}
        if isinstance(error, ServiceError):
            log.warning("delivery_failed", reason=error.detail, **facts)
        else:
            log.error("delivery_failed", exc_info=error, **facts)
        with self.database.transaction() as session:
            deliver.settle_failed(session, message, error, self.clock.now(), self.rng)
