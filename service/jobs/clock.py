"""The clock: wakes up now and then and does what is due. What is due stands in the database, not here."""

import socket
from collections.abc import Callable
from os import getpid

import structlog
from apscheduler.schedulers.background import BackgroundScheduler

from service.clock import Clock
from service.jobs.weekly_run import run_weekly
from service.store.repositories import fleet
from service.store.session import Database
from service.usecases.refresh_fleet import refresh_fleet

log = structlog.get_logger("clock")

Task = Callable[[], None]


def node_name() -> str:
    """Name of this process in the records of runs."""
    return f"{socket.gethostname()}/{getpid()}"[:80]


def build_tick(database: Database, clock: Clock, *further: Task) -> Task:
    """Make the function that does everything that is due."""
    node = node_name()

    def tick() -> None:
        for task in (lambda: _refresh(database, clock), lambda: _publish(database, clock, node), *further):
            try:
                task()
            except Exception:
                log.exception("tick_failed")

    return tick


def start_clock(tick: Task, seconds: float) -> BackgroundScheduler:
    """Run the tick at once and then every few seconds, never two at a time, none skipped for being late."""
    scheduler = BackgroundScheduler(timezone="UTC")
    scheduler.add_job(
        tick, "interval", seconds=seconds, coalesce=True, max_instances=1, misfire_grace_time=None
    )
    scheduler.add_job(tick, misfire_grace_time=None)
    scheduler.start()
    return scheduler


def _publish(database: Database, clock: Clock, node: str) -> None:
    run_weekly(database, clock.now(), node)


def _refresh(database: Database, clock: Clock) -> None:
    with database.snapshot() as session:
        organisation_ids = fleet.list_organisation_ids(session)
    for organisation_id in organisation_ids:
        is_behind = True
        while is_behind:
            with database.transaction() as session:
                is_behind = refresh_fleet(session, organisation_id, clock.now()) > 0
