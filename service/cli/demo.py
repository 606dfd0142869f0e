"""The demo: an invented fleet in a file of its own, served at once."""

from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Annotated

import typer
from sqlmodel import Session

from service.cli.context import EXIT_REFUSED, acting_for, load_settings, told_errors
from service.cli.operate import require_free_port, run_server
from service.domain.external_ids import IdKind, format_id
from service.domain.roles import Role, Scope
from service.main import build_clock, build_database
from service.settings import Settings
from service.store.repositories import fleet, people
from service.store.schema import upgrade_schema
from service.store.session import Database
from service.usecases.access.caller import Caller
from service.usecases.access.manage_people import add_person, invite_again
from service.usecases.access.manage_tokens import create_token

FILE_NAME = "demo.sqlite"
DEMO_LOGIN = "demo"
LOOPBACK = ("127.0.0.1", "localhost", "::1")


def run_demo(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port to listen on.")] = 8000,
    folder: Annotated[Path, typer.Option("--dir", help="Where the database file is kept.")] = Path(
        "sumpwise-demo"
    ),
    only_load: Annotated[bool, typer.Option("--only-load", help="Make the database and end.")] = False,
) -> None:
    """Make an invented fleet, work out what is due, serve it, and print how to look at it.

    Nothing in it is real. Run again, it goes on with the same file; delete the folder to begin anew.
    """
    require_free_port(host, port)
    settings = _settings(host, port, folder)
    database, clock = build_database(settings), build_clock(settings)
    with told_errors():
        upgrade_schema(database)
        if not _has_fleet(database):
            from seed_demo.loader import load_demo_fleet

            typer.echo("Loading an invented fleet (about half a minute):", err=True)
            load_demo_fleet(database, clock.now(), lambda text: typer.echo(f"  {text}", err=True))
        caller = acting_for(database, None, "demo")
        with database.transaction() as session:
            _, secret = create_token(session, caller, clock.now(), "demo", list(Scope))
            code = _invite(session, caller, clock.now())
    database.close()
    if only_load:
        return
    url = f"http://{host}:{port}"
    if host not in LOOPBACK:
        typer.echo("This address can be reached from other machines; the demo speaks plain HTTP.", err=True)
    # Whoever copies the call at once should find somebody listening.
    run_server(settings, announce=partial(_introduce, url, secret, code))


def _introduce(url: str, secret: str, code: str) -> None:
    typer.echo(f"\nThis week's due list:  {url}/sign-in/{code}  (opens once; run the demo again for another)")
    typer.echo(f"The API, explained:    {url}/docs")
    typer.echo(f"A token for it:        {secret}")
    typer.echo(f'Try:  curl -s -H "Authorization: Bearer {secret}" {url}/v1/due-lists/current\n')


def _invite(session: Session, caller: Caller, now: datetime) -> str:
    """One-time code for the demo's only person."""
    known = people.list_people(session, caller.organisation_id)
    if not known:
        return add_person(session, caller, now, DEMO_LOGIN, "Demo", Role.OWNER)[1]
    return invite_again(session, caller, now, format_id(IdKind.PERSON, known[0].id))[1]


def _settings(host: str, port: int, folder: Path) -> Settings:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path = folder.resolve() / FILE_NAME
        path.touch()
    except OSError as error:
        typer.echo(f"sumpwise: the folder {folder} cannot be written: {error.strerror}.", err=True)
        raise typer.Exit(EXIT_REFUSED) from None
    given = load_settings()
    changes = {
        "database_url": f"sqlite:///{path}",
        "host": host,
        "port": port,
        "public_url": f"http://{host}:{port}",
        "log_level": "WARNING",
        "log_format": "text",
    }
    return given.model_copy(update=changes)


def _has_fleet(database: Database) -> bool:
    with database.snapshot() as session:
        return bool(fleet.list_organisation_ids(session))
