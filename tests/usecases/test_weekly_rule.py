"""Which weeks are to be published now, of those that have no list."""

from datetime import UTC, datetime, timedelta

import pytest

from service.domain.weeks import IsoWeek, publishing_instant
from service.store.tables.organisation import Organisation
from service.usecases.week.weekly_rule import MAX_CATCH_UP_WEEKS, missing_weeks, rule_of

NOW = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
"""A Monday: the list of its own week, 2026-W19, was to be published on the Friday before."""


def founded(at: datetime) -> Organisation:
    return Organisation(id=1, name="Invented Haulage", time_zone="Europe/Berlin", created_at=at)


def test_after_a_long_outage_only_the_latest_weeks_are_made_good():
    weeks = missing_weeks({"2025-W20"}, founded(NOW - timedelta(weeks=104)), NOW)
    assert len(weeks) == MAX_CATCH_UP_WEEKS
    assert weeks[-1] == IsoWeek(2026, 19)


def test_a_week_that_was_published_ahead_hides_none_before_it():
    weeks = missing_weeks({"2026-W16", "2026-W18"}, founded(NOW - timedelta(weeks=104)), NOW)
    assert [str(week) for week in weeks] == ["2026-W17", "2026-W19"]


def test_a_list_of_weeks_ahead_as_the_only_one_keeps_back_none_that_is_due():
    weeks = missing_weeks({"2026-W22"}, founded(NOW - timedelta(weeks=104)), NOW)
    assert [str(week) for week in weeks] == ["2026-W19"]


@pytest.mark.parametrize(("late", "missed"), [(timedelta(0), 1), (timedelta(seconds=1), 0)])
def test_an_organisation_missed_what_fell_due_from_the_moment_it_was_there(late: timedelta, missed: int):
    due_at = publishing_instant(IsoWeek(2026, 19), rule_of(founded(NOW)))
    assert len(missing_weeks(set(), founded(due_at + late), NOW)) == missed
