"""The feed by RFC 5545 and RFC 7986, read back with icalendar; the folding checked on the raw bytes."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from icalendar import Calendar, Event

from service.documents.calendar_file import due_list_calendar
from service.documents.models import DueList
from service.documents.presentation import Presentation
from service.documents.text import clean_text, one_line
from tests.documents.factories import due_line, due_list


def _events(given_list: DueList) -> dict[str, Event]:
    calendar = Calendar.from_ical(due_list_calendar(given_list, Presentation()))
    return {str(event["uid"]): event for event in calendar.walk("VEVENT")}


def test_feed_is_published_with_a_name_and_a_refresh_interval() -> None:
    calendar = Calendar.from_ical(due_list_calendar(due_list(), Presentation()))
    assert calendar["version"] == "2.0"
    assert calendar["method"] == "PUBLISH"
    assert calendar["prodid"]
    assert str(calendar["name"]) == "Example Haulage (invented) Due list"
    assert calendar["refresh-interval"].dt == timedelta(hours=6)
    raw = due_list_calendar(due_list(), Presentation())
    assert b"REFRESH-INTERVAL;VALUE=DURATION:PT6H\r\n" in raw  # RFC 7986 section 5.7
    assert not calendar.errors


def test_each_visit_is_an_all_day_event() -> None:
    event = _events(due_list((due_line(0),)))["visit-00000@sumpwise.example"]
    assert event["dtstart"].dt == date(2026, 5, 11)
    assert event["dtend"].dt == date(2026, 5, 12)  # exclusive, RFC 5545 section 3.8.2.2
    assert event["dtstart"].params["VALUE"] == "DATE"
    assert event["transp"] == "TRANSPARENT"
    assert event["status"] == "CONFIRMED"
    assert event["dtstamp"].dt.utcoffset() == timedelta(0)  # RFC 5545 section 3.8.7.2: UTC
    assert "60 000 km since the last full exchange" in event["description"]


def test_lines_of_one_visit_share_an_event() -> None:
    lines = (due_line(0, visit_id="v"), due_line(5, visit_id="v", vehicle="VAN-000", compartment="rear axle"))
    events = _events(due_list(lines, cancelled=()))
    assert list(events) == ["v@sumpwise.example"]
    assert str(events["v@sumpwise.example"]["summary"]) == "VAN-000: automatic transmission, rear axle"


def test_a_moved_visit_keeps_its_identifier_and_raises_its_sequence() -> None:
    before = _events(due_list((due_line(0),)))["visit-00000@sumpwise.example"]
    moved = replace(due_line(0), visit_on=date(2026, 5, 14), visit_sequence=1)
    after = _events(due_list((moved,)))["visit-00000@sumpwise.example"]
    assert (before["sequence"], after["sequence"]) == (0, 1)
    assert after["dtstart"].dt == date(2026, 5, 14)


def test_a_visit_that_no_longer_stands_is_cancelled_not_dropped() -> None:
    event = _events(due_list())["visit-gone@sumpwise.example"]
    assert event["status"] == "CANCELLED"
    assert event["sequence"] == 2
    assert event["dtstart"].dt == date(2026, 5, 12)


def test_a_line_without_a_visit_is_tentative_on_its_likely_day() -> None:
    line = due_line(0, visit_on=None, visit_id="")
    event = _events(due_list((line,)))["line-00000@sumpwise.example"]
    assert event["status"] == "TENTATIVE"
    assert event["dtstart"].dt == line.due_p50_on


NASTY = st.text(alphabet=st.sampled_from("a,;:\\\n\r\"'=X-😀卡Ж\u0301\u202e\x00\x0b\ud800 "), max_size=120)


@settings(max_examples=50)
@given(vehicle=NASTY, reason=NASTY, depot=NASTY)
def test_any_text_comes_back_and_no_line_is_longer_than_75_octets(
    vehicle: str, reason: str, depot: str
) -> None:
    given_list = due_list((due_line(0, vehicle=vehicle, reason=reason, depot=depot),), cancelled=())
    content = due_list_calendar(given_list, Presentation())
    assert content.endswith(b"END:VCALENDAR\r\n")
    for line in content.split(b"\r\n"):
        assert len(line) <= 75  # RFC 5545 section 3.1
        assert b"\n" not in line
        line.decode("utf-8")
    (event,) = _events(given_list).values()
    assert str(event["summary"]) == one_line(f"{vehicle}: automatic transmission")
    assert str(event["description"]).startswith(clean_text(f"automatic transmission: {reason}\nFluid"))


def test_a_line_of_300_octets_of_emoji_is_folded_between_characters() -> None:
    content = due_list_calendar(due_list((due_line(0, vehicle="😀" * 75),)), Presentation())
    assert all(len(line) <= 75 for line in content.split(b"\r\n"))
    assert "😀" * 75 in content.replace(b"\r\n ", b"").decode()


@pytest.mark.parametrize(
    "attack", ["X\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nUID:evil", "x\nATTENDEE:mailto:a@b.example"]
)
def test_a_name_cannot_add_a_property_or_an_event(attack: str) -> None:
    given_list = due_list((due_line(0, vehicle=attack, depot=attack),), organisation=attack)
    events = _events(given_list)
    assert set(events) == {"visit-00000@sumpwise.example", "visit-gone@sumpwise.example"}
    assert "attendee" not in events["visit-00000@sumpwise.example"]


def test_as_many_events_as_visits_and_the_same_bytes_twice() -> None:
    given_list = due_list(tuple(due_line(i) for i in range(60)))
    assert len(_events(given_list)) == 61
    assert due_list_calendar(given_list, Presentation()) == due_list_calendar(given_list, Presentation())
