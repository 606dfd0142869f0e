"""Fetch fleet documents from a source: take a page, note how a pull ended, and when the next one is due."""

from datetime import datetime, timedelta
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.external_ids import IdKind, format_id
from service.domain.fleet_documents import read_fleet_document
from service.domain.retries import wait_before_retry
from service.errors import ServiceError, UpstreamBusyError
from service.store.repositories import machine_sources
from service.store.tables.machine_sources import MachineSource
from service.usecases.access.caller import system_caller
from service.usecases.machines.take_fleet_document import open_source, take_document

MOST_PAGES: Final = 1_000
LEASE: Final = timedelta(minutes=15)
"""Longer than any one page can take; a killed node's pulls are taken over after it."""

UNEXPECTED: Final = "The pull failed on our side; the log says how."


def take_page(
    session: Session, source: MachineSource, now: datetime, content: bytes, *, is_xml: bool
) -> str | None:
    """Take one page that was fetched; returns the link to the next one as it was written."""
    document = read_fleet_document(content, is_xml=is_xml)
    caller = system_caller(source.organisation_id, "pull")
    locked = open_source(session, caller, format_id(IdKind.MACHINE_SOURCE, source.id))
    take_document(session, caller, now, locked, document)
    locked.next_pull_at = now + LEASE
    session.add(locked)
    return document.next_page


def settle_pulled(session: Session, source: MachineSource, now: datetime) -> None:
    """All pages are taken: come back after the usual time."""
    row = _present(session, source)
    if row is None:
        return
    row.n_failures, row.last_error, row.last_pulled_at = 0, None, now
    row.next_pull_at = now + timedelta(minutes=row.pull_minutes)
    session.add(row)


def settle_failed(
    session: Session, source: MachineSource, error: Exception, now: datetime, rng: np.random.Generator
) -> None:
    """Come back later each time, or when the server said so; pages that were taken stay."""
    row = _present(session, source)
    if row is None:
        return
    row.n_failures += 1
    row.last_error = (error.detail if isinstance(error, ServiceError) else UNEXPECTED)[:400]
    wait = wait_before_retry(row.n_failures, float(rng.uniform(-1.0, 1.0)))
    if isinstance(error, UpstreamBusyError):
        wait = max(wait, timedelta(seconds=error.retry_after_seconds))
    row.next_pull_at = now + wait
    session.add(row)


def _present(session: Session, source: MachineSource) -> MachineSource | None:
    """The source as it is now; none if it has ended or is pulled from elsewhere since."""
    reference = format_id(IdKind.MACHINE_SOURCE, source.id)
    row = machine_sources.get_source(session, source.organisation_id, reference, for_update=True)
    return row if row.ended_at is None and row.pull_url == source.pull_url else None
