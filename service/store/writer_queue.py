"""Writers of one process wait in the order in which they came.

SQLite lets whoever asks at the right moment go first, and those who wait ask ten times a second: a long import, which
takes the lock again right after giving it back, would keep everybody else out until it is done.
"""

from collections import deque
from threading import Event, Lock


class WriterQueue:
    """One place to write, handed on to whoever has waited longest; the place belongs to no thread."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._waiting: deque[Event] = deque()
        self._is_taken = False

    def take(self, timeout_seconds: float) -> bool:
        """Wait for the place; whether it was given in time."""
        with self._lock:
            if not self._is_taken:
                self._is_taken = True
                return True
            turn = Event()
            self._waiting.append(turn)
        if turn.wait(timeout_seconds):
            return True
        with self._lock:
            if turn.is_set():
                return True
            self._waiting.remove(turn)
            return False

    def leave(self) -> None:
        """Hand the place on."""
        with self._lock:
            if self._waiting:
                self._waiting.popleft().set()
            else:
                self._is_taken = False
