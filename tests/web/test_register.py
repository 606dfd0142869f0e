"""Vehicles and compartments are registered and changed on pages, in the organisation's own units.

Conversions: 1 mile is 1.609344 km exactly (international yard and pound agreement, 1959); 1 US gallon is 231 cubic
inches, 3.785411784 L exactly (NIST Handbook 44, appendix C).
"""

import re

import pytest

from service.domain.roles import Role
from tests.web.conftest import hidden_in, token_in

NEW = {
    "vehicle_reference": "VAN-09",
    "vehicle_class": "van",
    "depot": "North",
    "duty": "severe",
    "odometer_unit": "km",
    "vin": "1m8gd m9ax-kp042788",
    "in_service_on": "2024-02-29",
} | {f"weekday-{day}": "yes" for day in (1, 3, 5)}
GEARBOX = {
    "kind": "automatic_transmission_car",
    "name": "gearbox",
    "fluid": "Red Seven",
    "total_litres": "2.5",
    "drainable_litres": "1",
    "interval_km": "40 000",
    "level_min_celsius": "35",
    "level_max_celsius": "45",
    "has_fluid_counter": "yes",
    "maker_notes": "Drain plug 35 N·m",
    "seals": "2 × drain plug washer\ncover",
}
MILE_KM = 1.609344
US_GALLON_LITRES = 3.785411784


@pytest.fixture
def planner(workshop, fleet):
    return workshop.come_in("petra", Role.PLANNER)


def shown(html: str) -> dict[str, str]:
    """Fields of a form as they stand, boxes only if they are ticked."""
    fields = dict(re.findall(r'<input id="([^"]+)" name="[^"]+"[^>]*? value="([^"]*)"', html))
    for name, options in re.findall(r'<select id="([^"]+)".*?>(.*?)</select>', html, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options)
        fields[name] = chosen[1] if chosen else ""
    fields |= dict(re.findall(r'<textarea id="([^"]+)"[^>]*>\n(.*?)</textarea>', html, re.DOTALL))
    ticked = re.findall(r'<input type="checkbox" name="([^"]+)" value="yes" checked', html)
    return fields | dict.fromkeys(ticked, "yes")


def change(workshop, path: str, action: str, **fields: str):
    """Send a form as it is shown, but for these fields."""
    html = workshop.get(path).text
    kept = {name: value for name, value in shown(html).items() if fields.get(name) != ""}
    return workshop.send(action, hidden_in(html, action) | kept | fields)


def test_a_vehicle_and_its_fluids_are_registered_by_hand(planner):
    answer = planner.fill("/vehicles/new", "/vehicles/new", **NEW)
    assert answer.headers["location"] == "/vehicles/veh_4/compartments/new?told=vehicle_new"
    vehicle = planner.operator.get("/v1/vehicles/VAN-09").json()
    assert vehicle["available_weekdays"] == [1, 3, 5]
    assert vehicle["vin"] == "1M8GDM9AXKP042788"
    assert vehicle["duty"] == "severe"
    action = "/vehicles/veh_4/compartments/new"
    assert (
        planner.fill(action, action, **GEARBOX).headers["location"] == "/vehicles/veh_4?told=compartment_new"
    )
    (place,) = planner.operator.get("/v1/vehicles/VAN-09/compartments").json()["compartments"]
    assert place["seals"] == [
        {"part": "drain plug washer", "pieces": 2},
        {"part": "cover", "pieces": 1},
    ]
    assert (place["total_litres"], place["drainable_litres"]) == (2.5, 1.0)
    assert "Change VAN-09" in planner.get("/vehicles/VAN-09/change").text


def test_what_is_left_empty_is_the_same_as_what_a_program_leaves_out(planner):
    page = "/vehicles/VAN-01/compartments/new"
    planner.fill(page, "/vehicles/veh_1/compartments/new", kind="engine_oil_petrol", do="another")
    by_hand = planner.operator.get("/v1/vehicles/VAN-01/compartments").json()["compartments"][-1]
    planner.operator.post("/v1/vehicles/VAN-02/compartments", {"kind": "engine_oil_petrol"})
    by_program = planner.operator.get("/v1/vehicles/VAN-02/compartments").json()["compartments"][-1]
    assert by_hand | {"id": "", "vehicle": ""} == by_program | {"id": "", "vehicle": ""}


def test_what_cannot_be_right_is_told_at_its_field_and_nothing_typed_is_lost(planner):
    html = planner.fill("/vehicles/new", "/vehicles/new", **NEW | {"vehicle_reference": "veh_1"}).text
    assert "own ids" in html
    assert shown(html)["depot"] == "North"
    assert "weekday-3" in shown(html)
    html = planner.fill("/vehicles/new", "/vehicles/new", **NEW | {"vehicle_reference": "VAN-01"}).text
    assert "in use already" in html
    none = {name: value for name, value in NEW.items() if not name.startswith("weekday")}
    assert "Tick at least one day" in planner.fill("/vehicles/new", "/vehicles/new", **none).text
    page, action = "/vehicles/VAN-01/compartments/new", "/vehicles/veh_1/compartments/new"
    for field, value, told in (
        ("drainable_litres", "9", "more than the compartment holds"),
        ("level_max_celsius", "", "both ends"),
        ("interval_km", "0", "Must be between"),
        ("last_service_on", "2999-01-01", "/2100"),
        ("last_service_on", "2026-12-01", "future"),
        ("seals", "0 × washer", "write a line such as"),
        ("kind", "soup", "Choose one"),
    ):
        html = planner.fill(page, action, **GEARBOX | {"name": "second", field: value}).text
        assert told in html, (field, value)
        assert shown(html)["maker_notes"] == "Drain plug 35 N·m"


def test_looking_at_a_form_in_gallons_and_miles_changes_nothing(planner):
    before = planner.operator.get("/v1/vehicles/VAN-01/compartments").json()
    planner.operator.client.patch(
        "/v1/organisation",
        json={"distance_unit": "mi", "volume_unit": "us_gallon"},
        headers=planner.operator.headers,
    ).raise_for_status()
    page = "/compartments/cmp_1/change"
    assert shown(planner.get(page).text)["interval_km"] == f"{60_000 / MILE_KM:.1f}"
    assert change(planner, page, page).headers["location"] == "/vehicles/veh_1?told=compartment_changed"
    assert planner.operator.get("/v1/vehicles/VAN-01/compartments").json() == before
    change(planner, page, page, interval_km="30000", total_litres="2.5")
    (place,) = planner.operator.get("/v1/vehicles/VAN-01/compartments").json()["compartments"]
    assert place["interval_km"] == pytest.approx(30_000 * MILE_KM)
    assert place["total_litres"] == pytest.approx(2.5 * US_GALLON_LITRES)
    assert place["drainable_litres"] == 3.5


def test_a_vehicle_is_changed_and_taken_out_of_use(planner):
    page = "/vehicles/VAN-02/change"
    action = "/vehicles/veh_2/change"
    assert change(planner, page, action, duty="severe").headers["location"].endswith("told=vehicle_changed")
    vehicle = planner.operator.get("/v1/vehicles/VAN-02").json()
    assert (vehicle["duty"], vehicle["depot"]) == ("severe", "North")
    assert planner.fill(page, action, do="retire").headers["location"] == "/vehicles?told=vehicle_retired"
    assert planner.get("/vehicles/VAN-02").status_code == 404
    assert "VAN-02" not in planner.get("/vehicles").text


def test_vehicles_and_compartments_of_others_are_not_there(planner, join):
    other = join("Other")
    planner.come_in("otto", Role.OWNER, organisation_id=other.organisation_id)
    token = token_in(planner.get("/vehicles/new").text)
    for path in ("/vehicles/veh_1/change", "/vehicles/VAN-01/compartments/new", "/compartments/cmp_1/change"):
        assert planner.get(path).status_code == 404
        assert planner.send(path, NEW | GEARBOX | {"form_token": token}).status_code == 404


@pytest.mark.parametrize("role", [Role.MECHANIC, Role.VIEWER, Role.DRIVER])
def test_only_a_planner_registers(workshop, fleet, role):
    workshop.come_in("max", role)
    token = token_in(workshop.get("/password").text)
    for path in ("/vehicles/new", "/vehicles/veh_1/change", "/compartments/cmp_1/change"):
        assert workshop.get(path).status_code == 403
        assert workshop.send(path, NEW | GEARBOX | {"form_token": token}).status_code == 403


def test_logged_temperatures_and_a_life_of_its_own_are_typed_a_line_each(planner):
    page, action = "/compartments/cmp_1/change", "/compartments/cmp_1/change"
    typed = shown(planner.get(page).text) | {
        "life_km": "120 000",
        "oil_temperatures": "80 °C 700 h\r\n95: 250\r\n115,5 50",
    }
    assert planner.fill(page, action, **typed).status_code == 303
    stored = planner.operator.get("/v1/compartments/cmp_1").json()
    assert stored["life_km"] == 120_000
    assert stored["oil_temperatures"] == [
        {"celsius": 80, "hours": 700},
        {"celsius": 95, "hours": 250},
        {"celsius": 115.5, "hours": 50},
    ]
    assert "95 °C 250 h" in planner.get(page).text
    assert "times the usual, as at a steady" in planner.get("/vehicles/veh_1").text
    for lines, told in (
        ("warm", "write a line such as"),
        ("95 °C 1,200 h", "write a line such as 95 °C 250 h or 95 °C 1250 h"),
        ("900 3", "Must be between"),
        ("150 10", "which is no duty"),
        ("\n".join(["80 1"] * 61), "At most 60 lines"),
    ):
        assert told in planner.fill(page, action, **typed | {"oil_temperatures": lines}).text
    assert planner.fill(page, action, **typed | {"oil_temperatures": "", "life_km": ""}).status_code == 303
    cleared = planner.operator.get("/v1/compartments/cmp_1").json()
    assert (cleared["oil_temperatures"], cleared["life_km"]) == ([], None)


def test_a_fluid_that_wears_out_early_is_told_where_it_is_registered_and_shown(planner):
    """The usual life of 400 running hours is common practice, no source."""
    page, action = "/vehicles/TRUCK-1/compartments/new", "/vehicles/veh_3/compartments/new"
    oil = {"kind": "engine_oil_diesel_light", "name": "engine", "interval_hours": "500"}
    where = planner.fill(page, action, **oil).headers["location"]
    assert where == "/vehicles/veh_3?told=compartment_new_early"
    told = "taken to be worn out after 400 h, before its interval of 500 h ends"
    html = planner.get(where).text
    assert "wear out before its interval ends" in html
    assert told in html
    (change_path,) = re.findall(r'href="(/compartments/cmp_\d+/change)" aria-label="[^"]*engine"', html)
    assert told in planner.get(change_path).text
    where = change(planner, change_path, change_path, life_hours="700").headers["location"]
    assert where == "/vehicles/veh_3?told=compartment_changed"
    assert "worn out after" not in planner.get(where).text


def test_a_vehicle_shows_where_each_interval_begins(planner):
    """As the small fleet was told: 1 May 2024 at 20,000 km; of an axle nobody told anything."""
    planner.fill(
        "/vehicles/VAN-01/compartments/new", "/vehicles/veh_1/compartments/new", kind="axle", name="rear axle"
    )
    html = planner.get("/vehicles/VAN-01").text.replace("\u202f", " ").replace("\u00a0", " ")
    begins = re.findall(r"<dt>Counted from</dt><dd>([^<]*)</dd>", html)
    assert begins[0] == "01/05/2024, 20 000 km"
    assert begins[1].endswith("from a guess: nobody told of its last change")


def test_hours_that_nobody_reads_wear_nothing_out(planner):
    """VAN-01's odometer is read, and no hour meter: its page does not warn of a life in running hours."""
    page, action = "/vehicles/VAN-01/compartments/new", "/vehicles/veh_1/compartments/new"
    oil = {"kind": "engine_oil_diesel_light", "name": "engine", "interval_hours": "500"}
    assert planner.fill(page, action, **oil).headers["location"] == "/vehicles/veh_1?told=compartment_new"
    assert "worn out after" not in planner.get("/vehicles/VAN-01").text
