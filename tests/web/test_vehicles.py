"""Vehicles as pages: look for one, look at it, post a reading, decide on held ones."""

import re
from datetime import date, timedelta

import pytest

from service.documents.presentation import Presentation
from service.domain.roles import Role
from service.web.views.vehicle import due_span
from tests.web.conftest import hidden_in

VAN = "/vehicles/VAN-01"


def post(workshop, vehicle: str = "veh_1", page: str = VAN, **typed: str):
    fields = {"odometer": "79 980", "unit": "km", "taken_at": "2026-05-01T06:00"} | typed
    return workshop.fill(page, f"/vehicles/{vehicle}/readings", **fields)


@pytest.fixture
def planner(workshop, fleet):
    return workshop.come_in("petra", Role.PLANNER)


def test_vehicles_are_found_by_a_part_of_their_number_and_by_depot(planner):
    assert "VAN-02" in planner.get("/vehicles").text
    found = planner.get("/vehicles?vehicle=van-01").text
    assert "VAN-01" in found
    assert "VAN-02" not in found
    assert "TRUCK-1" not in planner.get("/vehicles?depot=North").text
    assert "No vehicle fits" in planner.get("/vehicles?vehicle=%25").text


def test_without_a_vehicle_the_page_leads_to_the_first_steps(workshop):
    text = workshop.come_in().get("/vehicles").text
    assert "No vehicle is registered yet." in text
    assert 'class="button" href="/start"' in text
    assert 'name="depot"' not in text


def test_a_vehicle_shows_its_charts_and_their_tables(planner):
    page = planner.get(VAN).text
    assert page.count("<svg") == page.count("As a table") == 2
    assert "9.0 L, of which 3.5 L drain" in page.replace("\u00a0", " ")
    assert re.search(r"3 rounds|Line exchange", page)
    assert " style=" not in page
    assert "<script" not in page


def test_a_chart_dates_work_by_the_workshop_s_clock(workshop, planner):
    """One in the afternoon in Greenwich is one in the night of the day after in Auckland (UTC+12 in winter)."""
    assert workshop.operator.patch("/v1/organisation", {"time_zone": "Pacific/Auckland"}).status_code == 200
    work = {
        "compartment": "gearbox",
        "method": "top_up",
        "rounds": [{"drained_litres": 0, "filled_litres": 0.5}],
    }
    done = {
        "vehicle": "VAN-01",
        "done_at": "2026-04-28T13:00:00Z",
        "odometer": 79_000,
        "compartments": [work],
    }
    answer = workshop.operator.post("/v1/services", done)
    assert answer.status_code == 201, answer.text
    table = planner.get(VAN).text.split("As a table")[-1]
    assert "29/04/2026" in table
    assert "28/04/2026" not in table


def test_the_way_that_the_due_list_asks_for_is_marked_among_those_that_are_weighed(planner):
    """3.5 of 9 L drain: three rounds are the first above 75 % fresh, 1 - (5.5 / 9)^3 = 77 %."""
    row = re.search(
        r'<th role="rowheader" scope="row">([^<]*)(?: <[^>]*>advised</span>)? <[^>]*>on the list<',
        planner.get(VAN).text,
    )
    assert row[1] == "3 rounds"


def test_the_minutes_of_a_way_are_those_of_the_line_and_its_litres_say_at_which_temperature(planner):
    """45 + 2 x 25 = 95 minutes of work (common practice, no source), on the list and on the vehicle's page."""
    page = planner.get(VAN).text.replace("\u00a0", " ")
    row = re.search(r"on the list</span></th>(.*?)</tr>", page, re.DOTALL)[1]
    assert re.search(r'data-label="Work"><span class="date">95 min<', row)
    assert 'data-label="Poured at 20 °C"' in row
    assert "95 min of work" in planner.get("/due-lists/2026-W19").text.replace("\u00a0", " ")


def test_a_fluid_that_is_flushed_through_has_no_rounds_to_choose_from(planner):
    brakes = {"kind": "brake_fluid", "compartment": "brakes"}
    (key,) = {planner.operator.post("/v1/vehicles/VAN-01/compartments", brakes).json()["id"]}
    page = planner.get(VAN).text
    assert page.count("Ways to change it") == 1
    assert f'action="/compartments/{key}/returns"' not in page


def test_what_is_due_next_stands_before_the_charts_and_leads_to_its_card(planner):
    planner.operator.post("/v1/vehicles/VAN-01/compartments", {"kind": "axle", "compartment": "rear axle"})
    page = planner.get(VAN).text
    head, rest = page.split("<svg", 1)
    due = re.search(r'id="next".*?</dl>', head, re.DOTALL)[0]
    assert due.index("gearbox") < due.index("rear axle")
    place = re.search(r'href="#(compartment-\d)">gearbox', due)[1]
    assert re.search(rf'id="{place}">gearbox', rest)


def test_an_odometer_that_counts_miles_is_given_in_miles_too(planner):
    """79,980 km are 49,697 mi of 1.609344 km."""
    assert "The same in" not in planner.get(VAN).text
    planner.operator.patch("/v1/vehicles/VAN-01", {"odometer_unit": "mi"})
    post(planner)
    page = planner.get(VAN).text.replace("\u202f", " ").replace("\u00a0", " ")
    assert re.search(r"The same in miles</dt><dd>49 \d\d\d mi", page)


def test_a_change_that_nobody_told_of_is_not_said_to_have_renewed_nothing(planner):
    planner.operator.post("/v1/vehicles/VAN-01/compartments", {"kind": "axle", "compartment": "rear axle"})
    page = planner.get(VAN).text
    assert re.findall(r"New at the last change</dt><dd>([^<]*)", page.replace("\u00a0", " ")) == [
        "100 %",
        "not known",
    ]


def test_a_last_service_at_more_than_a_later_reading_shows_is_told_of(planner):
    axle = {"kind": "axle", "compartment": "new axle", "last_service_on": "2026-04-30"}
    answer = planner.operator.post(
        "/v1/vehicles/VAN-01/compartments", axle | {"last_service_odometer_km": 799_000.0}
    )
    assert answer.status_code == 201, answer.text
    said = re.compile(r"told at 799.000.km, but on .* the meter showed 79.980.km")
    assert not said.search(planner.get(VAN).text)
    post(planner)
    page = planner.get(VAN).text
    assert said.search(page)
    assert "say above under “Readings one by one” that this one is wrong" in page


def test_another_vehicle_with_the_same_identification_number_is_told_of(planner):
    vin = {"vin": "1M8GDM9AXKP042788"}
    planner.operator.patch("/v1/vehicles/VAN-01", vin)
    said = "The same VIN is told of VAN-02"
    assert said not in planner.get(VAN).text
    planner.operator.patch("/v1/vehicles/VAN-02", vin)
    assert said in planner.get(VAN).text


def test_an_odometer_that_goes_on_in_the_other_unit_is_asked_about(planner):
    made = {"vehicle": "BUS-9", "class": "bus"}
    planner.operator.post("/v1/vehicles", made)
    for unit, days in (("km", range(1, 12)), ("mi", range(12, 23))):
        rows = [
            {"vehicle": "BUS-9", "taken_at": f"2026-04-{day:02d}T08:00:00Z", "odometer": 90_000 + 300 * day}
            for day in days
        ]
        assert "are still counted in" not in planner.get("/vehicles/BUS-9").text
        planner.operator.post("/v1/readings", {"readings": [row | {"unit": unit} for row in rows]})
    page = planner.get("/vehicles/BUS-9").text
    assert "distances are still counted in kilometres" in page
    assert "say below under “Readings one by one” that those before that day are wrong" in page


def test_a_reading_is_saved_and_shown(planner):
    assert post(planner).headers["location"] == "/vehicles/veh_1?told=reading"
    page = planner.get(VAN).text
    assert "79\u202f980\u00a0km" in page
    readings = planner.operator.get("/v1/vehicles/VAN-01/readings").json()["readings"]
    assert [row["odometer"] for row in readings].count(79_980) == 1


def test_sending_a_reading_twice_saves_it_once(planner):
    hidden = hidden_in(planner.get(VAN).text, "/vehicles/veh_1/readings")
    fields = hidden | {"odometer": "79980", "unit": "km", "taken_at": "2026-05-01T06:00"}
    answers = [planner.send("/vehicles/veh_1/readings", fields) for _ in range(2)]
    assert [answer.headers["location"].split("told=")[1] for answer in answers] == ["reading", "again"]


def test_a_mile_reading_is_kept_as_typed(planner):
    post(planner, odometer="49700", unit="mi")
    (row,) = [
        row
        for row in planner.operator.get("/v1/vehicles/VAN-01/readings").json()["readings"]
        if row["source"] == "page"
    ]
    # 1 mile is 1,609.344 m (international yard and pound agreement of 1959).
    assert row["odometer_km"] == pytest.approx(49_700 * 1.609344)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"odometer": "-1"}, "Must be between"),
        ({"odometer": "1e5"}, "Not a number"),
        ({"odometer": "nan"}, "Not a number"),
        ({"odometer": "٧٩٩٨٠"}, "Not a number"),
        ({"odometer": "9999999"}, "Must be between"),
        ({"odometer": ""}, "Fill in the odometer or the engine hours."),
        ({"engine_hours": "300000"}, "Must be between"),
        ({"taken_at": "0001-01-01T00:00"}, "Must be a date from"),
        ({"taken_at": "9999-12-31T23:59"}, "Must be a date from"),
        ({"taken_at": "2026-02-30T06:00"}, "No date and time"),
        ({"taken_at": "2027-01-01T06:00"}, "Lies in the future"),
        ({"taken_at": ""}, "Fill this in."),
        ({"unit": "ell"}, "Choose one of the list."),
    ],
)
def test_what_cannot_be_right_is_told_at_its_field_and_nothing_typed_is_lost(planner, typed, told):
    answer = post(planner, **({"odometer": "79 985"} | typed))
    assert answer.status_code == 422
    assert told in answer.text
    assert 'aria-invalid="true"' in answer.text
    kept = typed.get("odometer", "79 985")
    assert f'name="odometer" type="text" value="{kept}"' in answer.text


def test_a_held_reading_waits_for_a_planner(planner, clock):
    assert post(planner, odometer="7998").headers["location"].endswith("told=reading_held")
    page = planner.get(VAN).text
    assert "Held readings" in page
    key = re.search(r'action="/(readings/rdg_\d+)"', page)[1]
    planner.come_in("max", Role.MECHANIC)
    assert 'value="release"' not in planner.get(VAN).text
    refused = planner.send(f"/{key}", hidden_in(planner.get(VAN).text, f"/{key}") | {"decision": "discard"})
    assert refused.status_code == 403
    planner.come_in("paul", Role.PLANNER)
    assert (
        planner.fill(VAN, f"/{key}", decision="discard").headers["location"]
        == "/vehicles/veh_1?told=discarded"
    )
    page = planner.get(VAN).text
    assert "Held readings" not in page
    assert "discard" in page
    assert ">paul<" in page


def test_a_driver_posts_a_reading_and_sees_nothing_else(workshop, fleet):
    workshop.come_in("dora", Role.DRIVER)
    assert workshop.get(VAN).status_code == 403
    typed = {"odometer": "79980", "unit": "km", "taken_at": "2026-05-01T06:00"}
    answer = workshop.fill(f"{VAN}/reading", "/vehicles/veh_1/reading", **typed)
    assert answer.headers["location"] == "/vehicles/veh_1/reading?told=reading"


def test_another_organisations_vehicle_is_not_there(planner, join):
    hidden = hidden_in(planner.get(VAN).text, "/vehicles/veh_1/readings")
    planner.come_in("eve", organisation_id=join("Other Invented Haulage").organisation_id)
    for path in (VAN, "/vehicles/veh_1", "/vehicles/veh_1/reading"):
        page = planner.get(path)
        assert page.status_code == 404
        assert "There is no such page" in page.text
    assert planner.send("/vehicles/veh_1/readings", hidden | {"odometer": "1"}).status_code == 403
    own = hidden_in(planner.get("/").text, "/sign-out")
    typed = {"odometer": "79980", "unit": "km", "taken_at": "2026-05-01T06:00"}
    assert planner.send("/vehicles/veh_1/readings", own | typed).status_code == 404


def test_a_reading_typed_before_the_session_ended_is_saved_after_signing_in(planner, clock):
    planner.fill("/password", "/password", password="four invented words")
    hidden = hidden_in(planner.get(VAN).text, "/vehicles/veh_1/readings")
    clock.advance(timedelta(hours=13))
    typed = {"odometer": "79985", "unit": "km", "taken_at": "2026-05-01T06:10"}
    asked = planner.send("/vehicles/veh_1/readings", hidden | typed)
    again = hidden_in(asked.text, "/sign-in") | {"login": "petra", "password": "four invented words"}
    shown = planner.send("/sign-in", again).text
    fields = hidden_in(shown, "/vehicles/veh_1/readings") | dict(
        re.findall(r'<input id="kept-\d+" name="([^"]+)" value="([^"]*)"', shown)
    )
    assert fields["odometer"] == "79985"
    assert planner.send("/vehicles/veh_1/readings", fields).headers["location"].endswith("told=reading")


def test_a_vehicle_without_anything_is_a_page_too(planner):
    planner.operator.post("/v1/vehicles", {"vehicle": "NEW-1", "class": "bus"})
    page = planner.get("/vehicles/NEW-1")
    assert page.status_code == 200
    assert "No readings yet" in page.text


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (date(2028, 7, 8), date(2029, 1, 2), "2028-07-08 – 2029-01-02"),
        (date(2028, 7, 8), None, "later than 2028-07-08"),
        (None, None, "–"),
    ],
)
def test_a_span_whose_end_lies_beyond_the_horizon_says_when_it_begins(low, high, told):
    assert due_span(low, high, Presentation()) == told
