"""A column of times is read as the standard library reads each of them (Python's `datetime.fromisoformat`)."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.api.inputs import parse_instant
from service.usecases.readings.instant_columns import read_instants

OFFSETS = st.integers(-12 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
FIRST, LAST = datetime.fromisoformat("1980-01-01"), datetime.fromisoformat("2100-12-31")
INSTANTS = st.datetimes(FIRST, LAST, timezones=st.just(UTC) | OFFSETS)
FORMS = st.sampled_from(["seconds", "milliseconds", "microseconds", "minutes"])


def written(instant: datetime, form: str, mark: str, has_z: bool) -> str:
    text = instant.isoformat(mark, form)
    return text.replace("+00:00", "Z") if has_z else text


def read(texts):
    refused = {}

    def one_by_one(place, text):
        try:
            return parse_instant(text)
        except ValueError as error:
            refused[place] = str(error)
            return None

    return read_instants(texts, one_by_one), refused


@given(st.lists(st.builds(written, INSTANTS, FORMS, st.sampled_from("T t"), st.booleans()), max_size=20))
def test_every_form_means_the_same_instant_and_keeps_its_offset(texts):
    column, refused = read(texts)
    assert not refused
    for place, text in enumerate(texts):
        expected = datetime.fromisoformat(text.upper())
        assert column.instant(place) == expected
        assert column.instant(place).utcoffset() == expected.utcoffset()


SOUND = "2026-05-01T07:30:00+01:00"


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("2025-02-29T07:30:00+01:00", "calendar"),
        ("2026-13-01T07:30:00+01:00", "calendar"),
        ("2026-05-01T24:00:00+01:00", "calendar"),
        ("2026-05-01T07:60:00+01:00", "calendar"),
        ("2026-05-01T07:30:60+01:00", "calendar"),
        ("2026-05-01T07:30:00+24:00", "calendar"),
        ("2026-05-01T07:30:00+14:01", "No clock"),
        ("2026-05-01T07:30:00-12:01", "No clock"),
        ("1979-12-31T23:30:00-05:00", "year"),
        ("2101-01-01T00:30:00+01:00", "year"),
        ("2026-05-01T07:30:00*01:00", "such as"),
        ("2026/05/01T07:30:00+01:00", "such as"),
        ("2026-05-01T07:30:0٣+01:00", "such as"),
        ("2026-05-01 07:30:00 01:00", "such as"),
        ("", "such as"),
    ],
)
def test_what_is_no_time_is_refused_by_itself_and_leaves_its_neighbours_alone(text, rule):
    column, refused = read([SOUND, text, SOUND])
    assert list(refused) == [1]
    assert rule in refused[1]
    assert column.instant(0) == column.instant(2) == datetime.fromisoformat(SOUND)


def test_a_day_that_no_calendar_has_in_a_long_column_is_refused_by_itself():
    """NumPy 2.4.6 ends the process with a segmentation fault where it reads more than 500 texts and one is no date."""
    texts = [SOUND] * 3000
    texts[1234] = "2026-02-30T07:30:00+01:00"
    column, refused = read(texts)
    assert list(refused) == [1234]
    assert column.instant(0) == column.instant(2999) == datetime.fromisoformat(SOUND)


def test_every_day_of_the_calendar_and_no_other_is_one():
    """Against Python's `date`, which follows ISO 8601: months of all lengths, leap years, 2000 and 2100."""
    texts = [
        f"{year}-{month:02d}-{day:02d}T23:59:59.123456Z"
        for year in (1980, 1999, 2000, 2024, 2025, 2100)
        for month in range(14)
        for day in range(33)
    ]
    column, refused = read(texts)
    for place, text in enumerate(texts):
        try:
            expected = datetime.fromisoformat(text)
        except ValueError:
            assert place in refused, text
        else:
            assert place not in refused, text
            assert column.instant(place) == expected
