"""Settings, people, tokens and the first steps."""

import re

import pytest

from service.domain.roles import Role
from tests.web.conftest import hidden_in

SETTINGS = {
    "time_zone": "Europe/Berlin",
    "locale": "de-DE",
    "currency": "EUR",
    "distance_unit": "mi",
    "volume_unit": "us_gallon",
    "publishing_weekday": "4",
    "publishing_time": "15:30",
}
TABLE = """Fleet number;Type;Site;Mileage;VIN
BUS-1;bus;North;120 500,5;
BUS-2;spaceship;North;100;
BUS-1;bus;North;1;
;van;North;1;
VAN-9;van;South;-4;
VAN-8;van;South;30000;
"""


@pytest.fixture
def owner(workshop):
    return workshop.come_in()


def test_the_organisation_is_changed_and_its_pages_follow(owner, fleet):
    assert owner.fill("/settings", "/settings", **SETTINGS).headers["location"] == "/settings?told=settings"
    facts = owner.operator.get("/v1/organisation").json()
    assert (facts["time_zone"], facts["publishing_time"], facts["volume_unit"]) == (
        "Europe/Berlin",
        "15:30",
        "us_gallon",
    )
    page = owner.get("/vehicles/VAN-01").text.replace("\u00a0", " ")
    assert (
        "2,4 US gal, of which 0,92 US gal drain" in page
    )  # 9.0 L and 3.5 L; a US gallon is 3.785411784 L (NIST SP 811)
    assert "mi" in page


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("time_zone", "Mars/Olympus"),
        ("time_zone", "../../etc/passwd"),
        ("locale", "<b>"),
        ("currency", "euro"),
        ("distance_unit", "league"),
        ("publishing_weekday", "8"),
        ("publishing_time", "25:00"),
    ],
)
def test_settings_that_cannot_be_right_are_told_in_place(owner, name, value):
    answer = owner.fill("/settings", "/settings", **(SETTINGS | {name: value}))
    assert answer.status_code == 422
    assert f'id="{name}-error"' in answer.text
    assert owner.operator.get("/v1/organisation").json()["time_zone"] == "UTC"


def test_a_depots_bays_and_closing_days_are_set(owner, fleet):
    key = re.search(r"/settings/depots/(dep_\d+)", owner.get("/settings").text)[1]
    typed = {f"minutes-{day}": "600" for day in range(1, 8)}
    typed |= {"holiday_region": "DE-BY", "closed_on": "2026-12-24\n2026-12-31", "capacity": "500"}
    typed |= {"capacity-coolant": "60", "capacity-brake_fluid": ""}
    assert owner.fill("/settings", f"/settings/depots/{key}", **typed).status_code == 303
    page = owner.get("/settings").text
    assert "24/12/2026\n31/12/2026" in page
    assert re.search(r'name="capacity-coolant"[^>]*value="60"', page)
    assert re.search(r'name="capacity-brake_fluid"[^>]*value=""', page)
    for wrong in (
        {"closed_on": "soon"},
        {"minutes-1": "-5"},
        {"holiday_region": "XX"},
        {"capacity": "much"},
        {"capacity-coolant": "-1"},
    ):
        answer = owner.fill("/settings", f"/settings/depots/{key}", **(typed | wrong))
        assert answer.status_code == 422, wrong
        assert "field-error" in answer.text


@pytest.mark.parametrize(
    ("locale", "typed", "shown"),
    [
        ("en-GB", "24/12/2026\r\n2026-12-31", "24/12/2026\n31/12/2026"),
        ("de-DE", "24.12.2026\r\n31.12.2026", "24.12.2026\n31.12.2026"),
        ("nl-NL", "24-12-2026\r\n31-12-2026", "24-12-2026\n31-12-2026"),
        ("fr-FR", "24/12/2026\r\n31.12.2026", "24/12/2026\n31/12/2026"),
        ("en-US", "12/24/2026\r\n12/31/2026", "12/24/2026\n12/31/2026"),
        ("sv-SE", "2026-12-24\r\n2026-12-31", "2026-12-24\n2026-12-31"),
    ],
)
def test_closing_days_are_typed_and_shown_in_the_organisations_form(owner, fleet, locale, typed, shown):
    owner.operator.patch("/v1/organisation", {"locale": locale})
    key = re.search(r"/settings/depots/(dep_\d+)", owner.get("/settings").text)[1]
    fields = {f"minutes-{day}": "600" for day in range(1, 8)} | {"closed_on": typed}
    assert owner.fill("/settings", f"/settings/depots/{key}", **fields).status_code == 303
    depots = owner.operator.get("/v1/depots").json()["depots"]
    depot = next(one for one in depots if one["id"] == key)
    assert depot["closed_on"] == ["2026-12-24", "2026-12-31"]
    page = owner.get("/settings").text
    assert shown in page
    assert f"instance {shown.split()[0]}" in page
    for wrong in ("31/31/2026", "24/12", "2026-13-01", "24-12-26", "01/01/1900"):
        assert (
            owner.fill("/settings", f"/settings/depots/{key}", **(fields | {"closed_on": wrong})).status_code
            == 422
        )


def test_somebody_is_added_by_a_link_that_is_shown_once(owner):
    typed = {"login": "max", "name": "Max Invented", "role": "mechanic"}
    made = owner.fill("/settings/people", "/settings/people", **typed)
    assert made.headers["cache-control"] == "no-store"
    code = re.search(r"/sign-in/([\w-]{40,})", made.text)[1]
    assert code not in owner.get("/settings/people").text
    owner.client.cookies.clear()
    owner.enter(code)
    assert owner.get("/settings").status_code == 403
    assert owner.get("/").status_code == 200


def test_a_login_is_taken_once(owner):
    again = owner.fill("/settings/people", "/settings/people", login="olga", name="Other", role="viewer")
    assert again.status_code == 409
    assert "This login is taken" in again.text


def test_the_last_owner_stays(owner):
    for fields in ({"do": "disable"}, {"do": "role", "role": "viewer"}):
        answer = owner.fill("/settings/people", "/settings/people/per_1", **fields)
        assert answer.status_code == 409
        assert "Nobody else is an owner" in answer.text


def test_a_token_is_shown_once_and_can_be_revoked(owner):
    made = owner.fill("/settings/tokens", "/settings/tokens", name="telematics", **{"scope-readings": "yes"})
    secret = re.search(r"<code>(sump_[\w-]+)</code>", made.text)[1]
    page = owner.get("/settings/tokens").text
    assert secret not in page
    bearer = {"Authorization": f"Bearer {secret}"}
    assert owner.client.post("/v1/readings", json={"readings": []}, headers=bearer).status_code in {200, 422}
    key = max(re.findall(r"/settings/tokens/(tok_\d+)", page))
    assert owner.fill("/settings/tokens", f"/settings/tokens/{key}").status_code == 303
    assert owner.client.post("/v1/readings", json={"readings": []}, headers=bearer).status_code == 401


def test_a_token_without_a_scope_is_refused_in_place(owner):
    answer = owner.fill("/settings/tokens", "/settings/tokens", name="nothing")
    assert answer.status_code == 422
    assert "Name at least one scope" in answer.text


def test_only_an_owner_sees_settings(workshop):
    workshop.come_in("petra", Role.PLANNER)
    for path in ("/settings", "/settings/people", "/settings/tokens"):
        assert workshop.get(path).status_code == 403
    assert workshop.get("/start").status_code == 200


def test_a_table_is_looked_at_before_it_is_stored(owner):
    seen = owner.fill("/start", "/start/vehicles", table=TABLE, do="preview")
    assert seen.status_code == 200
    assert "Rows that can be registered: 2 of 6" in seen.text
    for told in (
        "Class: Write one of",
        "Stands in the table twice.",
        "Odometer: Must be between",
        "Vehicle: Must have",
    ):
        assert told in seen.text, told
    assert owner.operator.get("/v1/vehicles").json()["vehicles"] == []


def test_an_odometer_whose_mark_may_part_thousands_is_not_registered_as_a_few_kilometres(owner):
    table = "vehicle;class;odometer\nVAN-1;van;84,210\nVAN-2;van;84.210\n"
    seen = owner.fill("/start", "/start/vehicles", table=table, do="preview")
    assert "Rows that can be registered: 0 of 2" in seen.text
    assert seen.text.count("Odometer: Thousands or decimals?") == 2


def test_sound_rows_are_registered_with_fluids_and_a_first_reading(owner):
    hidden = hidden_in(owner.get("/start").text, "/start/vehicles")
    fields = hidden | {"table": TABLE, "do": "register", "kind-automatic_transmission_heavy": "yes"}
    done = owner.send("/start/vehicles", fields)
    assert "Registered: 2." in done.text
    vehicles = owner.operator.get("/v1/vehicles").json()["vehicles"]
    assert sorted(one["vehicle"] for one in vehicles) == ["BUS-1", "VAN-8"]
    (reading,) = owner.operator.get("/v1/vehicles/BUS-1/readings").json()["readings"]
    assert reading["odometer"] == 120_500.5
    assert len(owner.operator.get("/v1/vehicles/BUS-1/compartments").json()["compartments"]) == 1


@pytest.mark.parametrize(
    "table", ["", "vehicle", 'vehicle,class\n"open,van', "vehicle,class\n" + "x,van\n" * 2001]
)
def test_a_table_that_cannot_be_read_is_told(owner, table):
    answer = owner.fill("/start", "/start/vehicles", table=table, do="preview")
    assert answer.status_code == 422
    assert "field-error" in answer.text


def test_rows_of_a_table_keep_their_numbers_below_empty_ones(owner):
    seen = owner.fill("/start", "/start/vehicles", table="number;class\n\n;\nNEW-1;van\n", do="preview")
    assert re.search(r'<th [^>]*scope="row">4</th><td [^>]*><span>NEW-1</span>', seen.text)


def test_a_file_is_read_like_a_table(owner):
    hidden = hidden_in(owner.get("/start").text, "/start/vehicles")
    sheet = ("fleet.csv", "\ufeffvehicle,class\r\nCAR-1,car\r\n".encode(), "text/csv")
    headers = {"Accept": "text/html", "Origin": "http://testserver"}
    seen = owner.client.post(
        "/start/vehicles", data=hidden | {"do": "preview"}, files={"file": sheet}, headers=headers
    )
    assert "Rows that can be registered: 1 of 1" in seen.text
    assert "CAR-1" in seen.text
    spoilt = ("fleet.csv", b"vehicle,class\nM\xfcller,car\n", "text/csv")
    refused = owner.client.post("/start/vehicles", data=hidden, files={"file": spoilt}, headers=headers)
    assert refused.status_code == 422
    assert "not in UTF-8" in refused.text


def test_volumes_can_be_read_and_typed_in_quarts(workshop, fleet):
    """1 US liquid quart is a quarter of a gallon of 231 cubic inches: 0.946352946 L (NIST Handbook 44, appendix C)."""
    workshop.come_in()
    html = workshop.get("/settings").text
    assert '<option value="us_quart">US quarts</option>' in html
    workshop.operator.client.patch(
        "/v1/organisation", json={"volume_unit": "us_quart"}, headers=workshop.operator.headers
    ).raise_for_status()
    page = workshop.get("/vehicles/VAN-01").text.replace("\u00a0", " ")
    assert f"{9.0 / 0.946352946:.1f} US qt" in page
    action = re.search(r'action="(/settings/depots/dep_\d+)"', workshop.get("/settings").text)[1]
    minutes = {f"minutes-{day}": "480" for day in range(1, 8)}
    assert workshop.fill("/settings", action, **minutes, capacity="200").status_code == 303
    depots = workshop.operator.get("/v1/depots").json()["depots"]
    assert any(
        depot["used_fluid_capacity_litres"] == pytest.approx(200 * 0.946352946)
        for depot in depots
        if depot["used_fluid_capacity_litres"] is not None
    )


def test_a_table_without_a_column_for_the_vehicle_says_what_to_do_first(owner):
    seen = owner.fill("/start", "/start/vehicles", table="colour;class\nred;van\n", do="preview")
    assert "Say first which column holds the number" in seen.text
    assert 'value="register"' not in seen.text
    seen = owner.fill("/start", "/start/vehicles", table="number;class\nNEW-1;van\n", do="preview")
    assert "Say first which column" not in seen.text
    assert 'value="register"' in seen.text
    seen = owner.fill("/start", "/start/vehicles", table="Fleet no;Type;Yard\nNEW-1;van;East\n", do="preview")
    assert "Rows that can be registered: 1 of 1" in seen.text
    assert re.search(r'<option value="2" selected>Yard', seen.text)
