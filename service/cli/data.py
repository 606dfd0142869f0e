"""Load files."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from service.cli.context import EXIT_REFUSED, OrganisationOption, acting_for, opened_database
from service.domain.zones import zone_named
from service.usecases.readings.file_columns import NO_OFFSET
from service.usecases.readings.import_readings import import_readings, open_readings_file
from service.usecases.readings.row_outcomes import RowOutcomes

SHOWN_ROWS = 50
NO_OFFSET_HERE = "Needs its offset from UTC, or name the file's time zone with --time-zone."


def import_file(
    file: Annotated[
        Path, typer.Argument(exists=True, dir_okay=False, readable=True, help="A CSV file of readings.")
    ],
    time_zone: Annotated[
        str | None, typer.Option(help="IANA zone of times that have no offset, for instance Europe/Berlin.")
    ] = None,
    organisation: OrganisationOption = None,
) -> None:
    """Import readings from a CSV file.

    Columns: vehicle, taken_at, odometer, and if you like unit, engine_hours, source, reference.

    Rows that cannot be stored are named; the others are stored. Sent again, nothing is stored twice.

    Example: sumpwise import readings.csv --time-zone Europe/Berlin
    """
    n_told = 0

    def report(numbers: Sequence[int], outcomes: RowOutcomes) -> None:
        nonlocal n_told
        for number, result in zip(numbers, outcomes, strict=True):
            if result.reason is None or result.outcome in {"duplicate", "accepted"} or n_told >= SHOWN_ROWS:
                continue
            n_told += 1
            sentence = (result.sentence or "").replace(NO_OFFSET, NO_OFFSET_HERE)
            typer.echo(f"row {number}: {result.outcome}: {sentence}", err=True)

    with opened_database() as (database, clock, _):
        caller = acting_for(database, organisation, "import")
        zone = None if time_zone is None else zone_named("--time-zone", time_zone)
        with file.open(encoding="utf-8-sig", newline="") as text:
            counts = import_readings(
                database.transaction, caller, clock.now, open_readings_file(text, zone), report
            )
        typer.echo(
            f"{counts['accepted']} accepted, {counts['held']} held, {counts['duplicate']} duplicate, "
            f"{counts['rejected']} rejected"
        )
        if counts["rejected"]:
            raise typer.Exit(EXIT_REFUSED)
