"""A weekly run that fails is said where somebody looks, and no longer once it has worked."""

from datetime import UTC, datetime

from typer.testing import CliRunner

from service.cli.app import app
from service.jobs import weekly_run
from service.jobs.weekly_run import run_weekly
from tests.jobs.vans import add_due_van

FRIDAY = datetime(2026, 5, 1, 6, 0, tzinfo=UTC)


def shown(database, clock, monkeypatch):
    monkeypatch.setenv("SUMPWISE_DATABASE_URL", database.engine.url.render_as_string(hide_password=False))
    monkeypatch.setattr("service.cli.context.build_clock", lambda _: clock)
    answer = CliRunner().invoke(app, ["week", "show", "2026-W19"])
    assert answer.exit_code == 0, answer.output
    return answer.output


def test_why_a_list_is_not_published_is_printed_with_its_draft(operator, database, clock, monkeypatch):
    clock.present = FRIDAY
    add_due_van(operator, "VAN-1", "2026-05-06")
    assert "could not be published" not in shown(database, clock, monkeypatch)

    def fail(*_):
        raise ZeroDivisionError("by the bay hours")

    with monkeypatch.context() as broken:
        broken.setattr(weekly_run, "draft_list", fail)
        assert run_weekly(database, FRIDAY, "node") == 0
    told = shown(database, clock, monkeypatch)
    assert "draft, 1 line\n" in told
    assert "could not be published at 2026-05-01 06:00 UTC: by the bay hours (ZeroDivisionError)" in told
    assert run_weekly(database, FRIDAY, "node") == 1
    told = shown(database, clock, monkeypatch)
    assert "published, 1 line\n" in told
    assert "could not" not in told
