"""Months counted from the original day, and where a schedule starts again."""

from calendar import monthrange
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.intervals import Interval, ServicePoint, credited_start, due_point, months_after
from service.errors import InvalidInputError

DAYS = st.dates(date(1980, 1, 1), date(2080, 12, 31))


# Usual rule of maintenance calendars, checked by hand against the Gregorian calendar.
@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2024, 2, 29), 48, date(2028, 2, 29)),
        (date(2023, 8, 31), 6, date(2024, 2, 29)),
        (date(2024, 1, 31), 1, date(2024, 2, 29)),
        (date(2024, 1, 31), 2, date(2024, 3, 31)),
        (date(2025, 1, 31), 1, date(2025, 2, 28)),
        (date(2024, 12, 31), 2, date(2025, 2, 28)),
        (date(2024, 3, 31), -1, date(2024, 2, 29)),
        (date(2024, 5, 1), 0, date(2024, 5, 1)),
    ],
)
def test_month_ends_and_leap_days(day: date, months: int, expected: date) -> None:
    assert months_after(day, months) == expected


def test_counting_beyond_every_plan_stops_at_its_edge() -> None:
    assert months_after(date(2099, 1, 1), 360) == date(2100, 12, 31)
    assert months_after(date(1, 1, 1), -1) == date.min


@settings(max_examples=50)
@given(DAYS, st.integers(0, 240))
def test_the_month_is_exact_and_the_day_never_later_than_the_original(day: date, months: int) -> None:
    later = months_after(day, months)
    assert (later.year - day.year) * 12 + later.month - day.month == months
    assert later.day == min(day.day, monthrange(later.year, later.month)[1])


@settings(max_examples=50)
@given(DAYS, DAYS, st.integers(0, 120))
def test_an_earlier_service_is_never_due_later(one: date, other: date, months: int) -> None:
    first, second = sorted((one, other))
    assert months_after(first, months) <= months_after(second, months)


def test_each_limit_counts_from_the_last_full_service() -> None:
    start = ServicePoint(on=date(2024, 1, 31), odometer_km=50_000, engine_hours=1_000)
    point = due_point(Interval(km=60_000, months=25, hours=500), start)
    assert point == ServicePoint(on=date(2026, 2, 28), odometer_km=110_000, engine_hours=1_500)


def test_a_limit_without_interval_or_without_start_is_not_reached() -> None:
    start = ServicePoint(on=None, odometer_km=None, engine_hours=200)
    point = due_point(Interval(km=60_000, months=24), start)
    assert point == ServicePoint(on=None)


@pytest.mark.parametrize(
    "values", [{"km": 0}, {"months": 0}, {"hours": -5}, {"km": float("nan")}, {"months": 10_000}]
)
def test_absurd_intervals_are_refused(values: dict[str, float]) -> None:
    with pytest.raises(InvalidInputError) as caught:
        Interval(**values)  # type: ignore[arg-type]
    assert caught.value.errors[0].pointer == f"/interval_{next(iter(values))}"


def test_half_a_credit_moves_the_start_half_way() -> None:
    previous = ServicePoint(on=date(2024, 1, 1), odometer_km=0, engine_hours=0)
    service = ServicePoint(on=date(2024, 7, 1), odometer_km=40_000, engine_hours=600)
    start = credited_start(previous, service, 0.5)
    assert start == ServicePoint(on=date(2024, 4, 1), odometer_km=20_000, engine_hours=300)
    assert credited_start(previous, service, 1.0) == service
    assert credited_start(previous, service, 0.0) == previous


def test_a_partial_credit_never_moves_the_start_as_far_as_a_full_one() -> None:
    previous, service = ServicePoint(on=date(2024, 1, 1)), ServicePoint(on=date(2024, 7, 1))
    assert credited_start(previous, service, 0.999) == ServicePoint(on=date(2024, 6, 30))


def test_without_an_earlier_start_only_a_full_exchange_sets_one() -> None:
    unknown = ServicePoint(on=None)
    service = ServicePoint(on=date(2024, 7, 1), odometer_km=40_000)
    assert credited_start(unknown, service, 1.0) == service
    assert credited_start(unknown, service, 0.6) == unknown
    assert credited_start(service, unknown, 0.6) == service


@pytest.mark.parametrize("credit", [-0.1, 1.1, float("nan")])
def test_a_credit_is_a_share(credit: float) -> None:
    point = ServicePoint(on=None)
    with pytest.raises(InvalidInputError):
        credited_start(point, point, credit)
