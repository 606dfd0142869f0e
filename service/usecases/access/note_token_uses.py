"""When tokens were last used: noted in the process, because reads write nothing, and stored now and then."""

import threading
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Final

from service.store.repositories import access
from service.store.session import Database

STEP: Final = timedelta(minutes=1)
"""The last use of a token is stored this coarsely, so that a busy token costs one write a minute."""


@dataclass(slots=True)
class TokenUses:
    """Uses that are not stored yet."""

    _waiting: dict[int, datetime] = field(default_factory=dict)
    _stored: dict[int, datetime] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def note(self, token_id: int, now: datetime) -> None:
        """Remember a use."""
        with self._lock:
            stored = self._stored.get(token_id)
            if stored is None or now - stored >= STEP:
                self._waiting[token_id] = now

    def flush(self, database: Database) -> int:
        """Store the uses noted since the last time; returns how many tokens. If that fails they stay noted."""
        with self._lock:
            waiting = dict(self._waiting)
        if not waiting:
            return 0
        with database.transaction() as session:
            access.note_uses(session, waiting)
        with self._lock:
            self._stored |= waiting
            for token_id, used_at in waiting.items():
                if self._waiting.get(token_id) == used_at:
                    del self._waiting[token_id]
        return len(waiting)
