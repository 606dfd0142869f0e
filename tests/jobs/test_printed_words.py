"""What the command line prints is a sentence that its reader can act on."""

from datetime import UTC, datetime

import pytest
from typer.testing import CliRunner

from service.cli.app import app
from tests.jobs.vans import add_due_van

FRIDAY = datetime(2026, 5, 1, 6, 0, tzinfo=UTC)


@pytest.fixture
def run(operator, database, clock, monkeypatch):
    clock.present = FRIDAY
    monkeypatch.setenv("SUMPWISE_DATABASE_URL", database.engine.url.render_as_string(hide_password=False))
    monkeypatch.setattr("service.cli.context.build_clock", lambda _: clock)
    return lambda *words: CliRunner().invoke(app, list(words))


def test_lines_are_counted_in_english_and_one_without_an_article_says_so(run, operator):
    add_due_van(operator, "VAN-1", "2026-05-06")
    told = run("week", "show", "2026-W19").output
    assert "draft, 1 line\n" in told
    assert " L, no article set" in told
    assert "L brake_fluid" not in told
    add_due_van(operator, "VAN-2", "2026-05-06")
    assert "draft, 2 lines\n" in run("week", "show", "2026-W19").output


def test_lines_stand_by_the_day_on_which_they_are_to_be_done(run, operator):
    for number in (1, 2):
        add_due_van(operator, f"VAN-{number}", "2026-05-06")
    operator.post("/v1/due-lists/2026-W19/publish", {})
    first = operator.get("/v1/due-lists/2026-W19").json()["lines"][0]
    moved = {"kind": "moved", "moved_to_on": "2026-05-08"}
    assert operator.post(f"/v1/due-list-lines/{first['id']}/events", moved).status_code == 201
    told = run("week", "show", "2026-W19").output
    assert [line for line in told.splitlines() if " VAN-" in line][-1].startswith(
        f"Fri 08 May  {first['vehicle']}"
    )


def test_times_without_an_offset_name_the_option_that_helps(run, operator, tmp_path):
    operator.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"})
    file = tmp_path / "readings.csv"
    file.write_text("vehicle,taken_at,odometer\n\nVAN-1,2026-04-30T07:30:00,1000\n")
    refused = run("import", str(file))
    assert "row 3: rejected" in refused.output
    assert "--time-zone" in refused.output
    assert "1 accepted" in run("import", str(file), "--time-zone", "Europe/Berlin").output


@pytest.mark.parametrize(
    "words",
    [("week", "show", "2026-W19", "--output"), ("accuracy", "--out"), ("accuracy", "--dates-out")],
)
def test_a_file_that_cannot_be_written_is_named(run, operator, words, tmp_path):
    refused = run(*words, str(tmp_path / "nowhere" / "list.pdf"))
    assert refused.exit_code == 1
    assert "list.pdf: No such file or directory" in refused.output.replace("\n", "")


def test_a_kind_of_file_that_no_list_has_is_refused(run, operator, tmp_path):
    refused = run("week", "show", "2026-W19", "--output", str(tmp_path / "list.doc"))
    assert refused.exit_code == 2
    assert ".pdf" in refused.output
