"""Due lists and the shelf."""

from pathlib import Path
from typing import Annotated, Final

import typer

from service.cli.context import OrganisationOption, acting_for, opened_database
from service.domain.weeks import publishing_instant
from service.jobs.clock import node_name
from service.store.repositories import due_lists
from service.store.tables.operations import JobFailure
from service.usecases.forecast.forecast_stock import forecast_stock
from service.usecases.week.publish_due_list import draft_list, publish_list
from service.usecases.week.publish_now import week_to_publish
from service.usecases.week.render_due_list import FileKind, render_due_list
from service.usecases.week.show_due_list import (
    CURRENT,
    ShownList,
    show_due_list,
    why_not_published,
)
from service.usecases.week.weekly_rule import publishing_rule

app = typer.Typer(no_args_is_help=True, help="Due lists: print one, or publish it ahead of its time.")

FILE_ENDINGS: Final = ", ".join(f".{kind}" for kind in FileKind)


def _with_known_ending(output: Path | None) -> Path | None:
    if output is not None and _ending(output) not in set(FileKind):
        raise typer.BadParameter(f"Its name has to end in one of {FILE_ENDINGS}.")
    return output


def _ending(path: Path) -> str:
    return path.suffix.lstrip(".").lower()


WeekArgument = Annotated[str, typer.Argument(help="ISO week such as 2026-W19, or `current`.")]


@app.command("show")
def show_week(
    week: WeekArgument = CURRENT,
    output: Annotated[
        Path | None,
        typer.Option(callback=_with_known_ending, help=f"Write a file instead, by its name {FILE_ENDINGS}."),
    ] = None,
    organisation: OrganisationOption = None,
) -> None:
    """Print the due list of a week.

    Example: sumpwise week show 2026-W19 --output list.pdf
    """
    with opened_database() as (database, clock, settings):
        caller = acting_for(database, organisation, "week")
        with database.snapshot() as session:
            shown = show_due_list(session, caller, clock.now(), week)
            failed = why_not_published(session, caller, shown)
        if output is None:
            _print(shown, failed)
            return
        kind = FileKind(_ending(output))
        content, _ = render_due_list(shown, kind, clock.now(), settings.public_url)
        output.write_bytes(content)


@app.command("publish")
def publish_week(week: WeekArgument = CURRENT, organisation: OrganisationOption = None) -> None:
    """Fix the due list of this week or one of the next four now; one that is published already stays as it is."""
    with opened_database() as (database, clock, _):
        caller, now = acting_for(database, organisation, "week"), clock.now()
        with database.snapshot() as session:
            wanted = week_to_publish(session, caller, now, week)
            draft = draft_list(session, caller.organisation_id, wanted, now)
            due_at = publishing_instant(wanted, publishing_rule(session, caller.organisation_id))
        with database.transaction() as session:
            published = publish_list(session, caller, wanted, due_at, now, node_name(), draft)
        typer.echo(f"{wanted} was published already." if published is None else f"Published {wanted}.")


def forecast(
    weeks: Annotated[int, typer.Option(min=1, max=26, help="How many ISO weeks ahead.")] = 12,
    organisation: OrganisationOption = None,
) -> None:
    """Print the litres of each fluid that the coming weeks will need, with the chance of running out.

    Example: sumpwise forecast --weeks 8
    """
    with opened_database() as (database, clock, _):
        caller = acting_for(database, organisation, "forecast")
        with database.snapshot() as session:
            shown = forecast_stock(session, caller, clock.now(), weeks)
        for fluid in shown.fluids:
            ledger = fluid.line.shelf.quantity
            beside = f" (by the ledger {ledger:.1f} L)" if ledger < 0.0 else ""
            typer.echo(f"{fluid.line.fluid.reference}: {fluid.line.held_quantity:.1f} L on hand{beside}")
            for place, week in enumerate(shown.weeks):
                typer.echo(
                    f"  {week}  {fluid.weekly.mean[place]:8.1f} L"
                    f"  (P10 {fluid.weekly.q10[place]:.1f}, P90 {fluid.weekly.q90[place]:.1f})"
                    f"  short with {fluid.stock.run_out_probability[place]:.0%}"
                )


def _print(shown: ShownList, failed: JobFailure | None) -> None:
    state = "draft" if shown.published is None else "published"
    n_lines = len(shown.lines)
    counted = f"{n_lines} {'line' if n_lines == 1 else 'lines'}"
    typer.echo(f"{shown.organisation.name}, week {shown.week}, {state}, {counted}")
    if failed is not None:
        typer.echo(
            f"It could not be published at {failed.at:%Y-%m-%d %H:%M} UTC: {failed.detail} ({failed.code})"
        )
    for line, events in shown.lines:
        on = due_lists.day_of(line, events)
        day = on.strftime("%a %d %b") if on else "no day yet"
        mark = f"  [{events[-1].kind}]" if events else ""
        fluid = f" {line.fluid}" if line.fluid else ", no article set"
        work = f"{line.n_rounds} × {line.method.replace('_', ' ')}, {line.litres:g} L{fluid}"
        typer.echo(f"{day:11} {line.vehicle:12} {line.compartment:16} {work}{mark}")
        typer.echo(f"{'':11} {line.reason}")
