"""Every night, and after every fit: project whole fleets, here or on the workers."""

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

import structlog

from service.clock import Clock
from service.jobs.each_organisation import each_organisation
from service.store.repositories import jobs
from service.store.session import Database
from service.usecases.due.project_fleet import Chunk, chunks_of, due_since, project_chunk

log = structlog.get_logger("projection")

JOB: Final = "projection"

PARTS_A_TICK: Final = 40
"""Parts done here before other due work has its turn; the next tick goes on."""

Share = Callable[[Sequence[Chunk]], None]
"""Gives parts to workers; which may happen twice, since a part that is done is not done again."""


@dataclass(slots=True)
class NightlyProjection:
    """Finds the fleets whose turn it is; the claim is made once a run is done, or given to the workers."""

    database: Database
    clock: Clock
    node: str
    share: Share | None = None
    """None: the parts are done here, one after the other."""

    _is_stopping: threading.Event = field(default_factory=threading.Event)

    def run_if_due(self) -> None:
        """Project every fleet that was not projected since last night."""
        each_organisation(self.database, JOB, self._project_if_due)

    def _project_if_due(self, organisation_id: int) -> int:
        with self.database.snapshot() as session:
            since = due_since(session, organisation_id, self.clock.now())
            is_done = jobs.is_claimed(session, organisation_id, JOB, since.isoformat())
        if is_done or self._is_stopping.is_set():
            return 0
        return self.project(organisation_id, since, PARTS_A_TICK)

    def project(self, organisation_id: int, since: datetime, most_parts: int | None = None) -> int:
        """Project a fleet, or have it projected; returns in how many parts, 0 if some are left for the next time."""
        now = self.clock.now()
        with self.database.snapshot() as session:
            chunks = chunks_of(session, organisation_id, since, now)
        if self.share is not None:
            self.share(chunks)
        elif not self._do_here(chunks, most_parts):
            return 0
        with self.database.transaction() as session:
            jobs.claim_run(session, organisation_id, JOB, since.isoformat(), since, now, self.node)
        log.info(
            "fleet_projected" if self.share is None else "fleet_shared",
            organisation_id=organisation_id,
            n_parts=len(chunks),
        )
        return len(chunks)

    def _do_here(self, chunks: Sequence[Chunk], most_parts: int | None) -> bool:
        """Do parts one after the other; whether all are done now."""
        n_done = 0
        for chunk in chunks:
            if self._is_stopping.is_set() or n_done == most_parts:
                return False
            n_done += do_chunk(self.database, chunk) > 0
        return True

    def stop(self) -> None:
        """Begin no further part."""
        self._is_stopping.set()


def do_chunk(database: Database, chunk: Chunk) -> int:
    """Do one part in a transaction of its own; returns how many compartments."""
    with database.transaction() as session:
        return project_chunk(session, chunk)
