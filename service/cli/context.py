"""What every command needs: settings, a database at the present schema, and errors as exit codes."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Final

import typer
from pydantic import ValidationError

from service.clock import Clock
from service.errors import AuthenticationRequiredError, PermissionDeniedError, ServiceError, UnavailableError
from service.main import build_clock, build_database
from service.settings import Settings
from service.store.schema import current_revision, newest_revision
from service.store.session import Database
from service.usecases.access.caller import Caller, system_caller
from service.usecases.access.found_organisation import find_organisation

EXIT_REFUSED: Final = 1
"""What was asked cannot be done as it was asked."""

EXIT_USAGE: Final = 2
EXIT_UNAVAILABLE: Final = 3
"""The database is away, or not at the present schema: try again, or migrate."""

EXIT_FORBIDDEN: Final = 4
INSUFFICIENT_PRIVILEGE: Final = "42501"
"""PostgreSQL's code."""

OrganisationOption = Annotated[
    str | None, typer.Option("--organisation", help="Its name; may be left out when there is only one.")
]


def load_settings() -> Settings:
    """Settings from the environment, or a message that says which one is wrong."""
    try:
        return Settings()
    except ValidationError as error:
        for item in error.errors(include_input=False, include_url=False):
            name = "_".join(str(part) for part in item["loc"]).upper()
            told = item["msg"].removeprefix("Value error, ")
            typer.echo(f"sumpwise: SUMPWISE_{name}: {told}." if name else f"sumpwise: {told}.", err=True)
        raise typer.Exit(EXIT_USAGE) from None


@contextmanager
def told_errors() -> Iterator[None]:
    """Say what went wrong in a sentence, and end with an exit code that means something."""
    try:
        yield
    except ServiceError as error:
        typer.echo(f"sumpwise: {error.detail}", err=True)
        for line in _further(error):
            typer.echo(f"  {line}", err=True)
        raise typer.Exit(_exit_code(error)) from None
    except OSError as error:
        if error.filename is None:
            raise
        typer.echo(f"sumpwise: {error.filename}: {error.strerror}.", err=True)
        raise typer.Exit(EXIT_REFUSED) from None
    except Exception as error:
        said = getattr(error, "orig", error)
        if getattr(said, "sqlstate", None) != INSUFFICIENT_PRIVILEGE:
            raise
        refusal = str(said).partition("\n")[0]
        typer.echo(f"sumpwise: The user of the database may not do this: {refusal}.", err=True)
        raise typer.Exit(EXIT_FORBIDDEN) from None


def _further(error: ServiceError) -> Iterator[str]:
    """Where it went wrong, or what the database said: whoever is at this terminal may know that."""
    for field in error.errors:
        yield field.pointer if field.detail == error.detail else f"{field.pointer}: {field.detail}"
    said = getattr(error.__cause__, "orig", None)
    if isinstance(error, UnavailableError) and said is not None:
        yield " ".join(str(said).split())


def _exit_code(error: ServiceError) -> int:
    if isinstance(error, UnavailableError):
        return EXIT_UNAVAILABLE
    if isinstance(error, PermissionDeniedError | AuthenticationRequiredError):
        return EXIT_FORBIDDEN
    return EXIT_REFUSED


def require_present_schema(database: Database) -> None:
    """Refuse a database that this program cannot work with as it is."""
    present, wanted = current_revision(database), newest_revision()
    if present is None:
        raise UnavailableError(
            "The database is empty. If it is the right one (SUMPWISE_DATABASE_URL), run `sumpwise migrate` first."
        )
    if present != wanted:
        raise UnavailableError(
            f"The database is at schema {present} and this program works with {wanted}; run `sumpwise migrate` first."
        )


@contextmanager
def opened_database() -> Iterator[tuple[Database, Clock, Settings]]:
    """Open the database, refusing one that is not at the present schema."""
    settings = load_settings()
    database = build_database(settings)
    try:
        with told_errors():
            require_present_schema(database)
            yield database, build_clock(settings), settings
    finally:
        database.close()


def acting_for(database: Database, organisation: str | None, command: str) -> Caller:
    """Caller with all rights of an organisation: whoever can open the database has them anyway."""
    with database.snapshot() as session:
        return system_caller(find_organisation(session, organisation).id or 0, command)
