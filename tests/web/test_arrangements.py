"""What people arrange on pages: samples, plans to come back, and the day of a visit."""

import re
from datetime import timedelta

import pytest

from service.domain.roles import Role
from service.jobs.weekly_run import run_weekly
from tests.web.conftest import token_in
from tests.web.test_register import shown

MILE_KM = 1.609344
"""International yard and pound agreement, 1959: exact."""

SAMPLE = "/vehicles/VAN-01/sample"
SAMPLE_ACTION = "/vehicles/veh_1/sample"
LOOK = {"compartment": "cmp_1", "grade": "brown", "taken_at": "2026-05-01T06:15"}


@pytest.fixture
def planner(workshop, fleet):
    return workshop.come_in("petra", Role.PLANNER)


def samples(workshop) -> list[dict]:
    return workshop.operator.get("/v1/samples").json()["samples"]


def test_a_look_at_the_fluid_is_entered(planner):
    answer = planner.fill(SAMPLE, SAMPLE_ACTION, **LOOK)
    assert answer.headers["location"] == "/vehicles/veh_1?told=sample"
    (sample,) = samples(planner)
    assert (sample["grade"], sample["compartment"], sample["source"]) == ("brown", "gearbox", "page")
    assert "Sample, gearbox" in planner.get("/vehicles/VAN-01").text


def test_a_sample_is_asked_for_in_the_words_of_the_fluid(planner):
    brakes = {"kind": "brake_fluid", "compartment": "brakes"}
    key = planner.operator.post("/v1/vehicles/VAN-01/compartments", brakes).json()["id"]
    assert f'href="{SAMPLE_ACTION}?compartment={key}"' in planner.get("/vehicles/VAN-01").text
    which = planner.get(SAMPLE).text
    assert "Of which compartment?" in which
    assert "<textarea" not in which
    red, clear = (planner.get(f"{SAMPLE}?compartment={one}").text for one in ("cmp_1", key))
    assert "pink like a milkshake" in red
    assert "Colour is a dye that fades" in red
    assert "Milky, or in layers." in clear
    assert "pink like a milkshake" not in clear
    assert "its water has to be measured" in clear
    # A data sheet of a brake fluid allows 0.20 % of water in what leaves the factory (from memory).
    assert "0.2\u00a0% of water already" in clear


def test_a_sample_of_a_vehicle_that_holds_nothing_leads_to_its_first_compartment(planner):
    planner.operator.post("/v1/vehicles", {"vehicle": "VAN-88", "class": "van", "depot": "North"})
    page = planner.get("/vehicles/VAN-88/sample").text
    assert re.search(r'href="/vehicles/veh_\d+/compartments/new"', page)


def test_a_laboratory_report_is_typed_in_its_own_units(planner):
    """A share of water is typed in per cent, as reports give it: 0.3 % is 0.003 (by definition)."""
    typed = {
        "compartment": "cmp_1",
        "taken_at": "2026-05-01T06:15",
        "lab-water_fraction": "0,3",
        "lab-iron_mg_per_kg": "96",
        "lab-viscosity_100c_mm2_per_s": "6.2",
        "new-viscosity_100c_mm2_per_s": "7.2",
        "odometer": "50000",
        "unit": "mi",
    }
    answer = planner.fill(SAMPLE, SAMPLE_ACTION, **typed)
    assert answer.status_code == 303, answer.text
    (sample,) = samples(planner)
    assert sample["laboratory"]["water_fraction"] == pytest.approx(0.003)
    assert sample["laboratory"]["iron_mg_per_kg"] == 96
    assert sample["new_values"] == {"viscosity_100c_mm2_per_s": 7.2}
    assert sample["odometer_km"] == pytest.approx(50_000 * MILE_KM)


def test_a_laboratory_report_is_told_in_the_words_of_the_standards(planner):
    """Worked example of ASTM D2270-10(2016): 73.3 and 8.86 mm²/s have the index 92 (published)."""
    typed = {"lab-viscosity_40c_mm2_per_s": "73.3", "lab-viscosity_100c_mm2_per_s": "8.86"}
    planner.fill(SAMPLE, SAMPLE_ACTION, compartment="cmp_1", taken_at="2026-05-01T06:15", **typed)
    assert "In the words of the standards: ASTM D2270 92." in planner.get("/vehicles/VAN-01").text


def test_water_in_the_fluid_is_said_at_once(planner):
    answer = planner.fill(SAMPLE, SAMPLE_ACTION, **LOOK | {"grade": "milky"})
    assert answer.headers["location"].endswith("told=sample_alarm")


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("lab-water_fraction", "300", "share of the whole"),
        ("lab-iron_mg_per_kg", "much", "Not a number"),
        ("taken_at", "2999-01-01T08:00", "/2100"),
        ("compartment", "cmp_3", "Choose one"),
        ("grade", "", "grade"),
    ],
)
def test_a_sample_that_cannot_be_right_is_told_at_its_field(planner, field, value, told):
    html = planner.fill(SAMPLE, SAMPLE_ACTION, **LOOK | {"note": "kept", field: value}).text
    assert told in html
    assert shown(html)["note"] == "kept"
    assert samples(planner) == []


def test_a_plan_to_come_back_is_accepted_and_taken_back(planner):
    action = "/compartments/cmp_1/returns"
    typed = {"cmp_1-rounds": "2", "cmp_1-after_km": "3 500", "cmp_1-after_days": "70"}
    answer = planner.fill("/vehicles/VAN-01", action, **typed)
    assert answer.headers["location"] == "/vehicles/veh_1?told=return"
    (planned,) = planner.operator.get("/v1/compartments/cmp_1/return-visits").json()["return_visits"]
    assert (planned["rounds"], planned["due_on"]) == (2, "2026-07-10")
    page = planner.get("/vehicles/VAN-01").text
    shown_km = f"{planned['due_odometer_km']:,.0f}".replace(",", "\u202f")
    assert f"on 10/07/2026 or at {shown_km}\u00a0km" in page
    (cancel,) = re.findall(r'action="(/vehicles/veh_1/returns/ret_\d+)"', page)
    assert planner.fill("/vehicles/VAN-01", cancel).headers["location"].endswith("told=return_cancelled")
    assert "/returns/ret_" not in planner.get("/vehicles/VAN-01").text


def test_a_plan_to_come_back_needs_a_when(planner):
    typed = {"cmp_1-rounds": "2", "cmp_1-note": "kept", "cmp_1-after_km": "", "cmp_1-after_days": ""}
    html = planner.fill("/vehicles/VAN-01", "/compartments/cmp_1/returns", **typed).text
    assert "Say after how many days" in html
    assert 'value="kept"' in html
    assert 'id="cmp_1-after_days-error"' in html


def test_a_vehicle_is_pinned_to_a_day_of_the_draft_and_let_go_again(planner):
    draft = planner.get("/due-lists/2026-W19").text
    link = re.search(r'href="(/vehicles/veh_1/day\?week=2026-W19)"', draft)[1]
    answer = planner.fill(link, "/vehicles/veh_1/day", kind="on", day="2026-05-06", note="driver is away")
    assert answer.headers["location"] == "/due-lists/2026-W19?told=pinned"
    draft = planner.get("/due-lists/2026-W19").text
    assert "Pinned to Wednesday 06/05/2026 by petra: driver is away" in draft
    assert re.search(r"<h2>Wednesday 06/05/2026, North</h2>.*?VAN-01", draft, re.DOTALL)
    answer = planner.fill(link, "/vehicles/veh_1/day", do="remove")
    assert answer.headers["location"].endswith("told=unpinned")
    assert "Pinned" not in planner.get("/due-lists/2026-W19").text


def test_a_vehicle_is_kept_out_of_a_week(planner):
    week, link = "/due-lists/2026-W19", "/vehicles/VAN-01/day?week=2026-W19"
    assert "VAN-01" in planner.get(week).text
    fields = {"form_token": token_in(planner.get(link).text), "week": "2026-W19", "do": "not_this_week"}
    answer = planner.send("/vehicles/veh_1/day", fields)
    assert answer.headers["location"] == f"{week}?told=not_this_week"
    assert "Not before Monday 11/05/2026" in planner.get("/vehicles/VAN-01").text
    rows = re.findall(r"<h2>([^<]*)</h2>(?:(?!<h2>).)*?VAN-01", planner.get(week).text, re.DOTALL)
    assert rows == ["Monday 11/05/2026, North"]


@pytest.mark.parametrize("day", ["2020-01-01", "0001-01-01", "2999-12-31", "2026-02-30", ""])
def test_an_absurd_day_is_told_at_its_field(planner, day):
    html = planner.fill("/vehicles/VAN-01/day", "/vehicles/veh_1/day", kind="on", day=day, note="kept").text
    assert 'id="day-error"' in html
    assert 'value="kept"' in html


def test_a_published_list_says_that_a_vehicle_is_pinned(planner, database, clock):
    planner.fill("/vehicles/VAN-01/day", "/vehicles/veh_1/day", kind="on", day="2026-05-07")
    assert run_weekly(database, clock.now(), "node") == 1
    assert "Pinned to Thursday" in planner.get("/due-lists/2026-W19").text
    assert "/vehicles/veh_1/day" in planner.get("/lines/lin_1").text
    clock.advance(timedelta(days=9))
    assert "Pinned" not in planner.get("/vehicles/VAN-01").text


FIELDS = LOOK | {"cmp_1-rounds": "1", "cmp_1-after_days": "9", "kind": "on", "day": "2026-05-06"}


@pytest.mark.parametrize(
    ("path", "role"),
    [
        ("/vehicles/veh_1/sample", Role.VIEWER),
        ("/compartments/cmp_1/returns", Role.VIEWER),
        ("/vehicles/veh_1/day", Role.MECHANIC),
    ],
)
def test_who_may_not_is_refused(workshop, fleet, path, role):
    workshop.come_in("max", role)
    token = token_in(workshop.get("/vehicles").text)
    assert workshop.send(path, FIELDS | {"form_token": token}).status_code == 403
    assert samples(workshop) == []


def test_vehicles_of_others_are_not_there(planner, join):
    other = join("Other")
    planner.come_in("otto", organisation_id=other.organisation_id)
    token = token_in(planner.get("/vehicles").text)
    for path in ("/vehicles/veh_1/sample", "/vehicles/veh_1/day", "/compartments/cmp_1/returns"):
        assert planner.send(path, FIELDS | {"form_token": token}).status_code == 404, path
