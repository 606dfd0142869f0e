"""Projections of a file's entries: each task from the past of its own vehicle, whatever its origin is called."""

import csv

import pytest
from typer.testing import CliRunner

from service.cli.app import app

PAST = "origin,vehicle,date,km\n"
TASKS = "task,origin,vehicle,origin_date,target_date\n"
TARGET = "2026-03-31"


def past_of(origin: str, vehicle: str, first_km: int, km_a_day: int) -> str:
    """Four entries, 28 days apart, the last on 26 March."""
    days = ("2026-01-01", "2026-01-29", "2026-02-26", "2026-03-26")
    rows = enumerate(days)
    return "".join(f"{origin},{vehicle},{day},{first_km + 28 * km_a_day * step}\n" for step, day in rows)


@pytest.fixture
def project(tmp_path):
    def run(past: str, tasks: str):
        (tmp_path / "past.csv").write_text(PAST + past)
        (tmp_path / "tasks.csv").write_text(TASKS + tasks)
        names = {name: str(tmp_path / f"{name}.csv") for name in ("past", "tasks", "out")}
        options = [word for name, path in names.items() for word in (f"--{name}", path)]
        return CliRunner().invoke(app, ["project", *options]), tmp_path / "out.csv"

    return run


def answers(path) -> dict[str, float]:
    with path.open(newline="") as file:
        return {row["task"]: float(row["p50"]) for row in csv.DictReader(file)}


def test_vehicles_that_share_an_origin_are_projected_apart(project):
    """A day is the plainest name of an origin. After 5 days more: 100 km a day from 11,400 km, 20 from 51,680."""
    past = past_of("spring", "VAN-1", 3_000, 100) + past_of("spring", "VAN-2", 50_000, 20)
    tasks = f"a,spring,VAN-1,2026-03-26,{TARGET}\nb,spring,VAN-2,2026-03-26,{TARGET}\n"
    result, out = project(past, tasks)
    assert result.exit_code == 0, result.output
    found = answers(out)
    assert found["a"] == pytest.approx(11_400 + 500, abs=250)
    assert found["b"] == pytest.approx(51_680 + 100, abs=250)


def test_a_task_without_a_past_of_its_vehicle_is_refused(project):
    past = past_of("spring", "VAN-1", 3_000, 100)
    result, out = project(past, f"a,spring,VAN-2,2026-03-26,{TARGET}\n")
    assert result.exit_code != 0
    assert "no entries of VAN-2 for the origin spring" in result.output
    assert not out.exists()


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("spring,VAN-1,26.3.2026,9000", "past.csv, line 7: “26.3.2026” is no date"),
        ("spring,VAN-1,2026-03-27,9 000", "past.csv, line 7: “9 000” is no number"),
        ("spring,VAN-1,2026-03-27,nan", "past.csv, line 7: “nan” is no number"),
        ("spring,VAN-1,2026-03-27,inf", "past.csv, line 7: “inf” is no number"),
        ("spring,VAN-1", "past.csv, line 7: “” is no date"),
        ('spring,"VAN-1', "not sound CSV"),
    ],
)
def test_what_cannot_be_read_is_named_by_its_line(project, line, told):
    past = past_of("spring", "VAN-1", 3_000, 100) + "\n" + line + "\n"
    result, out = project(past, f"a,spring,VAN-1,2026-03-26,{TARGET}\n")
    assert result.exit_code == 1
    assert told in result.output
    assert not out.exists()
