"""The clock: wakes up now and then and does what is due. What is due stands in the database, not here."""

import socket
import threading
from collections.abc import Callable
from datetime import timedelta
from itertools import count
from os import getpid
from typing import Final

import structlog
from apscheduler.schedulers.background import BackgroundScheduler

from service.clock import Clock, SystemClock
from service.jobs.each_organisation import each_organisation
from service.jobs.weekly_run import run_weekly
from service.store.repositories import jobs
from service.store.session import Database
from service.usecases.due.refresh_fleet import fit_fleet, keep_fit, refresh_fleet

log = structlog.get_logger("clock")

Task = Callable[[], object]

TURNS_BESIDE_WORKERS: Final = 4
"""Turns of refreshing one fleet in a tick where workers do the bulk."""

MAX_SECONDS_OFF: Final = 60.0
"""A node whose clock is further off the database's does none of this: lists would come early, waits end wrongly."""


A_MOMENT: Final = timedelta(seconds=2)
"""After the start, which takes as long."""


def node_name() -> str:
    """Name of this process in the records of runs."""
    return f"{socket.gethostname()}/{getpid()}"[:80]


class Tick:
    """Does everything that is due, one task after the other; one that fails stops no other."""

    def __init__(
        self,
        database: Database,
        clock: Clock,
        *further: Task,
        checks_clock: bool = True,
        has_workers: bool = False,
    ) -> None:
        self._database = database
        self._clock = clock
        self._node = node_name()
        self._further = further
        self._has_workers = has_workers
        self._checks_clock = checks_clock and not database.is_sqlite
        self._is_stopping = threading.Event()

    def __call__(self) -> None:
        """Do what is due now."""
        for task in (self._refit, self._refresh, self._publish, *self._further):
            if self._is_stopping.is_set():
                return
            try:
                if self._is_on_time():
                    self._beat()
                    task()
            except Exception:
                log.exception("tick_failed")

    def stop(self) -> None:
        """Begin nothing more; what is under way ends at its next transaction."""
        self._is_stopping.set()

    def _beat(self) -> None:
        with self._database.transaction() as session:
            jobs.note_heartbeat(session, self._node, self._clock.now())

    def _publish(self) -> None:
        run_weekly(self._database, self._clock.now(), self._node)

    def _is_on_time(self) -> bool:
        """Whether the node's clock agrees with the database's; SQLite lives by the node's own."""
        if not self._checks_clock:
            return True
        with self._database.snapshot() as session:
            off = self._clock.now() - jobs.database_time(session)
        if abs(off) > timedelta(seconds=MAX_SECONDS_OFF):
            log.error("clock_is_wrong", seconds_off=off.total_seconds(), node=self._node)
            return False
        return True

    def _refit(self) -> None:
        """Learn from the fleets whose turn it is; nothing is locked while that is computed."""
        each_organisation(self._database, "fit", self._refit_one)

    def _refit_one(self, organisation_id: int) -> int:
        with self._database.snapshot() as session:
            model = fit_fleet(session, organisation_id, self._clock.now())
        if model is None:
            return 0
        with self._database.transaction() as session:
            keep_fit(session, model)
        self._beat()
        return 1

    def _refresh(self) -> None:
        each_organisation(self._database, "refresh", self._refresh_one)

    def _refresh_one(self, organisation_id: int) -> int:
        n_vehicles = 0
        for _ in range(TURNS_BESIDE_WORKERS) if self._has_workers else count():
            if self._is_stopping.is_set():
                break
            with self._database.transaction() as session:
                n_refreshed = refresh_fleet(session, organisation_id, self._clock.now())
            if n_refreshed == 0:
                break
            n_vehicles += n_refreshed
            self._beat()
        return n_vehicles


def start_clock(seconds: float, *tasks: Task, once: Task | None = None) -> BackgroundScheduler:
    """Run each task at once and then every few seconds, never twice at a time, none skipped for being late.

    `once` is done a moment later, one time: it holds up nobody who waits for the start.
    """
    scheduler = BackgroundScheduler(timezone="UTC")
    if once is not None:
        scheduler.add_job(once, "date", run_date=SystemClock().now() + A_MOMENT, misfire_grace_time=None)
    for task in tasks:
        scheduler.add_job(
            task,
            "interval",
            seconds=seconds,
            coalesce=True,
            max_instances=1,
            misfire_grace_time=None,
            next_run_time=SystemClock().now(),
        )
    scheduler.start()
    return scheduler
