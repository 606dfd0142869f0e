"""Take an organisation out into a file, put it into another database, or delete it."""

import os
from pathlib import Path
from typing import Annotated

import typer

from service.cli.context import OrganisationOption, acting_for, opened_database
from service.errors import ConflictError
from service.store.schema import newest_revision
from service.usecases.access.delete_organisation import delete_for_good
from service.usecases.access.found_organisation import find_organisation
from service.usecases.access.move_organisation import export_organisation, restore_organisation

ONLY_OURS = 0o600
"""The file holds what the database holds: nobody else may read it."""


def export(
    file: Annotated[Path, typer.Argument(dir_okay=False, help="A zip file that does not exist yet.")],
    organisation: OrganisationOption = None,
) -> None:
    """Write everything that an organisation owns into one file, as it is at this moment; the service may run on.

    The file holds hashes of passwords and tokens and the secrets of webhooks: keep it as you keep the database.

    Example: sumpwise organisations export workshop.zip
    """
    with opened_database() as (database, clock, _):
        caller = acting_for(database, organisation, "export")
        if file.exists():
            raise ConflictError(f"{file} exists already; an export is never overwritten.")
        partial = file.with_name(f"{file.name}.partial")
        partial.unlink(missing_ok=True)
        try:
            descriptor = os.open(partial, os.O_RDWR | os.O_CREAT | os.O_EXCL, ONLY_OURS)
            with os.fdopen(descriptor, "w+b") as target, database.snapshot() as session:
                found = export_organisation(
                    session, caller.organisation_id, newest_revision(), clock.now(), target
                )
                target.flush()
                os.fsync(target.fileno())
            partial.rename(file)
        finally:
            partial.unlink(missing_ok=True)
        typer.echo(f"{found.organisation}: {found.total} rows written to {file}.")


def restore(
    file: Annotated[Path, typer.Argument(exists=True, dir_okay=False, readable=True)],
    new_ids: Annotated[
        bool, typer.Option("--new-ids", help="For a database that holds other organisations with these ids.")
    ] = False,
) -> None:
    """Put an exported organisation into this database, all of it or nothing; its ids stay what they were.

    With --new-ids whatever knows an id (`veh_12`) from outside has to learn the new one; numbers of the fleet, tokens
    and passwords stay. Answers kept for calls that are sent again do not come along.

    From SQLite to PostgreSQL: export it, set SUMPWISE_DATABASE_URL, `sumpwise migrate`, restore it.

    Example: sumpwise organisations restore workshop.zip
    """
    with opened_database() as (database, _, _), file.open("rb") as source:
        with database.transaction() as session:
            found = restore_organisation(session, newest_revision(), source, under_new_ids=new_ids)
        typer.echo(f"{found.organisation}: {found.total} rows restored.")


def delete(
    name: Annotated[str, typer.Argument(help="Its name, in full.")],
    yes: Annotated[bool, typer.Option("--yes", help="It is meant.")] = False,
) -> None:
    """Delete an organisation and everything that it owns, for good; export it first.

    Example: sumpwise organisations delete "My workshop" --yes
    """
    with opened_database() as (database, clock, _):
        with database.snapshot() as session:
            key = find_organisation(session, name).id or 0
        if not yes:
            raise ConflictError(f"Nothing was deleted. Export {name} first, then say --yes.")
        n_rows = delete_for_good(database.transaction, key, clock.now())
        typer.echo(f"{name}: {n_rows} rows deleted.")
