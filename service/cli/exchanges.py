"""Work out how a fluid should be changed, for one compartment or for typed-in numbers."""

from typing import Annotated

import typer

from service.cli.context import OrganisationOption, acting_for, opened_database
from service.domain.fluid_kinds import FluidKind
from service.domain.money import minor_per_major, money_decimals
from service.usecases.plans.explain_plan import (
    how_to_come_back,
    name_option,
    what_it_keeps,
    what_would_change,
    why,
)
from service.usecases.plans.plan_exchange import PlannedExchange, plan_exchange


def exchange(
    compartment: Annotated[
        str | None, typer.Argument(help="A compartment's id, for instance cmp_31.")
    ] = None,
    kind: Annotated[FluidKind | None, typer.Option(help="Kind of fluid, for typed-in numbers.")] = None,
    total: Annotated[float | None, typer.Option(help="Litres that the compartment holds.")] = None,
    drainable: Annotated[float | None, typer.Option(help="Litres that one drain brings out.")] = None,
    life_used: Annotated[float | None, typer.Option(help="Life used so far: 0 new, 1 condemned.")] = None,
    organisation: OrganisationOption = None,
) -> None:
    """Compare one to six rounds and a line exchange: fresh share, life used, litres, cost, when it is due again.

    Example: sumpwise exchange --kind automatic_transmission_car --total 9 --drainable 3.5 --life-used 0.8
    """
    named = {"total_litres": total, "drainable_litres": drainable, "old_life_used": life_used}
    typed = {name: value for name, value in named.items() if value is not None}
    with opened_database() as (database, clock, _):
        caller = acting_for(database, organisation, "exchange")
        with database.snapshot() as session:
            planned = plan_exchange(
                session,
                caller,
                clock.now(),
                compartment=compartment,
                kind=kind,
                vehicle_class=None,
                duty=None,
                typed=typed,
            )
        _print(planned)


def _print(planned: PlannedExchange) -> None:
    plan, currency = planned.plan, planned.numbers.currency
    decimals = money_decimals(currency)
    typer.echo(f"{'':16}{'fresh':>7}{'life used':>11}{'litres':>9}{'cost':>10}{'due again':>12}")
    for row in range(plan.n_rounds.size):
        if not plan.is_available[row, 0]:
            continue
        cost = plan.cost_minor[row, 0] / minor_per_major(currency)
        typer.echo(
            f"{name_option(planned, row):16}{plan.fresh_share[row, 0]:>7.0%}{plan.life_used_after[row, 0]:>11.2f}"
            f"{plan.poured_litres[row, 0]:>9.1f}{cost:>10.{decimals}f}{plan.due.days[row, 0]:>10.0f} d"
        )
    for sentence in (
        why(planned),
        what_it_keeps(planned),
        how_to_come_back(planned),
        *what_would_change(planned),
    ):
        if sentence is not None:
            typer.echo(sentence)
    for caution in planned.cautions[:3]:
        typer.echo(f"! {caution}")
