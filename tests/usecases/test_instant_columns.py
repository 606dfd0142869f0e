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
