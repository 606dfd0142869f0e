"""What became of a line of a published list stands wherever the list is read: its new day, done, dropped."""

import csv
import io

import icalendar
import pytest

from tests.api.test_due_lists import fleet  # noqa: F401
from tests.documents.pdf_reading import full_text

WEEK = "/v1/due-lists/2026-W19"


@pytest.fixture
def lines(fleet):  # noqa: F811
    """The ids of a published list's two lines, both planned for Monday: a van's and a truck's."""
    answer = fleet.post(f"{WEEK}/publish")
    assert answer.status_code == 200, answer.text
    van, truck = answer.json()["lines"]
    assert [van["planned_on"], truck["planned_on"]] == ["2026-05-04"] * 2
    return van["id"], truck["id"]


def mark(operator, line, **event):
    answer = operator.post(f"/v1/due-list-lines/{line}/events", event)
    assert answer.status_code == 201, answer.text


def rows_of(operator):
    return list(csv.DictReader(io.StringIO(operator.get(f"{WEEK}.csv").content.decode(), newline="")))


def test_lines_stand_in_the_order_of_the_days_they_stand_on(fleet, lines):  # noqa: F811
    van, truck = lines
    mark(fleet, van, kind="moved", moved_to_on="2026-05-07")
    shown = fleet.get(WEEK).json()["lines"]
    assert [(line["id"], line["planned_on"]) for line in shown] == [
        (truck, "2026-05-04"),
        (van, "2026-05-07"),
    ]
    assert [(row["Vehicle"], row["Visit day"]) for row in rows_of(fleet)] == [
        ("TRUCK-1", "2026-05-04"),
        ("VAN-01", "2026-05-07"),
    ]
    assert fleet.get(f"/v1/due-list-lines/{van}").json()["planned_on"] == "2026-05-07"


def test_a_moved_line_stands_on_its_new_day_on_paper_and_in_the_calendar(fleet, lines):  # noqa: F811
    van, _ = lines
    before = full_text(fleet.get(f"{WEEK}.pdf").content)
    assert "Thursday" not in before
    mark(fleet, van, kind="moved", moved_to_on="2026-05-07")
    text = full_text(fleet.get(f"{WEEK}.pdf").content)
    assert text.index("TRUCK-1") < text.index("Thursday") < text.index("VAN-01")
    events = icalendar.Calendar.from_ical(fleet.get(f"{WEEK}.ics").content).walk("VEVENT")
    days = {str(event["summary"]): (f"{event['dtstart'].dt}", event["sequence"]) for event in events}
    assert days == {"VAN-01: gearbox": ("2026-05-07", 1), "TRUCK-1: coolant": ("2026-05-04", 0)}


def test_what_is_done_or_dropped_says_so_and_is_not_taken_off_the_shelf(fleet, lines):  # noqa: F811
    van, truck = lines
    before = full_text(fleet.get(f"{WEEK}.pdf").content).replace("\u00a0", " ")
    assert "Take off the shelf" in before
    mark(fleet, van, kind="done")
    mark(fleet, truck, kind="dropped")
    assert [(row["Vehicle"], row["State"]) for row in rows_of(fleet)] == [
        ("VAN-01", "done"),
        ("TRUCK-1", "dropped"),
    ]
    text = full_text(fleet.get(f"{WEEK}.pdf").content)
    assert "done VAN-01" in text
    assert "dropped TRUCK-1" in text
    assert "Take off the shelf" not in text
    events = icalendar.Calendar.from_ical(fleet.get(f"{WEEK}.ics").content).walk("VEVENT")
    assert [str(event["summary"]) for event in events] == ["VAN-01: gearbox"]
    mark(fleet, van, kind="reopened")
    assert [row["State"] for row in rows_of(fleet)] == ["open", "dropped"]
