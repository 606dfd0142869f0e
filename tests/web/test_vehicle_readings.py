"""Readings one by one on a vehicle's page: what was keyed, what became of it, and saying that one is wrong."""

import re
from datetime import timedelta

import pytest

from service.domain.roles import Role
from tests.web.conftest import hidden_in
from tests.web.small_fleet import FRIDAY

VAN = "/vehicles/VAN-01"
ROW = re.compile(r'<tr role="row"><th role="rowheader" scope="row">.*?</tr>', re.DOTALL)


@pytest.fixture
def planner(workshop, fleet):
    return workshop.come_in("petra", Role.PLANNER)


def part_of(page: str) -> str:
    """The readings one by one, as they are read."""
    found = re.search(r'<details[^>]* id="readings".*?</details>', page, re.DOTALL)
    assert found, "the page has no readings one by one"
    return found[0].replace("\u00a0", " ").replace("\u202f", " ")


def rows_of(page: str) -> list[str]:
    return ROW.findall(part_of(page))


def row_of(page: str, odometer: str) -> str:
    (row,) = [one for one in rows_of(page) if odometer in one]
    return row


def form_of(row: str) -> str:
    return re.search(r'action="(/readings/rdg_\d+)"', row)[1]


def odometer_of(page: str) -> str:
    return re.search(r"<dt>Odometer[^<]*</dt><dd>(.*?)</dd>", page)[1]


def send(workshop, vehicle: str, *rows: tuple[str, float], **more: object) -> None:
    sent = [{"vehicle": vehicle, "taken_at": at, "odometer": odometer} | more for at, odometer in rows]
    answer = workshop.operator.post("/v1/readings", {"readings": sent})
    assert answer.json()["accepted"] == len(rows), answer.text


def test_readings_stand_with_their_time_on_the_wall_the_newest_first(workshop, planner):
    """Half past six in Greenwich on a day in April is half past seven in London (summer time, UTC+1)."""
    assert workshop.operator.patch("/v1/organisation", {"time_zone": "Europe/London"}).status_code == 200
    rows = rows_of(planner.get(VAN).text)
    assert len(rows) == 12
    newest = re.sub(r"<[^>]*>|\s+", " ", rows[0])
    for words in ("29/04/2026 07:30", "79 900 km", "program", "counts"):
        assert words in newest, words
    numbers = [int(re.search(r"(\d\d \d\d\d) km", row)[1].replace(" ", "")) for row in rows]
    assert numbers == sorted(numbers, reverse=True)


def test_an_accepted_reading_that_is_wrong_is_discarded_here_and_all_follows(planner):
    before = planner.get(VAN).text
    row = row_of(before, "79 900 km")
    answer = planner.fill(VAN, form_of(row), decision="discard")
    assert answer.headers["location"].startswith("/vehicles/veh_1?")
    assert "told=discarded" in answer.headers["location"]
    after = planner.get(answer.headers["location"]).text
    assert "Discarded: the reading does not count." in after
    assert odometer_of(after) != odometer_of(before)
    chart_before, chart_after = (
        page.split("</figure>")[0].replace("\u202f", " ") for page in (before, after)
    )
    assert "79 900" in chart_before
    assert "79 900" not in chart_after
    discarded = row_of(after, "79 900 km")
    assert "discarded by petra" in discarded
    assert 'value="discard"' not in discarded


def test_whoever_pressed_the_wrong_button_says_that_it_is_right(planner):
    before = planner.get(VAN).text
    path = form_of(row_of(before, "79 900 km"))
    planner.fill(VAN, path, decision="discard")
    assert 'value="release"' in row_of(planner.get(VAN).text, "79 900 km")
    answer = planner.fill(VAN, path, decision="release")
    assert "told=released" in answer.headers["location"]
    assert odometer_of(planner.get(VAN).text) == odometer_of(before)


def test_pressing_twice_discards_once(planner):
    page = planner.get(VAN).text
    path = form_of(row_of(page, "79 900 km"))
    fields = hidden_in(page, path) | {"decision": "discard"}
    answers = [planner.send(path, fields) for _ in range(2)]
    assert [one.headers["location"].split("told=")[1] for one in answers] == ["discarded", "again"]
    assert planner.get(VAN).text.count("Reading: discarded") == 1


def test_who_may_not_decide_is_offered_nothing(planner):
    for login, role in (("vera", Role.VIEWER), ("max", Role.MECHANIC)):
        planner.come_in(login, role)
        part = part_of(planner.get(VAN).text)
        assert "79 900 km" in part
        assert "<form" not in part
        assert "<button" not in part


def test_a_reading_of_a_record_leads_to_its_record(planner):
    work = {
        "compartment": "gearbox",
        "method": "top_up",
        "rounds": [{"drained_litres": 0, "filled_litres": 0.5}],
    }
    done = {"vehicle": "VAN-01", "done_at": "2026-04-30T13:00:00Z", "odometer": 79_950}
    assert planner.operator.post("/v1/services", done | {"compartments": [work]}).status_code == 201
    sample = {"vehicle": "VAN-01", "compartment": "gearbox", "taken_at": "2026-04-30T15:00:00Z"}
    sample |= {"odometer": 79_960, "laboratory": {"water_fraction": 0.001}}
    assert planner.operator.post("/v1/samples", sample).status_code == 201
    new = {"replaced_at": "2026-04-30T17:00:00Z", "old_odometer": 79_970, "new_odometer": 11}
    answer = planner.operator.post("/v1/vehicles/VAN-01/cluster-replacements", new)
    assert answer.status_code == 201, answer.text
    page = planner.get(VAN).text
    for odometer, source, path in (
        ("79 950 km", "service", 'href="/services/srv_1"'),
        ("79 960 km", "sample", 'href="/samples/smp_1"'),
        ("79 970 km", "replaced meter", ""),
        (">11 km", "replaced meter", ""),
    ):
        row = row_of(page, odometer)
        assert source in row
        assert path in row
        assert "<form" not in row


def test_a_held_reading_is_decided_on_above(planner):
    held = {"vehicle": "VAN-01", "taken_at": FRIDAY.isoformat(), "odometer": 7_990, "source": "driver"}
    assert planner.operator.post("/v1/readings", {"readings": [held]}).json()["held"] == 1
    row = row_of(planner.get(VAN).text, "7 990 km<")
    assert 'href="#held"' in row
    assert "<form" not in row


def test_the_buttons_of_the_rows_are_told_apart_by_their_names(planner):
    names = re.findall(r'<button[^>]* aria-label="([^"]*)"', part_of(planner.get(VAN).text))
    assert len(names) == len(set(names)) == 12
    assert "It is wrong: 79 900 km, 29/04/2026 06:30" in names


def test_older_readings_are_on_further_pages_and_one_comes_back_to_them(planner):
    made = {"vehicle": "BUS-9", "class": "bus"}
    assert planner.operator.post("/v1/vehicles", made).status_code == 201
    first = FRIDAY - timedelta(days=50)
    send(
        planner,
        "BUS-9",
        *(((first + timedelta(days=day)).isoformat(), 90_000 + 300 * day) for day in range(45)),
    )
    page = planner.get("/vehicles/BUS-9").text
    assert len(rows_of(page)) == 20
    assert 'id="readings" open' not in page
    (path,) = set(re.findall(r'href="([^"]*page=3#readings)"', part_of(page)))
    last = planner.get(path).text
    assert 'id="readings" open' in last
    assert len(rows_of(last)) == 5
    row = row_of(last, "90 600 km")
    answer = planner.send(form_of(row), hidden_in(last, form_of(row)) | {"decision": "discard"})
    back = answer.headers["location"]
    assert "page=3" in back
    assert "discarded by petra" in row_of(planner.get(back).text, "90 600 km")


def test_a_page_that_is_no_number_is_not_gone_back_to(planner):
    page = planner.get(VAN).text
    path = form_of(row_of(page, "79 900 km"))
    fields = hidden_in(page, path) | {"decision": "discard", "page": "٣&x=//elsewhere.example"}
    assert planner.send(path, fields).headers["location"] == "/vehicles/veh_1?told=discarded"


def test_both_meters_are_shown_and_the_unit_is_as_it_was_told(planner):
    hours = {"vehicle": "TRUCK-1", "taken_at": "2026-04-29T06:30:00Z", "engine_hours": 1234.5}
    both = {"vehicle": "TRUCK-1", "taken_at": "2026-04-30T06:30:00Z", "odometer": 49_700, "unit": "mi"}
    sent = [hours, both | {"engine_hours": 1240}]
    assert planner.operator.post("/v1/readings", {"readings": sent}).json()["accepted"] == 2
    newest, older = rows_of(planner.get("/vehicles/TRUCK-1").text)
    assert "49 700 mi, 1 240.0 h" in newest
    assert ">1 234.5 h<" in older
