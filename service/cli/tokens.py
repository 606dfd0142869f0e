"""Organisations and their API tokens."""

import re
from datetime import timedelta
from typing import Annotated, Literal

import typer

from service.cli.context import OrganisationOption, acting_for, opened_database
from service.domain.external_ids import IdKind, format_id
from service.domain.money import CURRENCY_CODE
from service.domain.plausibility import TOKEN_DAYS
from service.domain.roles import Scope
from service.domain.texts import clean_line
from service.store.repositories import access, fleet
from service.usecases.access.found_organisation import found_organisation
from service.usecases.access.manage_tokens import create_token, revoke_token

app = typer.Typer(no_args_is_help=True, help="API tokens: a secret is shown once, when it is made.")
organisations = typer.Typer(no_args_is_help=True, help="Organisations; each sees its own fleet only.")


def _currency(code: str) -> str:
    if not re.fullmatch(CURRENCY_CODE, code.upper()):
        raise typer.BadParameter("Three letters of ISO 4217, such as EUR.")
    return code.upper()


@organisations.command("create")
def create_organisation(
    name: Annotated[str, typer.Argument(help="What it is called.")],
    time_zone: Annotated[str, typer.Option(help="IANA name; weeks begin on its Mondays.")] = "UTC",
    currency: Annotated[str, typer.Option(help="ISO 4217 code.", callback=_currency)] = "EUR",
    distance_unit: Annotated[Literal["km", "mi"], typer.Option(help="What odometers show.")] = "km",
) -> None:
    """Make an organisation.

    Example: sumpwise organisations create "My workshop" --time-zone Europe/Berlin
    """
    facts = {"time_zone": time_zone, "currency": currency, "distance_unit": distance_unit}
    with opened_database() as (database, clock, _):
        name = clean_line("name", name)
        with database.transaction() as session:
            found_organisation(session, clock.now(), name, facts)
        typer.echo(f"Made {name}.")


@organisations.command("list")
def list_organisations() -> None:
    """List the organisations in this database."""
    with opened_database() as (database, _, _), database.snapshot() as session:
        for organisation in fleet.list_organisations(session):
            typer.echo(f"{organisation.name}\t{organisation.time_zone}")


@app.command("create")
def create(
    name: Annotated[str, typer.Argument(help="Who or what it is for.")],
    scope: Annotated[
        list[Scope] | None,
        typer.Option(help="May be given several times; all if left out, readings alone for one vehicle."),
    ] = None,
    days: Annotated[
        int | None, typer.Option(min=1, max=int(TOKEN_DAYS.maximum), help="Days until it expires.")
    ] = None,
    vehicle: Annotated[str | None, typer.Option(help="Bind it to one vehicle, for a driver's link.")] = None,
    organisation: OrganisationOption = None,
) -> None:
    """Make a token and print its secret, once.

    Example: sumpwise tokens create office --scope read --scope planning
    """
    with opened_database() as (database, clock, _):
        caller = acting_for(database, organisation, "tokens")
        now, name = clock.now(), clean_line("name", name, maximum=80)
        expires_at = None if days is None else now + timedelta(days=days)
        scopes = scope or ([Scope.READINGS] if vehicle else list(Scope))
        with database.transaction() as session:
            _, secret = create_token(
                session, caller, now, name, scopes, expires_at=expires_at, vehicle=vehicle
            )
        typer.echo(secret)


@app.command("list")
def list_all(organisation: OrganisationOption = None) -> None:
    """List tokens, without their secrets."""
    with opened_database() as (database, _, _):
        caller = acting_for(database, organisation, "tokens")
        with database.snapshot() as session:
            for token in access.list_tokens(session, caller.organisation_id):
                state = "revoked" if token.revoked_at else "valid"
                scopes = " ".join(token.scopes)
                typer.echo(f"{format_id(IdKind.TOKEN, token.id)}\t{token.name}\t{state}\t{scopes}")


@app.command("revoke")
def revoke(
    token: Annotated[str, typer.Argument(help="Its id, from `sumpwise tokens list`.")],
    organisation: OrganisationOption = None,
) -> None:
    """Make a token worthless from the next call on."""
    with opened_database() as (database, clock, _):
        caller = acting_for(database, organisation, "tokens")
        with database.transaction() as session:
            revoke_token(session, caller, clock.now(), token)
        typer.echo(f"Revoked {token}.")
