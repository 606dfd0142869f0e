"""Numbers and dates: ISO 80000-1 section 7.3 (groups of three, no comma), ISO 8601, NIST Handbook 44 appendix C."""

from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from service.documents.presentation import Presentation
from service.domain.units_of_distance import DistanceUnit

PLAIN = Presentation()


@pytest.mark.parametrize(
    ("value", "n_decimals", "written"),
    [(1234567.891, 2, "1\u202f234\u202f567.89"), (999.0, 0, "999"), (-4.25, 1, "\u22124.2"), (-0.01, 0, "0")],
)
def test_numbers_are_grouped_by_narrow_spaces(value: float, n_decimals: int, written: str) -> None:
    assert PLAIN.number(value, n_decimals) == written


@pytest.mark.parametrize(
    ("unit", "litres", "written"),
    [
        ("L", 3.785411784, "3.8\u00a0L"),
        ("US gal", 3.785411784, "1.0\u00a0US gal"),
        ("US qt", 3.785411784, "4.0\u00a0US qt"),
        ("imp gal", 4.54609, "1.0\u00a0imp gal"),
        ("L", 0.062, "0.06\u00a0L"),
        ("L", 0.0, "0.0\u00a0L"),
    ],
)
def test_volumes_in_the_organisation_s_unit(unit: str, litres: float, written: str) -> None:
    assert Presentation(volume_unit=unit).volume(litres) == written  # type: ignore[arg-type]


def test_distance_in_miles() -> None:
    assert Presentation(distance_unit=DistanceUnit.MI).distance(1609.344) == "1\u202f000\u00a0mi".replace(
        "1\u202f000", "1\u202f000"
    )


def test_unknown_values_are_a_dash() -> None:
    written = [
        PLAIN.volume(None),
        PLAIN.distance(None),
        PLAIN.celsius(None),
        PLAIN.percent(None),
        PLAIN.day(None),
    ]
    assert written == ["–"] * 5


def test_moments_carry_their_offset() -> None:
    paris = timezone(timedelta(hours=2))
    assert PLAIN.moment(datetime(2026, 5, 8, 6, 0, tzinfo=paris)) == "2026-05-08 06:00 +02:00"
    assert PLAIN.moment(datetime(2026, 5, 8, 6, 0, tzinfo=UTC)) == "2026-05-08 06:00 +00:00"


def test_weekdays_have_names() -> None:
    """2026-05-11 is the Monday of ISO week 20."""
    assert date(2026, 5, 11).isocalendar() == (2026, 20, 1)
    assert PLAIN.weekday(date(2026, 5, 11)) == "Monday"


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("Due since 2026-05-06; 60,000 km.", "Due since 06/05/2026; 60\u202f000 km."),
        ("It holds 9.25 L, 43% used, limit 0.20%.", "It holds 9,25 L, 43\u00a0% used, limit 0,20\u00a0%."),
        ("Week 2026-W20, sheet 2026-05-06-7, 5W-30, V2.5", "Week 2026-W20, sheet 2026-05-06-7, 5W-30, V2.5"),
        ("The chance is > 99 %.", "The chance is >\u00a099\u00a0%."),
        ("No such day: 2026-02-30", "No such day: 2026-02-30"),
        ("Article 1,5 and 1,234,5", "Article 1,5 and 1,234,5"),
    ],
)
def test_sentences_take_the_organisation_s_dates_and_marks(written: str, shown: str) -> None:
    """What looks like a number but is a name stays as it is."""
    assert Presentation(date_style="day first", decimal_mark=",").sentence(written) == shown


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("More than it held: 3.79 L. Measure again.", "More than it held: 4.00\u00a0US qt. Measure again."),
        ("The ledger holds 0.05 litres; count.", "The ledger holds 0.05\u00a0US qt; count."),
        ("20 litres of “ATF 20 L” have expired.", "21.1\u00a0US qt of “ATF 20 L” have expired."),
        ("Room for 1,000 litres.", "Room for 1\u202f056.7\u00a0US qt."),
        ("Say how many litres, or LITRES-1 L2.", "Say how many litres, or LITRES-1 L2."),
    ],
)
def test_litres_within_a_sentence_are_told_in_the_organisation_s_unit(written: str, shown: str) -> None:
    """A US liquid quart is 0.946352946 L: NIST Handbook 44, appendix C."""
    assert Presentation(volume_unit="US qt").sentence(written) == shown


def test_sentences_stay_as_they_are_where_that_is_the_form() -> None:
    assert PLAIN.sentence("Pinned to 2026-05-06 by Olga; 2.5 L.") == "Pinned to 2026-05-06 by Olga; 2.5 L."


@pytest.mark.parametrize(
    ("unit", "litres", "written"),
    [
        ("L", 208.0, "208\u00a0L"),
        ("L", 20, "20\u00a0L"),
        ("L", 0.5, "0.5\u00a0L"),
        ("L", 1.25, "1.25\u00a0L"),
        ("L", 0.946353, "0.95\u00a0L"),
        ("US qt", 0.946352946, "1\u00a0US qt"),
        ("US gal", 208.0, "54.9\u00a0US gal"),
    ],
)
def test_packs_are_written_as_they_are_sold(unit: str, litres: float, written: str) -> None:
    """A US quart is 0.946352946 L (NIST Handbook 44, appendix C)."""
    assert Presentation(volume_unit=unit).pack_size(litres) == written  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("style", "text"),
    [
        ("iso", "2026-02-03"),
        ("day first", "03/02/2026"),
        ("day first", "3.2.2026"),
        ("day first", " 2026-02-03 "),
        ("month first", "02/03/2026"),
        ("month first", "2-3-2026"),
    ],
)
def test_typed_days_are_read_in_the_organisation_s_form_and_iso_8601(style: str, text: str) -> None:
    presentation = Presentation(date_style=style)  # type: ignore[arg-type]
    assert presentation.typed_day(text) == date(2026, 2, 3)


@pytest.mark.parametrize("text", ["31/02/2026", "1/2", "02/03/26", "soon", "", "٠٣/٠٢/٢٠٢٦"])
def test_what_is_no_day_of_the_calendar_is_not_read(text: str) -> None:
    with pytest.raises(ValueError, match=r"date|day|format|out of range"):
        Presentation(date_style="day first").typed_day(text)


@pytest.mark.parametrize(
    ("minutes", "told"),
    [(45, "45 min"), (119.4, "119 min"), (120, "2 h"), (715, "11 h 55 min"), (90_000, "1 500 h")],
)
def test_long_work_is_told_in_hours(minutes: float, told: str) -> None:
    shown = Presentation().working_time(minutes)
    assert " ".join(shown.replace("\u202f", " ").split()) == told
