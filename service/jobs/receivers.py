"""Whom we are sending to at this moment, and who comes next: receivers that hang hold up themselves alone.

A thread that waits for an answer costs next to nothing, one that works takes processor time from the requests. So few
may work at a time, and whoever has waited for a moment steps aside for another. Receivers that let us wait last time
come after all the others and never get all the threads.
"""

import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from math import inf
from typing import Final

from service.store.repositories.outbox import Occupied
from service.store.tables.operations import OutboxMessage

AT_WORK: Final = 8
"""Threads that do not wait for an answer, or only just began to."""

MOMENT_SECONDS: Final = 0.5
"""Most receivers answer sooner; common practice, no source."""

MAIL_THREADS: Final = 2
"""All mails go to one server: when it hangs, it holds up these and no webhook."""

ORGANISATION_THREADS: Final = 8
"""One organisation with many receivers that hang leaves threads for the others."""

SLOW_THREADS: Final = 16
SLOW_ORGANISATION_THREADS: Final = 4
MOST_REMEMBERED: Final = 1000
"""Slow receivers; with more, all are forgotten and found again."""


@dataclass(slots=True)
class Receivers:
    """Messages under way by receiver, places to work, and which receivers are slow."""

    n_waiting: int = 0
    """Threads that wait for a place."""

    _busy: dict[int, OutboxMessage] = field(default_factory=dict)
    _sending_since: dict[int, float] = field(default_factory=dict)
    """By thread with a place, on the machine's steady clock; for ever in the future while it does something else."""

    _slow: set[int] = field(default_factory=set)
    _room: threading.Condition = field(default_factory=threading.Condition)

    def begin(self) -> None:
        """Wait for a place to work, and take it."""
        with self._room:
            self.n_waiting += 1
            while self._n_at_work() >= AT_WORK:
                self._room.wait(MOMENT_SECONDS / 5)  # nobody calls when a moment is over
            self.n_waiting -= 1
            self._sending_since[threading.get_ident()] = inf

    def end(self) -> None:
        """Give the place to the next."""
        with self._room:
            self._sending_since.pop(threading.get_ident(), None)
            self._room.notify()

    @contextmanager
    def sending(self, message: OutboxMessage) -> Iterator[None]:
        """Let the others work while this thread waits, and remember for whom it waited long."""
        thread, began = threading.get_ident(), time.monotonic()
        with self._room:
            self._sending_since[thread] = began
        try:
            yield
        finally:
            with self._room:
                self._sending_since[thread] = inf
                self._slow.discard(message.subscription_id)
                if time.monotonic() - began >= MOMENT_SECONDS:
                    if len(self._slow) >= MOST_REMEMBERED:
                        self._slow.clear()
                    self._slow.add(message.subscription_id)

    def turns(self) -> Iterator[Occupied]:
        """Who is left out when the next message is taken: first the slow too, then the busy only."""
        with self._room:
            busy, slow = list(self._busy), sorted(self._slow)
            threads = Counter(one.organisation_id for one in self._busy.values())
            n_mails = sum(one.channel == "mail" for one in self._busy.values())
        channels = ["mail"] if n_mails >= MAIL_THREADS else []
        yield Occupied(
            subscription_ids=[*busy, *slow],
            organisation_ids=[key for key, n in threads.items() if n >= ORGANISATION_THREADS],
            channels=channels,
        )
        if slow and len(set(busy) & set(slow)) < SLOW_THREADS:
            yield Occupied(
                subscription_ids=busy,
                organisation_ids=[key for key, n in threads.items() if n >= SLOW_ORGANISATION_THREADS],
                channels=channels,
            )

    def note_taken(self, message: OutboxMessage) -> None:
        """A receiver gets one message at a time."""
        with self._room:
            self._busy[message.subscription_id] = message

    def note_settled(self, message: OutboxMessage) -> None:
        """It may get the next one."""
        with self._room:
            self._busy.pop(message.subscription_id, None)

    def _n_at_work(self) -> int:
        latest = time.monotonic() - MOMENT_SECONDS
        return sum(began > latest for began in self._sending_since.values())
