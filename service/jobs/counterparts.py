"""Whom we are waiting for at this moment, and who comes next: servers of others that hang hold up themselves alone.

They are receivers of what we send and portals that we fetch from. A thread that waits for an answer costs next to
nothing, one that works takes processor time from the requests. So few may work at a time, and whoever has waited for a
moment steps aside for another. Who let us wait last time comes after all the others and never gets all the threads.
"""

import threading
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from math import inf
from typing import Final

from service.store.repositories.occupied import Occupied

MOST_REMEMBERED: Final = 1000
"""Slow counterparts; with more, all are forgotten and found again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Counterpart:
    """A server of somebody else: which one, whose, and by which channel it is reached."""

    id: int
    organisation_id: int
    channel: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shares:
    """How many threads there are, and how many of them who may have."""

    threads: int
    """Nearly all of them wait for a counterpart that hangs; few work at a time."""

    at_work: int
    """Threads that do not wait for an answer, or only just began to."""

    moment_seconds: float
    """Most counterparts answer sooner."""

    organisation: int
    """One organisation with many counterparts that hang leaves threads for the others."""

    slow: int
    slow_organisation: int
    channels: Mapping[str, int] = field(default_factory=dict)


@dataclass(slots=True)
class Counterparts:
    """Whom threads are busy with, places to work, and which counterparts are slow."""

    shares: Shares
    n_waiting: int = 0
    """Threads that wait for a place."""

    _busy: dict[int, Counterpart] = field(default_factory=dict)
    _waiting_since: dict[int, float] = field(default_factory=dict)
    """By thread with a place, on the machine's steady clock; for ever in the future while it does something else."""

    _slow: set[int] = field(default_factory=set)
    _room: threading.Condition = field(default_factory=threading.Condition)

    def begin(self) -> None:
        """Wait for a place to work, and take it."""
        with self._room:
            self.n_waiting += 1
            while self._n_at_work() >= self.shares.at_work:
                self._room.wait(self.shares.moment_seconds / 5)  # nobody calls when a moment is over
            self.n_waiting -= 1
            self._waiting_since[threading.get_ident()] = inf

    def end(self) -> None:
        """Give the place to the next."""
        with self._room:
            self._waiting_since.pop(threading.get_ident(), None)
            self._room.notify()

    @contextmanager
    def waiting_for(self, counterpart: Counterpart) -> Iterator[None]:
        """Let the others work while this thread waits, and remember for whom it waited long."""
        thread, began = threading.get_ident(), time.monotonic()
        with self._room:
            self._waiting_since[thread] = began
        try:
            yield
        finally:
            with self._room:
                self._waiting_since[thread] = inf
                self._slow.discard(counterpart.id)
                if time.monotonic() - began >= self.shares.moment_seconds:
                    if len(self._slow) >= MOST_REMEMBERED:
                        self._slow.clear()
                    self._slow.add(counterpart.id)

    def turns(self) -> Iterator[Occupied]:
        """Who is left out when the next task is taken: first the slow too, then the busy only."""
        with self._room:
            busy, slow = list(self._busy), sorted(self._slow)
            threads = Counter(one.organisation_id for one in self._busy.values())
            channels = Counter(one.channel for one in self._busy.values())
        yield Occupied(
            ids=[*busy, *slow],
            organisation_ids=[key for key, n in threads.items() if n >= self.shares.organisation],
            channels=[name for name, most in self.shares.channels.items() if channels[name] >= most],
        )
        if slow and len(set(busy) & set(slow)) < self.shares.slow:
            yield Occupied(
                ids=busy,
                organisation_ids=[key for key, n in threads.items() if n >= self.shares.slow_organisation],
                channels=[name for name, most in self.shares.channels.items() if channels[name] >= most],
            )

    def note_taken(self, counterpart: Counterpart) -> None:
        """One thread at a time is busy with a counterpart."""
        with self._room:
            self._busy[counterpart.id] = counterpart

    def note_settled(self, counterpart: Counterpart) -> None:
        """It may get the next one."""
        with self._room:
            self._busy.pop(counterpart.id, None)

    def _n_at_work(self) -> int:
        latest = time.monotonic() - self.shares.moment_seconds
        return sum(began > latest for began in self._waiting_since.values())
