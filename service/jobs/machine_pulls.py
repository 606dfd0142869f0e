"""Fetch fleet documents whose turn it is, on a thread of their own: a portal that hangs delays no list."""

import threading
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import structlog

from service.clients.fleet_pages import Page, next_address
from service.clock import Clock
from service.errors import ServiceError, UpstreamError
from service.store.repositories import machine_sources
from service.store.session import Database
from service.store.tables.machine_sources import MachineSource
from service.usecases.machines import pull_source

log = structlog.get_logger("pulls")


class Fetcher(Protocol):
    """Gets a page."""

    def fetch(self, url: str, authorization: str | None) -> Page:
        """Fetch one page, or raise `UpstreamError`."""
        ...


@dataclass(slots=True)
class MachinePulls:
    """The thread that fetches."""

    database: Database
    clock: Clock
    fetcher: Fetcher
    rng: np.random.Generator
    _thread: threading.Thread | None = None
    _is_stopping: threading.Event = field(default_factory=threading.Event)

    def start_due(self) -> None:
        """See to it that somebody is fetching what is due, without waiting for it."""
        if self._thread is not None and self._thread.is_alive():
            return
        with self.database.snapshot() as session:
            if not machine_sources.is_any_pull_due(session, self.clock.now()):
                return
        # A daemon: stopping the program waits for no portal, and an unfinished pull is made again later.
        self._thread = threading.Thread(target=self.pull_due, name="pulls", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Begin nothing more."""
        self._is_stopping.set()

    def pull_due(self) -> int:
        """Fetch from every source whose turn it is; returns how many."""
        n_pulled = 0
        while not self._is_stopping.is_set():
            with self.database.transaction() as session:
                source = machine_sources.claim_due_source(session, self.clock.now(), pull_source.LEASE)
            if source is None:
                break
            self._try(source)
            n_pulled += 1
        return n_pulled

    def _try(self, source: MachineSource) -> None:
        try:
            n_pages = self._pull(source)
        except Exception as error:
            self._note_failure(source, error)
            return
        with self.database.transaction() as session:
            pull_source.settle_pulled(session, source, self.clock.now())
        log.info("pulled", source_id=source.id, n_pages=n_pages)

    def _pull(self, source: MachineSource) -> int:
        """Take page after page; a link back to a page that was here ends it, as some portals have it."""
        url = source.pull_url or ""
        seen: set[str] = set()
        while url not in seen:
            if len(seen) >= pull_source.MOST_PAGES:
                message = f"The source has more than {pull_source.MOST_PAGES} pages."
                raise UpstreamError(message)
            seen.add(url)
            page = self.fetcher.fetch(url, source.pull_authorization)
            with self.database.transaction() as session:
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
