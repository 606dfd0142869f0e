"""Project whole fleets: a worker among others, or one fleet now."""

from functools import partial
from typing import Annotated

import typer

from service.cli.context import OrganisationOption, acting_for, opened_database
from service.errors import ConflictError
from service.jobs.clock import node_name
from service.jobs.fleet_projection import do_chunk
from service.logs import configure_logs
from service.main import build_projection


def run_worker(
    until_empty: Annotated[
        bool, typer.Option("--until-empty", help="End when no part of a fleet is left to do.")
    ] = False,
) -> None:
    """Project parts of fleets that schedulers put into the queue. Needs PostgreSQL and SUMPWISE_WORKERS=true.

    One worker keeps one processor core busy; any number may run, on any number of machines. Killed, its part is done
    by another.
    """
    with opened_database() as (database, _, settings):
        configure_logs(settings.log_format, settings.log_level)
        if not settings.workers:
            raise ConflictError(
                "SUMPWISE_WORKERS is not true, so that no scheduler would give a worker anything."
            )
        from service.jobs.chunk_queue import ChunkQueue

        queue = ChunkQueue(
            settings.database_url, partial(do_chunk, database), settings.worker_silence_seconds
        )
        queue.run(name=node_name(), until_empty=until_empty)


def refresh(organisation: OrganisationOption = None) -> None:
    """Project a whole fleet now, without waiting for the night; on the workers where there are any."""
    with opened_database() as (database, clock, settings):
        caller = acting_for(database, organisation, "refresh")
        projection = build_projection(settings, database, clock)
        n_parts = projection.project(caller.organisation_id, clock.now())
        typer.echo(f"Parts {'given to the workers' if settings.workers else 'projected'}: {n_parts}.")
