"""The command `sumpwise` and its sub-commands."""

from importlib.metadata import PackageNotFoundError, version
from typing import Annotated

import typer

from service.cli import data, demo, exchanges, forecasts, moving, operate, people, tokens, weeks, workers

app = typer.Typer(
    name="sumpwise",
    no_args_is_help=True,
    add_completion=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="""Which vehicles need their fluids serviced this week, why, and what to have on the shelf.

    Settings come from the environment, with the prefix SUMPWISE_; the database is SUMPWISE_DATABASE_URL.

    Try it:  sumpwise demo

    Begin for real:  sumpwise migrate, sumpwise organisations create "My workshop", sumpwise tokens create office,
    sumpwise serve

    Exit codes: 0 done, 1 refused, 2 wrong usage or settings, 3 database away or to be migrated, 4 not allowed.""",
)
app.command("demo")(demo.run_demo)
app.command("serve")(operate.serve)
app.command("scheduler")(operate.run_scheduler)
app.command("worker")(workers.run_worker)
app.command("refresh")(workers.refresh)
app.command("migrate")(operate.migrate)
app.command("import")(data.import_file)
app.command("forecast")(weeks.forecast)
app.command("exchange")(exchanges.exchange)
app.command("project")(forecasts.project)
app.command("accuracy")(forecasts.accuracy)
tokens.organisations.command("export")(moving.export)
tokens.organisations.command("restore")(moving.restore)
tokens.organisations.command("delete")(moving.delete)
app.add_typer(weeks.app, name="week")
app.add_typer(tokens.app, name="tokens")
app.add_typer(people.app, name="people")
app.add_typer(tokens.organisations, name="organisations")


def _show_version(wanted: bool) -> None:
    if wanted:
        try:
            typer.echo(f"sumpwise {version('sumpwise')}")
        except PackageNotFoundError:
            typer.echo("sumpwise, from its source folder")
        raise typer.Exit


@app.callback()
def root(
    _version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and exit."),
    ] = False,
) -> None:
    """Plan the fluid services of a fleet."""
