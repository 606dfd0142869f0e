"""The composition root: settings in, application out. Nothing is wired at import time."""

from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager, suppress
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from service.clients.addresses import parse_networks
from service.clients.fleet_pages import PageFetcher
from service.clients.mail import mailer_for
from service.clients.targets import TargetRules
from service.clients.webhooks import WebhookSender
from service.clock import Clock, ShiftedClock, SystemClock
from service.errors import UnavailableError
from service.jobs.clock import Tick, node_name, start_clock
from service.jobs.deliveries import LEASE, REHEARSED_LEASE, Deliveries
from service.jobs.fleet_projection import NightlyProjection
from service.jobs.housekeeping import Housekeeping
from service.jobs.machine_pulls import MachinePulls
from service.jobs.spare_memory import give_back_memory
from service.settings import Settings
from service.store.session import Database
from service.usecases.access.note_token_uses import TokenUses
from service.usecases.deliveries.compose_mail import Sender
from service.usecases.deliveries.deliver import Carriers

if TYPE_CHECKING:
    from apscheduler.schedulers.background import BackgroundScheduler
    from fastapi import FastAPI


def build_clock(settings: Settings) -> Clock:
    """Make the clock that the settings ask for."""
    if settings.clock_start is None:
        return SystemClock()
    skew = timedelta(seconds=settings.test_clock_skew_seconds)
    if settings.test_clock_epoch_seconds is None:
        return ShiftedClock(settings.clock_start, settings.test_clock_speed, skew)
    return ShiftedClock(
        settings.clock_start, settings.test_clock_speed, skew, settings.test_clock_epoch_seconds
    )


def build_database(settings: Settings) -> Database:
    """Open the database that the settings name."""
    return Database(
        settings.database_url,
        pool_size=settings.database_pool_size,
        timeout_seconds=settings.database_timeout_seconds,
        sqlite_synchronous=settings.sqlite_synchronous,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Scheduler:
    """What a scheduler does at each tick, and the threads that send."""

    tick: Tick
    deliveries: Deliveries
    pulls: MachinePulls
    projection: NightlyProjection

    def stop(self) -> None:
        """Begin nothing more."""
        self.tick.stop()
        self.pulls.stop()
        self.projection.stop()
        self.deliveries.stop()


def build_target_rules(settings: Settings) -> TargetRules:
    """Make the rules for addresses that callers name."""
    return TargetRules(parse_networks(settings.outbound_allow))


def build_scheduler(settings: Settings, database: Database, clock: Clock) -> Scheduler:
    """Make what refreshes, publishes, sends and tidies up."""
    carriers = Carriers(
        webhooks=WebhookSender(SystemClock(), build_target_rules(settings)),
        mailer=mailer_for(settings.smtp_url),
        sender=Sender(mail_from=settings.mail_from, public_url=settings.public_url),
    )
    speed = settings.test_clock_speed
    lease = LEASE if speed == 1.0 else REHEARSED_LEASE * speed
    deliveries = Deliveries(database, clock, carriers, np.random.default_rng(), lease)
    pulls = MachinePulls(database, clock, PageFetcher(build_target_rules(settings)), np.random.default_rng())
    housekeeping = Housekeeping(database, clock)
    projection = build_projection(settings, database, clock)
    tick = Tick(
        database,
        clock,
        deliveries.start_due,
        pulls.start_due,
        projection.run_if_due,
        housekeeping.run_if_due,
        checks_clock=settings.environment != "test",
        has_workers=settings.workers,
    )
    return Scheduler(tick=tick, deliveries=deliveries, pulls=pulls, projection=projection)


def build_projection(settings: Settings, database: Database, clock: Clock) -> NightlyProjection:
    """Make what projects whole fleets: here, or through the queue of the workers."""
    if not settings.workers:
        return NightlyProjection(database, clock, node_name())
    from service.jobs.chunk_queue import ChunkQueue

    return NightlyProjection(database, clock, node_name(), ChunkQueue(settings.database_url).share)


def build_app(settings: Settings, database: Database | None = None, clock: Clock | None = None) -> "FastAPI":
    """Build the whole application.

    Only the server needs the API and the pages: every other command starts in a third of the time without them.
    """
    from service.api.application import build_api
    from service.api.limiter import Limiter
    from service.api.tracing import install_tracing
    from service.web.application import install_pages

    database = database or build_database(settings)
    clock = clock or build_clock(settings)
    scheduler = build_scheduler(settings, database, clock) if settings.scheduler else None
    app = build_api(
        database=database,
        clock=clock,
        lifespan=_lifespan(settings, scheduler),
        max_body_bytes=settings.max_body_bytes,
        max_upload_bytes=settings.max_upload_bytes,
        receive_timeout_seconds=settings.receive_timeout_seconds,
        public_url=settings.public_url,
        limiter=Limiter(settings.quota_calls_per_second, settings.quota_rows_per_hour),
    )
    app.state.token_uses = TokenUses()
    app.state.target_rules = build_target_rules(settings)
    install_pages(app, settings.secret_key.get_secret_value())
    app.state.tracing = install_tracing(app) if settings.telemetry else None
    return app


def _lifespan(
    settings: Settings, scheduler: Scheduler | None
) -> Callable[["FastAPI"], AbstractAsyncContextManager[None]]:
    """What happens around the serving of requests."""

    @asynccontextmanager
    async def lifespan(app: "FastAPI") -> AsyncIterator[None]:
        timer = _start(app, settings, scheduler)
        yield
        _stop(app, scheduler, timer)

    return lifespan


def _start(app: "FastAPI", settings: Settings, scheduler: Scheduler | None) -> "BackgroundScheduler":
    """Start what runs beside the requests: the scheduler, if it is here, and what every server does now and then."""
    import anyio.to_thread

    from service.api.turns import threads_for

    anyio.to_thread.current_default_thread_limiter().total_tokens = threads_for(app.state.database)
    return start_clock(
        settings.tick_seconds,
        *(() if scheduler is None else (scheduler.tick,)),
        partial(_flush_uses, app),
        give_back_memory,
        once=None if settings.environment == "test" else partial(_warm_up, app),
    )


def _stop(app: "FastAPI", scheduler: Scheduler | None, timer: "BackgroundScheduler") -> None:
    """Stop it, wait for what is under way, and keep what is only in memory."""
    if scheduler is not None:
        scheduler.stop()
    timer.shutdown(wait=True)
    with suppress(UnavailableError):
        _flush_uses(app)
    if app.state.tracing is not None:
        app.state.tracing.shutdown()
    app.state.database.close()


def _flush_uses(app: "FastAPI") -> None:
    app.state.token_uses.flush(app.state.database)


def _warm_up(app: "FastAPI") -> None:
    app.state.drafts.warm_up(app.state.database, app.state.clock.now())
