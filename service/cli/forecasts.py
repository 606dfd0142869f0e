"""Forecasts for files, with the engine, screening and defaults of the service; and how good they are."""

import csv
import math
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer

from service.cli.context import OrganisationOption, acting_for, opened_database, told_errors
from service.engine.skill.backtest import ALL_HORIZONS, Scorecard
from service.engine.skill.due_dates import DateScorecard
from service.engine.skill.tasks import Pasts, project_tasks
from service.errors import InvalidInputError
from service.usecases.readings.import_readings import unreadable_file
from service.usecases.usage.show_accuracy import show_accuracy

InputFile = Annotated[Path, typer.Option(exists=True, dir_okay=False, readable=True)]


def project(past: InputFile, tasks: InputFile, out: Annotated[Path, typer.Option(dir_okay=False)]) -> None:
    """Project odometers for given dates, from entries as they were keyed.

    past.csv has the columns origin, vehicle, date, km: everything that was known of a vehicle at an origin.
    tasks.csv has task, origin, vehicle, origin_date, target_date. The answer has task, p10, p50, p90 in km.
    A task sees its own origin's past; what vehicles have in common may come from other pasts up to that date.

    Example: sumpwise project --past past.csv --tasks tasks.csv --out predictions.csv
    """
    with told_errors():
        names = {"task": str, "origin": str, "vehicle": str}
        task_rows = _rows(tasks, names | {"origin_date": _day, "target_date": _day})
        entries = _rows(past, {"origin": str, "vehicle": str, "date": _day, "km": _km})
        origins = {_whose(row): row["origin_date"] for row in task_rows}
        pasts, place_of = _pasts(entries, origins)
        missing = next((_whose(row) for row in task_rows if _whose(row) not in place_of), None)
        if missing is not None:
            origin, vehicle = missing
            raise InvalidInputError(f"{past.name} has no entries of {vehicle} for the origin {origin}.")
        quantiles = project_tasks(
            pasts,
            np.array([place_of[_whose(row)] for row in task_rows], dtype=np.int64),
            np.array([row["target_date"] for row in task_rows]),
        )
        with out.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(("task", "p10", "p50", "p90"))
            for row, values in zip(task_rows, quantiles, strict=True):
                writer.writerow((row["task"], *(f"{value:.1f}" for value in values)))
    typer.echo(f"{len(task_rows)} projections written to {out}.", err=True)


def accuracy(
    out: Annotated[Path | None, typer.Option(dir_okay=False, help="Write the scores as CSV too.")] = None,
    dates_out: Annotated[
        Path | None, typer.Option(dir_okay=False, help="Write how dates held as CSV too.")
    ] = None,
    organisation: OrganisationOption = None,
) -> None:
    """Say how projections along the stored histories would have turned out, against plain averages.

    The first table is of odometers at given dates, the second of the dates at which distances would be reached.

    Example: sumpwise accuracy --out accuracy.csv --dates-out dates.csv
    """
    with opened_database() as (database, clock, _):
        caller = acting_for(database, organisation, "accuracy")
        with database.snapshot() as session:
            found = show_accuracy(session, caller, clock.now())
    typer.echo(f"{found.n_vehicles} vehicles")
    typer.echo(f"{'method':24}{'horizon':>8}{'n':>7}{'error km':>10}{'days':>8}{'pinball':>9}{'P10-P90':>9}")
    for card in found.cards:
        typer.echo(
            f"{card.method:24}{_horizon(card.horizon_days):>8}{card.n_exercises:>7}{card.absolute_error_km:>10.0f}"
            f"{card.absolute_error_days:>8.1f}{card.pinball_km:>9.1f}{card.coverage_fraction:>9.1%}"
        )
    if found.dates:
        typer.echo(f"{'dates':24}{'horizon':>8}{'n':>7}{'open':>7}{'days':>8}{'plain':>8}{'P10-P90':>9}")
    else:
        typer.echo("No dates can be judged yet.")
    for date_card in found.dates:
        typer.echo(_date_line(date_card))
    if out is not None:
        _write_cards(out, found.cards, [name for name in Scorecard.__slots__ if name != "pit_fraction"])
    if dates_out is not None:
        _write_cards(dates_out, found.dates, DateScorecard.__slots__)


def _date_line(card: DateScorecard) -> str:
    known = f"{'service':24}{_horizon(card.horizon_days):>8}{card.n_dates:>7}{card.n_open:>7}"
    if card.n_dates == 0:
        return f"{known}  none can be judged yet"
    errors = f"{card.absolute_error_days:>8.1f}{card.plain_absolute_error_days:>8.1f}"
    return f"{known}{errors}{card.held_fraction:>9.1%}"


def _horizon(days: float) -> str:
    return "all" if days == ALL_HORIZONS else f"{days:.0f} d"


def _write_cards(out: Path, cards: Sequence[Scorecard | DateScorecard], names: Sequence[str]) -> None:
    with told_errors(), out.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(names)
        writer.writerows([_cell(getattr(card, name)) for name in names] for card in cards)


def _cell(value: float | str) -> float | str:
    """Leave the cell of a number that nobody has empty."""
    return "" if isinstance(value, float) and math.isnan(value) else value


def _rows(path: Path, columns: Mapping[str, Callable[[str], Any]]) -> list[dict[str, Any]]:
    """Read some columns of a file, each in its own way."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        reader = csv.DictReader(file, restval="", strict=True)
        try:
            missing = set(columns) - set(reader.fieldnames or ())
            if missing:
                raise InvalidInputError(f"{path.name} lacks the columns {', '.join(sorted(missing))}.")
            return [{name: read(row[name]) for name, read in columns.items()} for row in reader]
        except (csv.Error, UnicodeError) as error:
            raise unreadable_file(error) from error
        except ValueError as error:
            raise InvalidInputError(f"{path.name}, line {reader.line_num}: {error}") from None


def _day(text: str) -> float:
    try:
        return float(date.fromisoformat(text[:10]).toordinal())
    except ValueError:
        raise ValueError(f"“{text[:40]}” is no date such as 2026-05-01.") from None


def _km(text: str) -> float:
    try:
        km = float(text)
    except ValueError:
        km = math.nan
    if not math.isfinite(km):
        raise ValueError(f"“{text[:40]}” is no number.")
    return km


def _whose(row: Mapping[str, Any]) -> tuple[str, str]:
    """Origin and vehicle: an origin may be a day that many vehicles share."""
    return row["origin"], row["vehicle"]


def _pasts(
    entries: Sequence[Mapping[str, Any]], origins: dict[tuple[str, str], float]
) -> tuple[Pasts, dict[tuple[str, str], int]]:
    """Group the entries by origin and vehicle, in order of time; of one day, in the order of the file."""
    by_origin: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for row in entries:
        by_origin.setdefault(_whose(row), []).append((row["date"], row["km"]))
    names = list(by_origin)
    number_of = {vehicle: place for place, vehicle in enumerate(dict.fromkeys(name[1] for name in names))}
    ordered = [entry for name in names for entry in sorted(by_origin[name], key=lambda entry: entry[0])]
    lengths = [len(by_origin[name]) for name in names]
    latest = [max(day for day, _ in by_origin[name]) for name in names]
    pasts = Pasts(
        time_days=np.array([day for day, _ in ordered]),
        keyed_km=np.array([km for _, km in ordered]),
        offsets=np.concatenate(([0], np.cumsum(lengths))).astype(np.int64),
        vehicle=np.array([number_of[vehicle] for _, vehicle in names], dtype=np.int64),
        origin_days=np.array([origins.get(name, day) for name, day in zip(names, latest, strict=True)]),
    )
    return pasts, {name: place for place, name in enumerate(names)}
