"""People who sign in to the pages."""

from typing import Annotated

import typer

from service.cli.context import OrganisationOption, acting_for, opened_database
from service.domain.external_ids import IdKind, format_id
from service.domain.roles import Role
from service.store.repositories.people import list_people
from service.usecases.access.manage_people import add_person

app = typer.Typer(no_args_is_help=True, help="People who sign in to the pages.")


@app.command("add")
def add(
    login: Annotated[str, typer.Argument(help="What they sign in with, for instance an e-mail address.")],
    name: Annotated[str, typer.Argument(help="What they are called.")],
    role: Annotated[Role, typer.Option(help="What they may do.")] = Role.PLANNER,
    organisation: OrganisationOption = None,
) -> None:
    """Add somebody and print the link with which they come in once and set their password.

    Example: sumpwise people add kim@example.org "Kim" --role owner
    """
    with opened_database() as (database, clock, settings):
        caller = acting_for(database, organisation, "people")
        with database.transaction() as session:
            _, code = add_person(session, caller, clock.now(), login, name, role)
        typer.echo(f"{settings.public_url}/sign-in/{code}")


@app.command("list")
def list_all(organisation: OrganisationOption = None) -> None:
    """List the people of an organisation."""
    with opened_database() as (database, _, _):
        caller = acting_for(database, organisation, "people")
        with database.snapshot() as session:
            for person in list_people(session, caller.organisation_id):
                state = "shut out" if person.disabled_at else person.role
                typer.echo(f"{format_id(IdKind.PERSON, person.id)}\t{person.login}\t{person.name}\t{state}")
