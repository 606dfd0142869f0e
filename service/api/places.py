"""Places that requests wait for, given out by turns: who asks ten times as often is served no sooner.

Each organisation has a queue of its own. A free place goes to the next queue, not to the next request, so one that
floods the service waits behind itself; when its queue is full, its next request is refused at once.
"""

import asyncio
from collections import OrderedDict, deque
from typing import Final

MOST_WAITING: Final = 256
"""Requests of one organisation that wait for one kind of place; common practice, no source."""


class QueueFullError(Exception):
    """Too many requests of the same organisation wait already."""


class FairPlaces:
    """A number of places, and a queue for everybody who wants one; used from one event loop only."""

    def __init__(self, n_places: int) -> None:
        self._n_free = n_places
        self._most_held = max(1, n_places - 1)
        self._n_held: dict[str, int] = {}
        self._queues: OrderedDict[str, deque[asyncio.Future[None]]] = OrderedDict()

    async def take(self, key: str) -> None:
        """Wait for a place; of several, one organisation leaves the last to the others.

        Raises
        ------
        QueueFullError
            If too many requests of this organisation wait already.
        """
        queue = self._queues.get(key)
        if self._n_free and not queue and self._may_hold(key):
            self._hold(key)
            return
        if queue is not None and len(queue) >= MOST_WAITING:
            raise QueueFullError
        turn: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._queues.setdefault(key, deque()).append(turn)
        try:
            await turn
        except asyncio.CancelledError:
            self._forget(key, turn)
            raise

    def give_back(self, key: str) -> None:
        """Let the next one in."""
        self._n_free += 1
        self._n_held[key] -= 1
        if not self._n_held[key]:
            del self._n_held[key]
        self._let_in()

    def _let_in(self) -> None:
        for key in list(self._queues):
            if not self._n_free:
                return
            if self._may_hold(key):
                turn = self._queues[key].popleft()
                self._queues.move_to_end(key)
                if not self._queues[key]:
                    del self._queues[key]
                self._hold(key)
                turn.set_result(None)

    def _may_hold(self, key: str) -> bool:
        return self._n_held.get(key, 0) < self._most_held

    def _hold(self, key: str) -> None:
        self._n_free -= 1
        self._n_held[key] = self._n_held.get(key, 0) + 1

    def _forget(self, key: str, turn: "asyncio.Future[None]") -> None:
        """Take a request that waits no longer out of its queue, or give back the place that it was given just now."""
        if turn.done() and not turn.cancelled():
            self.give_back(key)
            return
        queue = self._queues.get(key)
        if queue is not None and turn in queue:
            queue.remove(turn)
            if not queue:
                del self._queues[key]
