"""Send what waits, on threads that call each other while something is due; `receivers.py` says whose turn it is."""

import threading
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Final

import numpy as np
import structlog

from service.clock import Clock
from service.errors import ServiceError
from service.jobs.receivers import Receivers
from service.store.repositories import outbox
from service.store.session import Database
from service.store.tables.operations import OutboxMessage
from service.usecases.deliveries import deliver
from service.usecases.deliveries.deliver import Carriers

log = structlog.get_logger("deliveries")

THREADS: Final = 64
"""Nearly all of them wait for a receiver that hangs; few work at a time."""

LEASE: Final = timedelta(minutes=2)
"""Longer than any one try can take; a killed node's messages are taken over after it."""

REHEARSED_LEASE: Final = timedelta(seconds=30)
"""Of real time, where the clock runs faster: twice what a receiver is waited for, and no rehearsal waits longer."""


@dataclass(slots=True)
class Deliveries:
    """The threads that send."""

    database: Database
    clock: Clock
    carriers: Carriers
    rng: np.random.Generator
    lease: timedelta = LEASE
    receivers: Receivers = field(default_factory=Receivers)
    _threads: set[threading.Thread] = field(default_factory=set)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _claiming: threading.Lock = field(default_factory=threading.Lock)
    _is_stopping: threading.Event = field(default_factory=threading.Event)

    def start_due(self) -> bool:
        """Put a further thread to work if something is due; returns whether, without waiting for it."""
        if self._is_stopping.is_set() or self.receivers.n_waiting or not self._is_any_due():
            return False
        # Daemons: stopping the program waits for no receiver, and an unfinished try is made again later.
        thread = threading.Thread(target=self._work, name="delivery", daemon=True)
        with self._lock:
            if len(self._threads) >= THREADS:
                return False
            self._threads.add(thread)
            thread.start()  # before anybody else sees it and waits for it
        return True

    def finish_due(self) -> None:
        """Send everything that is due, and wait until it is done."""
        while self.start_due() or self._threads:
            for thread in list(self._threads):
                thread.join()

    def stop(self) -> None:
        """Begin nothing more."""
        self._is_stopping.set()

    def _work(self) -> None:
        try:
            while self._take_one():
                pass
        except Exception:
            log.exception("delivery_thread_failed")
        finally:
            with self._lock:
                self._threads.discard(threading.current_thread())

    def _take_one(self) -> bool:
        self.receivers.begin()
        try:
            message = self._claim()
            if message is not None:
                try:
                    self.start_due()
                    self._try(message)
                finally:
                    self.receivers.note_settled(message)
        finally:
            self.receivers.end()
        return message is not None

    def _is_any_due(self) -> bool:
        with self.database.snapshot() as session:
            return outbox.is_any_due(session, self.clock.now())

    def _claim(self) -> OutboxMessage | None:
        """Take a message for a receiver that no thread of ours is busy with; marked busy until it is settled."""
        with self._claiming:
            if self._is_stopping.is_set() or not self._is_any_due():
                return None
            with self.database.transaction() as session:
                found = (
                    outbox.claim_due(session, self.clock.now(), self.lease, occupied)
                    for occupied in self.receivers.turns()
                )
                message = next((one for one in found if one is not None), None)
            if message is not None:
                self.receivers.note_taken(message)
        return message

    def _try(self, message: OutboxMessage) -> None:
        try:
            with self.database.snapshot() as session:
                outgoing = deliver.prepare(session, message, self.clock.now(), self.carriers.sender)
            if outgoing is not None:
                with self.receivers.sending(message):
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
