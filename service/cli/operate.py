"""Run the service: the server, the clock, the schema."""

import gc
import signal
import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Annotated

import typer

from service.cli.context import EXIT_REFUSED, EXIT_UNAVAILABLE, load_settings, opened_database, told_errors
from service.jobs.clock import start_clock
from service.jobs.spare_memory import give_back_memory, share_one_heap
from service.logs import configure_logs
from service.main import build_app, build_database, build_scheduler
from service.settings import Settings
from service.store.schema import current_revision, newest_revision, upgrade_schema

HEADROOM_SECONDS = 8
"""How long requests under way may go on after the order to stop."""


def serve(
    host: Annotated[str | None, typer.Option(help="Address to listen on; SUMPWISE_HOST.")] = None,
    port: Annotated[int | None, typer.Option(min=1, max=65535, help="Port; SUMPWISE_PORT.")] = None,
) -> None:
    """Serve the API and the pages, and, unless SUMPWISE_SCHEDULER=false, run the clock beside them.

    Example: sumpwise serve --port 8080
    """
    with opened_database() as (_, _, settings):
        chosen = {"host": host or settings.host, "port": port or settings.port}
    asked = settings.model_copy(update=chosen)
    require_free_port(asked.host, asked.port)
    run_server(asked)


def require_free_port(host: str, port: int) -> None:
    """Say in a sentence that somebody else listens there, before anything is started."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            typer.echo(
                f"sumpwise: cannot listen on {host}:{port} ({error.strerror}); try --port 8080.", err=True
            )
            raise typer.Exit(EXIT_REFUSED) from None


def run_server(settings: Settings, announce: Callable[[], None] | None = None) -> None:
    """Serve until told to stop; requests under way end first. `announce` is called just before it listens."""
    import uvicorn

    from service.api.connections import protocol_with_patience

    configure_logs(settings.log_format, settings.log_level)
    share_one_heap()
    gc.disable()
    app = build_app(settings)
    # What was built by now stays: looking through it for garbage costs a bulk call a third of its time.
    gc.freeze()
    gc.enable()
    if announce is not None:
        announce()
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            host=settings.host,
            port=settings.port,
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=True,
            forwarded_allow_ips=settings.trusted_proxies,
            timeout_graceful_shutdown=HEADROOM_SECONDS,
            timeout_keep_alive=20,
            h11_max_incomplete_event_size=16 * 1024,
            http=protocol_with_patience(settings.receive_timeout_seconds, lambda: server.should_exit),
        )
    )
    with suppress(KeyboardInterrupt):
        server.run()
    if not server.started:
        raise typer.Exit(EXIT_UNAVAILABLE)


def run_scheduler(
    once: Annotated[bool, typer.Option("--once", help="Do what is due now and end.")] = False,
) -> None:
    """Run the clock on its own: refresh projections, publish due lists, send what waits.

    Any number of these may run; what is due is done once.
    """
    with opened_database() as (database, clock, settings):
        configure_logs(settings.log_format, settings.log_level)
        share_one_heap()
        work = build_scheduler(settings, database, clock)
        if once:
            work.tick()
            work.deliveries.finish_due()
            return
        stop = threading.Event()
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: stop.set())
        scheduler = start_clock(settings.tick_seconds, work.tick, give_back_memory)
        stop.wait()
        work.stop()
        scheduler.shutdown(wait=True)


def migrate(
    check: Annotated[
        bool, typer.Option("--check", help="Only say whether it is needed; exit code 3 if so.")
    ] = False,
) -> None:
    """Bring the database to the schema of this program; make a backup first.

    It is one transaction: killed half-way, the database is as it was, and the command can be run again.
    """
    settings = load_settings()
    database = build_database(settings)
    try:
        with told_errors():
            present, wanted = current_revision(database), newest_revision()
            if check:
                typer.echo(f"at {present or 'nothing'}, wanted {wanted}")
                raise typer.Exit(0 if present == wanted else EXIT_UNAVAILABLE)
            upgrade_schema(database)
            if settings.workers:
                from service.jobs.chunk_queue import prepare_queue

                prepare_queue(settings.database_url)
            typer.echo(f"The schema is {wanted}." if present == wanted else f"Upgraded to {wanted}.")
    finally:
        database.close()
