"""Once an hour: throw away what nobody will ask for again."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from service.clock import Clock
from service.store.repositories import housekeeping
from service.store.session import Database

EVERY: Final = timedelta(hours=1)


@dataclass(slots=True)
class Housekeeping:
    """Remembers when it last ran; several nodes doing it at once do no harm."""

    database: Database
    clock: Clock
    _ran_at: datetime | None = None

    def run_if_due(self) -> int:
        """Delete what is old, a little at a time; returns how many rows."""
        now = self.clock.now()
        if self._ran_at is not None and abs(now - self._ran_at) < EVERY:
            return 0
        n_rows = 0
        while True:
            with self.database.transaction() as session:
                n_deleted = housekeeping.delete_some(session, now)
            n_rows += n_deleted
            if n_deleted == 0:
                break
        self._ran_at = now
        return n_rows
