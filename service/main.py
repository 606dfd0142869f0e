"""The composition root: settings in, application out. Nothing is wired at import time."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import timedelta

import anyio.to_thread
from fastapi import FastAPI

from service.api.application import build_api
from service.clock import Clock, ShiftedClock, SystemClock
from service.jobs.clock import build_tick, start_clock
from service.settings import Settings
from service.store.session import Database

SQLITE_THREADS = 4
"""More threads fight over the interpreter lock: 40 answer a quarter of the requests that 4 do."""


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


def build_app(settings: Settings, database: Database | None = None, clock: Clock | None = None) -> FastAPI:
    """Build the whole application."""
    database = database or build_database(settings)
    clock = clock or build_clock(settings)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        threads = SQLITE_THREADS if database.is_sqlite else database.pool_size
        anyio.to_thread.current_default_thread_limiter().total_tokens = threads
        scheduler = (
            start_clock(build_tick(database, clock), settings.tick_seconds) if settings.scheduler else None
        )
        yield
        if scheduler is not None:
            scheduler.shutdown(wait=True)
        database.close()

    return build_api(
        database=database,
        clock=clock,
        lifespan=lifespan,
        max_body_bytes=settings.max_body_bytes,
        max_upload_bytes=settings.max_upload_bytes,
        receive_timeout_seconds=settings.receive_timeout_seconds,
        public_url=settings.public_url,
    )
