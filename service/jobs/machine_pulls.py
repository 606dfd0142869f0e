"""Fetch fleet documents whose turn it is, from each source on one thread at a time."""

import threading
from collections.abc import Iterator
from typing import Final, Protocol

import numpy as np
import structlog

from service.clients.fleet_pages import Page, next_address
from service.clock import Clock
from service.errors import ServiceError, UpstreamError
from service.jobs.counterparts import Counterpart, Counterparts, Shares
from service.jobs.fair_threads import FairThreads
from service.store.repositories import due_pulls
from service.store.repositories.occupied import Occupied
from service.store.session import Database
from service.store.tables.machine_sources import MachineSource
from service.usecases.machines import pull_source

log = structlog.get_logger("pulls")

PORTALS: Final = Shares(
    threads=16,
    at_work=4,
    moment_seconds=3.0,  # a page is large, and some portals write it while one waits; common practice, no source
    organisation=3,
    slow=8,
    slow_organisation=2,
)


class Fetcher(Protocol):
    """Gets a page."""

    def fetch(self, url: str, authorization: str | None) -> Page:
        """Fetch one page, or raise `UpstreamError`."""
        ...


class MachinePulls(FairThreads[MachineSource]):
    """The threads that fetch."""

    name = "pull"

    def __init__(self, database: Database, clock: Clock, fetcher: Fetcher, rng: np.random.Generator) -> None:
        super().__init__(Counterparts(PORTALS))
        self.database = database
        self.clock = clock
        self.fetcher = fetcher
        self.rng = rng
        self._taking = threading.Lock()
        """A large page takes memory and processor time; many can be waited for, one is read."""

    def is_any_due(self) -> bool:
        """Whether there is anything to fetch."""
        with self.database.snapshot() as session:
            return due_pulls.is_any_due(session, self.clock.now())

    def claim(self, turns: Iterator[Occupied]) -> MachineSource | None:
        """Take the source that has waited longest."""
        with self.database.transaction() as session:
            found = (
                due_pulls.claim_due(session, self.clock.now(), pull_source.LEASE, turn) for turn in turns
            )
            return next((one for one in found if one is not None), None)

    def counterpart_of(self, task: MachineSource) -> Counterpart:
        """Its portal."""
        return Counterpart(id=task.id or 0, organisation_id=task.organisation_id)

    def do(self, task: MachineSource) -> None:
        """Fetch from it."""
        try:
            n_pages = self._pull(task)
        except Exception as error:
            self._note_failure(task, error)
            return
        with self.database.transaction() as session:
            pull_source.settle_pulled(session, task, self.clock.now())
        log.info("pulled", source_id=task.id, n_pages=n_pages)

    def _pull(self, source: MachineSource) -> int:
        """Take page after page; a link back to a page that was here ends it, as some portals have it."""
        url = source.pull_url or ""
        seen: set[str] = set()
        while url not in seen:
            if len(seen) >= pull_source.MOST_PAGES:
                message = f"The source has more than {pull_source.MOST_PAGES} pages."
                raise UpstreamError(message)
            seen.add(url)
            with self.counterparts.waiting_for(self.counterpart_of(source)):
                page = self.fetcher.fetch(url, source.pull_authorization)
            with self._taking, self.database.transaction() as session:
                link = pull_source.take_page(
                    session, source, self.clock.now(), page.content, is_xml=page.is_xml
                )
            if link is None:
                break
            url = next_address(url, link)
        return len(seen)

    def _note_failure(self, source: MachineSource, error: Exception) -> None:
        if isinstance(error, ServiceError):
            log.warning("pull_failed", source_id=source.id, reason=error.detail)
        else:
            log.error("pull_failed", source_id=source.id, exc_info=error)
        with self.database.transaction() as session:
            pull_source.settle_failed(session, source, error, self.clock.now(), self.rng)
