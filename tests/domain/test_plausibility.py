"""Bounds of numbers and times."""

from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo, available_timezones

import pytest

from service.domain.plausibility import (
    DENSITY_KG_PER_M3,
    EASTERNMOST,
    ENGINE_HOURS,
    EXPANSION_CELSIUS,
    FLUID_CELSIUS,
    ODOMETER_KM,
    WESTERNMOST,
    Bounds,
    hours_run_on,
    is_offset_in_use,
    past_instant,
    planned_day,
)
from service.engine.level.expansion import (
    HIGHEST_CELSIUS,
    HIGHEST_DENSITY,
    LOWEST_CELSIUS,
    LOWEST_DENSITY,
)
from service.errors import InvalidInputError

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


@pytest.mark.parametrize("value", [0, 1, 2_500_000])
def test_odometers_inside(value: float) -> None:
    assert ODOMETER_KM.check("/odometer", value) == value


@pytest.mark.parametrize("value", [-0.1, -0.0, 2_500_000.1, 1e12, float("nan"), float("inf"), float("-inf")])
def test_odometers_outside_are_refused_with_the_bounds(value: float) -> None:
    with pytest.raises(InvalidInputError) as caught:
        ODOMETER_KM.check("/odometer", value)
    assert caught.value.errors[0].pointer == "/odometer"
    assert "2,500,000" in caught.value.errors[0].detail


@pytest.mark.parametrize(("bounds", "least"), [(ODOMETER_KM, 0.001), (ENGINE_HOURS, 0.0001)])
def test_a_meter_shows_nothing_or_what_a_meter_can_show(bounds: Bounds, least: float) -> None:
    assert [bounds.check("/meter", value) for value in (0.0, least, 0.05)] == [0.0, least, 0.05]
    for value in (5e-324, 1e-320, 1e-9, least * 0.99):
        with pytest.raises(InvalidInputError, match=f"must be 0, or at least {least}"):
            bounds.check("/meter", value)


def test_where_less_than_nothing_can_be_minus_zero_is_zero() -> None:
    assert str(FLUID_CELSIUS.check("/level_celsius", -0.0)) == "0.0"


def test_a_time_becomes_utc() -> None:
    summer = datetime(2026, 5, 1, 7, 30, tzinfo=timezone(timedelta(hours=1)))
    assert past_instant("/taken_at", summer, NOW) == datetime(2026, 5, 1, 6, 30, tzinfo=UTC)


def test_an_hour_of_clock_skew_is_taken_as_now() -> None:
    assert past_instant("/taken_at", NOW + timedelta(minutes=59), NOW) == NOW
    assert past_instant("/taken_at", NOW + timedelta(hours=1), NOW) == NOW


@pytest.mark.parametrize(
    "value",
    [
        NOW + timedelta(hours=1, seconds=1),
        datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=14))),
        datetime(9999, 12, 31, 23, tzinfo=timezone(timedelta(hours=-12))),
        datetime(1979, 12, 31, tzinfo=UTC),
        datetime(1980, 1, 1, 0, 30, tzinfo=timezone(timedelta(hours=1))),
        datetime(2101, 1, 1, tzinfo=UTC),
        datetime(2026, 5, 1, 7, 30, tzinfo=timezone(timedelta(hours=14, minutes=1))),
        datetime(2026, 5, 1, 7, 30, tzinfo=timezone(timedelta(hours=-23))),
        datetime(2026, 5, 1, 7, 30),  # noqa: DTZ001 - the missing offset is what is tested
    ],
)
def test_times_that_cannot_be_are_refused(value: datetime) -> None:
    with pytest.raises(InvalidInputError) as caught:
        past_instant("/taken_at", value, NOW)
    assert caught.value.errors[0].pointer == "/taken_at"


def test_every_zone_since_1980_has_an_offset_that_is_in_use() -> None:
    """The time zone database, as the package tzdata holds it (published)."""
    noons = [
        datetime(year, month, 1, 12, tzinfo=UTC) for year in range(1980, 2031) for month in (1, 4, 7, 10)
    ]
    offsets = [noon.astimezone(ZoneInfo(name)) for name in available_timezones() for noon in noons]
    assert all(map(is_offset_in_use, offsets))
    found = {one.utcoffset() for one in offsets}
    assert (min(found), max(found)) == (WESTERNMOST, EASTERNMOST)


def test_days_that_a_plan_can_carry() -> None:
    assert planned_day("/on", date(2100, 12, 31)) == date(2100, 12, 31)
    for day in (date(1979, 12, 31), date(2101, 1, 1)):
        with pytest.raises(InvalidInputError):
            planned_day("/on", day)


@pytest.mark.parametrize(
    ("after", "days", "may_be"),
    [
        (999.9, 1.0, True),
        (999.8, 1.0, False),
        (1_000.0, 0.0, True),
        (1_025.0, 1.0, True),
        (1_025.1, 1.0, False),
        (1_001.1, 0.0, False),
    ],
)
def test_an_hour_meter_runs_no_faster_than_the_clock(after: float, days: float, may_be: bool) -> None:
    """But for a tenth that two people round differently, and an hour of a sender's clock."""
    assert hours_run_on(1_000.0, after, days) is may_be


def test_what_is_stored_fits_the_tables_of_expansion():
    """Two rooms that do not know each other name the same table's ends."""
    assert (DENSITY_KG_PER_M3.minimum, DENSITY_KG_PER_M3.maximum) == (LOWEST_DENSITY, HIGHEST_DENSITY)
    assert (EXPANSION_CELSIUS.minimum, EXPANSION_CELSIUS.maximum) == (LOWEST_CELSIUS, HIGHEST_CELSIUS)
