"""ISO weeks and publishing instants."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.weeks import (
    IsoWeek,
    PublishingRule,
    last_week_to_publish,
    n_weeks_in_year,
    next_week_to_publish,
    publishing_instant,
    weeks_from,
    weeks_to_catch_up,
)
from service.domain.zones import allowed_zone_names
from service.errors import InvalidInputError

ZONES = st.sampled_from(sorted(allowed_zone_names())).map(ZoneInfo)
RULES = st.builds(
    PublishingRule,
    zone=ZONES,
    iso_weekday=st.integers(1, 7),
    at=st.integers(0, 23).map(time),
)
MOMENTS = st.integers(0, 40 * 366 * 24 * 60).map(
    lambda minutes: datetime(2000, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
)
WEEKS = st.dates(date(1981, 1, 1), date(2099, 12, 31)).map(IsoWeek.of)
LONDON = PublishingRule(zone=ZoneInfo("Europe/London"))


# ISO 8601; the last two are examples that encyclopaedias give for the standard.
@pytest.mark.parametrize(
    ("day", "week"),
    [
        (date(2027, 1, 1), "2026-W53"),
        (date(2024, 12, 30), "2025-W01"),
        (date(2021, 1, 3), "2020-W53"),
        (date(2005, 1, 1), "2004-W53"),
        (date(2008, 12, 29), "2009-W01"),
    ],
)
def test_days_about_new_year(day: date, week: str) -> None:
    assert str(IsoWeek.of(day)) == week


# The 71 long years of a 400-year cycle include these (ISO 8601, as tabulated).
def test_long_years() -> None:
    long_years = {year for year in range(2000, 2061) if n_weeks_in_year(year) == 53}
    assert long_years == {2004, 2009, 2015, 2020, 2026, 2032, 2037, 2043, 2048, 2054, 2060}


def test_thirteen_weeks_over_a_long_year() -> None:
    weeks = [str(week) for week in weeks_from(IsoWeek(2026, 48), 13)]
    assert weeks[:7] == ["2026-W48", "2026-W49", "2026-W50", "2026-W51", "2026-W52", "2026-W53", "2027-W01"]
    assert weeks[-1] == "2027-W07"


@pytest.mark.parametrize(
    "text",
    ["2026-48", "2026W48", "2026-W00", "2026-W54", "2025-W53", "26-W48", "1979-W10", "2101-W01", "2026-W4", " 2026-W48",
     "٢٠٢٦-W48", "2026-W48\n", ""],
)  # fmt: skip
def test_what_is_not_a_week_is_refused(text: str) -> None:
    with pytest.raises(InvalidInputError):
        IsoWeek.parse(text)


@settings(max_examples=50)
@given(WEEKS, st.integers(-50, 50))
def test_weeks_are_written_read_ordered_and_shifted_consistently(week: IsoWeek, shift: int) -> None:
    assert IsoWeek.parse(str(week)) == week
    assert week.first_day.isoweekday() == 1
    assert week.last_day - week.first_day == timedelta(days=6)
    assert week.days()[0] == week.first_day
    assert week.days()[-1] == week.last_day
    assert {IsoWeek.of(day) for day in week.days()} == {week}
    other = week.shifted(shift) if 1982 < week.year < 2098 else week
    assert week.weeks_until(other) == (other.first_day - week.first_day).days // 7
    assert (other > week) == (other.first_day > week.first_day)
    assert other.shifted(-week.weeks_until(other)) == week


def test_the_list_of_a_week_is_published_on_the_friday_before() -> None:
    assert publishing_instant(IsoWeek(2026, 48), LONDON) == datetime(2026, 11, 20, 6, tzinfo=UTC)
    assert publishing_instant(IsoWeek(2026, 27), LONDON) == datetime(2026, 6, 26, 5, tzinfo=UTC)


@pytest.mark.parametrize("weekday", range(1, 8))
def test_a_list_has_to_guess_from_its_publishing_day_to_the_end_of_its_week(weekday: int) -> None:
    rule, week = PublishingRule(zone=ZoneInfo("UTC"), iso_weekday=weekday), IsoWeek(2026, 20)
    end = datetime.combine(week.shifted(1).first_day, rule.at, UTC)
    assert end - publishing_instant(week, rule) == timedelta(days=rule.days_ahead)


def test_at_the_instant_itself_the_week_has_come() -> None:
    instant = datetime(2026, 11, 20, 6, tzinfo=UTC)
    assert next_week_to_publish(instant - timedelta(microseconds=1), LONDON) == IsoWeek(2026, 48)
    assert next_week_to_publish(instant, LONDON) == IsoWeek(2026, 49)
    assert last_week_to_publish(instant, LONDON) == IsoWeek(2026, 48)


def test_missed_weeks_are_caught_up_in_order() -> None:
    now = datetime(2027, 1, 9, tzinfo=UTC)
    missed = weeks_to_catch_up(IsoWeek(2026, 52), now, LONDON)
    assert [str(week) for week in missed] == ["2026-W53", "2027-W01", "2027-W02"]
    assert weeks_to_catch_up(IsoWeek(2027, 2), now, LONDON) == ()
    assert weeks_to_catch_up(None, now, LONDON) == (IsoWeek(2027, 2),)


def test_a_clock_set_back_publishes_nothing_again() -> None:
    assert weeks_to_catch_up(IsoWeek(2026, 48), datetime(2026, 11, 2, tzinfo=UTC), LONDON) == ()


@pytest.mark.parametrize("changed", ["Pacific/Kiritimati", "Pacific/Pago_Pago", "Asia/Tokyo"])
def test_a_change_of_zone_in_mid_week_neither_doubles_nor_loses_a_week(changed: str) -> None:
    published: list[IsoWeek] = [IsoWeek(2026, 45)]
    for hour in range(28 * 24):
        now = datetime(2026, 11, 2, tzinfo=UTC) + timedelta(hours=hour)
        zone = ZoneInfo("Europe/London") if hour < 300 else ZoneInfo(changed)
        published.extend(weeks_to_catch_up(published[-1], now, PublishingRule(zone=zone)))
    assert published == list(weeks_from(IsoWeek(2026, 45), len(published)))
    assert len(published) == 5


# Samoa left out Friday 30 December 2011 (IANA time zone database).
@pytest.mark.parametrize("weekday", range(1, 8))
def test_a_zone_that_skips_a_day_loses_no_week(weekday: int) -> None:
    rule = PublishingRule(zone=ZoneInfo("Pacific/Apia"), iso_weekday=weekday)
    published = [IsoWeek(2011, 50)]
    for hour in range(35 * 24):
        now = datetime(2011, 12, 13, tzinfo=UTC) + timedelta(hours=hour)
        due = weeks_to_catch_up(published[-1], now, rule)
        assert len(due) <= 1 or hour == 0
        published.extend(due)
    assert published == list(weeks_from(IsoWeek(2011, 50), len(published)))
    instants = [publishing_instant(week, rule) for week in published]
    assert instants == sorted(set(instants))


@pytest.mark.parametrize(
    ("weekday", "at"), [(0, time(6)), (8, time(6)), (5, time(6, tzinfo=UTC)), (5, time(6, 0, 0, 1))]
)
def test_a_rule_that_no_clock_can_follow_is_refused(weekday: int, at: time) -> None:
    with pytest.raises(InvalidInputError):
        PublishingRule(zone=ZoneInfo("UTC"), iso_weekday=weekday, at=at)


@settings(max_examples=50)
@given(RULES, MOMENTS)
def test_now_lies_between_the_last_and_the_next_publishing(rule: PublishingRule, now: datetime) -> None:
    upcoming = next_week_to_publish(now, rule)
    latest = last_week_to_publish(now, rule)
    assert latest.shifted(1) == upcoming
    assert publishing_instant(latest, rule) <= now < publishing_instant(upcoming, rule)


@settings(max_examples=50)
@given(RULES, st.dates(date(2020, 1, 6), date(2035, 12, 1)).map(IsoWeek.of))
def test_publishing_instants_follow_each_other_a_week_apart(rule: PublishingRule, first: IsoWeek) -> None:
    instants = [publishing_instant(week, rule) for week in weeks_from(first, 60)]
    for earlier, later in pairwise(instants):
        assert abs(later - earlier - timedelta(weeks=1)) <= _tolerance(earlier, later, rule.zone)


@pytest.mark.slow
def test_all_zones_all_weekly_hours_about_every_change_from_2020_to_2035() -> None:
    seen: set[tuple[tuple[datetime, timedelta], ...]] = set()
    for name in sorted(allowed_zone_names()):
        zone = ZoneInfo(name)
        changes = _changes(zone)
        if changes in seen:
            continue
        seen.add(changes)
        for at, _ in changes:
            first = IsoWeek.of(at.date()).shifted(-1)
            for weekly_hour in range(168):
                rule = PublishingRule(zone=zone, iso_weekday=weekly_hour // 24 + 1, at=time(weekly_hour % 24))
                instants = [publishing_instant(week, rule) for week in weeks_from(first, 4)]
                for earlier, later in pairwise(instants):
                    error = abs(later - earlier - timedelta(weeks=1))
                    assert error <= _tolerance(earlier, later, zone), (name, at, weekly_hour)
                    assert later > earlier
    assert len(seen) > 45


def _tolerance(earlier: datetime, later: datetime, zone: ZoneInfo) -> timedelta:
    """Allow two hours, or the whole step where a place moved to another zone, from the second before it on."""
    before = (earlier - timedelta(seconds=1)).astimezone(zone).utcoffset()
    after = later.astimezone(zone).utcoffset()
    assert before is not None
    assert after is not None
    return max(timedelta(hours=2), abs(after - before))


def _changes(zone: ZoneInfo) -> tuple[tuple[datetime, timedelta], ...]:
    """Minutes from 2020 to 2035 at which the offset changes, with the new offset.

    To the minute, because Havana changes on the days of New York, but at midnight: zones that share days alone would
    be taken for the same.
    """
    found = []
    moment = datetime(2020, 1, 1, tzinfo=UTC)
    offset = moment.astimezone(zone).utcoffset()
    while moment.year < 2036:
        moment += timedelta(days=1)
        current = moment.astimezone(zone).utcoffset()
        if current != offset and current is not None:
            first, last = 0, 24 * 60
            while last - first > 1:
                middle = (first + last) // 2
                earlier = moment - timedelta(minutes=24 * 60 - middle)
                first, last = (
                    (middle, last) if earlier.astimezone(zone).utcoffset() == offset else (first, middle)
                )
            found.append((moment - timedelta(minutes=24 * 60 - last), current))
            offset = current
    return tuple(found)
