"""Local clocks, gaps and repeated hours."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.zones import allowed_zone_names, first_instant, local_date, zone_named
from service.errors import InvalidInputError

ZONES = st.sampled_from(sorted(allowed_zone_names())).map(ZoneInfo)


@pytest.mark.parametrize(
    "name",
    [
        "localtime",
        "posixrules",
        "Factory",
        "Europe",
        "",
        "../etc/passwd",
        "/etc/localtime",
        "No/Where",
        "a" * 300,
        "\0",
    ],
)
def test_names_outside_the_list_are_refused_without_opening_anything(name: str) -> None:
    with pytest.raises(InvalidInputError) as caught:
        zone_named("/time_zone", name)
    assert caught.value.errors[0].pointer == "/time_zone"


def test_a_name_of_the_list_is_a_zone() -> None:
    assert zone_named("/time_zone", "Europe/Berlin").key == "Europe/Berlin"


# Rules of the IANA time zone database for these nights.
@pytest.mark.parametrize(
    ("zone", "day", "at", "utc"),
    [
        # The clock jumps from 02:00 to 03:00 at 01:00 UTC.
        ("Europe/Berlin", date(2025, 3, 30), time(2, 30), datetime(2025, 3, 30, 1, 0, tzinfo=UTC)),
        # 02:30 comes twice, at 00:30 and 01:30 UTC: the first one counts.
        ("Europe/Berlin", date(2025, 10, 26), time(2, 30), datetime(2025, 10, 26, 0, 30, tzinfo=UTC)),
        ("America/New_York", date(2025, 11, 2), time(1, 30), datetime(2025, 11, 2, 5, 30, tzinfo=UTC)),
        # Midnight does not exist: the day starts at 01:00.
        ("America/Santiago", date(2026, 9, 6), time(0, 0), datetime(2026, 9, 6, 4, 0, tzinfo=UTC)),
        # A half-hour change and a zone of 45 minutes.
        ("Australia/Lord_Howe", date(2025, 10, 5), time(2, 15), datetime(2025, 10, 4, 15, 30, tzinfo=UTC)),
        ("Pacific/Chatham", date(2025, 9, 28), time(3, 0), datetime(2025, 9, 27, 14, 0, tzinfo=UTC)),
        # A day that was left out altogether: the gap ends where 31 December begins.
        ("Pacific/Apia", date(2011, 12, 30), time(6, 0), datetime(2011, 12, 30, 10, 0, tzinfo=UTC)),
        ("Asia/Kathmandu", date(2026, 5, 1), time(6, 0), datetime(2026, 5, 1, 0, 15, tzinfo=UTC)),
    ],
)
def test_a_local_time_has_one_instant(zone: str, day: date, at: time, utc: datetime) -> None:
    assert first_instant(day, at, ZoneInfo(zone)) == utc


@pytest.mark.parametrize(
    ("zone", "day"), [("Pacific/Auckland", date(2025, 7, 1)), ("America/Los_Angeles", date(2025, 6, 30))]
)
def test_the_date_of_an_instant_is_the_one_on_the_local_wall(zone: str, day: date) -> None:
    assert local_date(datetime(2025, 6, 30, 23, 30, tzinfo=UTC), ZoneInfo(zone)) == day


@pytest.mark.parametrize(("day", "hours"), [(date(2025, 3, 29), 23), (date(2025, 10, 25), 25)])
def test_noon_to_noon_over_a_change_is_not_a_day(day: date, hours: int) -> None:
    berlin = ZoneInfo("Europe/Berlin")
    start = first_instant(day, time(12), berlin)
    end = first_instant(day + timedelta(days=1), time(12), berlin)
    assert end - start == timedelta(hours=hours)


@settings(max_examples=50)
@given(
    ZONES,
    st.dates(date(2000, 1, 1), date(2040, 12, 31)),
    st.times().map(lambda at: at.replace(microsecond=0)),
)
def test_nothing_earlier_shows_the_time_and_the_instant_shows_it_or_later(
    zone: ZoneInfo, day: date, at: time
) -> None:
    instant = first_instant(day, at, zone)
    wanted = datetime.combine(day, at)
    assert instant.astimezone(zone).replace(tzinfo=None) >= wanted
    just_before = (instant - timedelta(seconds=1)).astimezone(zone).replace(tzinfo=None)
    assert just_before < wanted
