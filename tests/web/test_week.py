"""The list of a week as a page."""

import re

import pytest

from service.domain.roles import Role
from service.jobs import weekly_run
from service.jobs.weekly_run import run_weekly
from service.web.views.lines import sure_words
from tests.documents.pdf_reading import full_text
from tests.web.conftest import hidden_in

WEEK = "/due-lists/2026-W19"


@pytest.fixture
def published(workshop, fleet, database, clock):
    """The list of 2026-W19, published; somebody is signed in."""
    assert run_weekly(database, clock.now(), "node") == 1
    return workshop.come_in()


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_vehicles_without_a_compartment_lead_to_where_their_fluids_are_told(workshop):
    workshop.operator.post("/v1/vehicles", {"vehicle": "VAN-88", "class": "van", "depot": "North"})
    page = workshop.come_in().get("/").text
    assert "No vehicle has a compartment yet" in page
    assert 'class="button" href="/vehicles"' in page
    workshop.operator.post("/v1/vehicles/VAN-88/compartments", {"kind": "axle", "compartment": "rear axle"})
    assert "No vehicle has a compartment yet" not in workshop.get("/").text


def test_without_a_vehicle_a_mechanic_is_told_who_registers_them(workshop):
    workshop.come_in("max", Role.MECHANIC)
    for path in ("/", "/vehicles"):
        assert "A planner or an owner of your organisation registers them." in workshop.get(path).text


def test_a_draft_says_that_it_is_one_and_offers_no_ticking_off(workshop, fleet):
    page = workshop.come_in().get(WEEK)
    assert page.status_code == 200
    assert "this list is not published yet" in page.text
    assert "VAN-01" in page.text
    assert 'name="done"' not in page.text
    assert workshop.fill(WEEK, f"{WEEK}/publish").headers["location"] == f"{WEEK}?told=published"
    assert "Published 01/05/2026 06:30." in workshop.get(WEEK).text


def test_without_a_vehicle_the_list_leads_to_the_first_steps_and_publishes_nothing(workshop):
    """Nothing else on the page could be of use yet."""
    text = workshop.come_in().get("/").text
    assert 'class="button" href="/start"' in text
    for of_a_list in ("Publish it now", "Take off the shelf", "Nothing is due in this week", 'name="depot"'):
        assert of_a_list not in text
    mechanic = workshop.come_in("max", Role.MECHANIC)
    assert "No vehicle is registered yet" in mechanic.get("/").text
    assert "/start" not in mechanic.get("/").text


def test_the_job_sheet_can_be_opened_from_every_open_line(published):
    text = published.get(WEEK).text
    (line,) = re.findall(r'name="done" value="(lin_\d+)" aria-label="Tick off VAN-01', text)
    sheet = r'href="/vehicles/veh_1/job-sheet" aria-label="Job sheet VAN-01, gearbox"'
    assert re.search(rf'id="{line}".*?{sheet}', text, re.DOTALL)


@pytest.mark.parametrize("vehicle", ["VAN-01", "VAN-88"], ids=["listed for another reason", "not listed"])
def test_a_fluid_found_contaminated_after_the_list_was_fixed_is_told_above_it(published, clock, vehicle):
    """It is due now, and the list that would name it comes days later."""
    operator = published.operator
    if vehicle == "VAN-88":
        operator.post("/v1/vehicles", {"vehicle": vehicle, "class": "van"})
        facts = {
            "kind": "automatic_transmission_car",
            "compartment": "gearbox",
            "last_service_on": "2026-04-01",
        }
        operator.post(f"/v1/vehicles/{vehicle}/compartments", facts)
    assert 'role="alert"' not in published.get(WEEK).text
    place = operator.get(f"/v1/vehicles/{vehicle}/compartments").json()["compartments"][0]["id"]
    sample = {"compartment": place, "taken_at": clock.now().isoformat(), "grade": "milky"}
    taken = operator.post("/v1/samples", sample)
    assert taken.status_code == 201, taken.text
    told = text_of(published.get(WEEK).text)
    alarm = "Found since this list was fixed, and due now:"
    assert f"{alarm} {vehicle}, gearbox : The last sample shows water or coolant" in told
    assert operator.delete(f"/v1/samples/{taken.json()['id']}").status_code == 204
    assert alarm not in text_of(published.get(WEEK).text)


def test_a_list_that_tells_of_a_contaminated_fluid_tells_it_once(workshop, fleet, clock):
    place = workshop.operator.get("/v1/vehicles/VAN-01/compartments").json()["compartments"][0]["id"]
    sample = {"compartment": place, "taken_at": clock.now().isoformat(), "grade": "milky"}
    assert workshop.operator.post("/v1/samples", sample).status_code == 201
    assert workshop.operator.post("/v1/due-lists/2026-W19/publish").status_code == 200
    page = text_of(workshop.come_in().get(WEEK).text)
    assert "The last sample shows water or coolant" in page
    assert "Found since" not in page


def test_a_list_that_could_not_be_published_says_so_until_it_is(
    workshop, fleet, database, clock, monkeypatch
):
    def fail(*_):
        raise ZeroDivisionError

    page = workshop.come_in()
    assert "could not be" not in page.get(WEEK).text
    with monkeypatch.context() as broken:
        broken.setattr(weekly_run, "draft_list", fail)
        assert run_weekly(database, clock.now(), "node") == 0
    told = text_of(page.get(WEEK).text)
    assert (
        "should have been published at 01/05/2026 06:30 and could not be. It is tried again by itself" in told
    )
    assert "ZeroDivision" not in told
    assert run_weekly(database, clock.now(), "node") == 1
    assert "could not be" not in page.get(WEEK).text


def test_lines_say_what_why_when_and_how_sure(published):
    text = text_of(published.get(WEEK).text)
    assert "VAN-01" in text
    assert "gearbox" in text
    # 3.5 of 9.0 L a round: three rounds for three quarters (mass balance, derived).
    assert "10.5 L in 3 rounds" in text
    assert "24 months since the last full service end on 06/05/2026" in text
    assert "Nearly certain to be due by the end of this week" in text
    assert "VAN-02" not in text


@pytest.mark.parametrize(
    ("probability", "told"),
    [
        (0.97, "Nearly certain to be due by the end of this week"),
        (0.52, "A chance of 1 in 2 that it is due by the end of this week"),
        (0.11, "A chance of 1 in 10 that it is due by the end of this week"),
        (0.02, "A chance of less than 1 in 20 that it is due by the end of this week"),
        (None, ""),
    ],
)
def test_how_sure_a_line_is_is_said_as_a_chance_no_greater_than_it_is(probability, told):
    assert sure_words(probability) == told


def test_the_shelf_adds_up_what_is_open(published):
    text = text_of(published.get(WEEK).text)
    assert re.search(r"Red Seven 10\.5 L", text)
    assert re.search(r"drain plug washer 1\b", text)
    line = re.search(r'name="done" value="(lin_\d+)" aria-label="Tick off VAN-01', published.get(WEEK).text)[
        1
    ]
    assert published.fill(WEEK, "/lines", done=line).status_code == 303
    assert "drain plug washer" not in text_of(published.get(WEEK).text)


def test_a_line_is_ticked_off_once_however_often_the_button_is_pressed(published):
    html = published.get(WEEK).text
    fields = hidden_in(html, "/lines") | {"done": re.search(r'name="done" value="(lin_\d+)"', html)[1]}
    first, second = published.send("/lines", fields), published.send("/lines", fields)
    assert first.headers["location"].endswith(f"told=done#{fields['done']}")
    assert f'id="{fields["done"]}"' in published.get(WEEK).text
    assert second.headers["location"].endswith("told=again")
    page = published.get(second.headers["location"]).text
    assert "This form had been sent already; it was done once." in page
    assert len(re.findall("Done, olga", page)) == 1


def test_a_visit_is_moved_and_says_who_moved_it(published):
    line = re.search(r'href="/(lines/lin_\d+)" aria-label="Move … VAN-01', published.get(WEEK).text)[1]
    answer = published.fill(
        f"/{line}", f"/{line}", do="moved", moved_to_on="2026-05-07", whole_visit="yes", note="away"
    )
    assert answer.headers["location"] == f"{WEEK}?told=moved"
    page = text_of(published.get(WEEK).text)
    assert "Thursday 07/05/2026, North" in page
    assert "Moved to 07/05/2026 by olga" in page
    assert "away" in published.get(f"/{line}").text


@pytest.mark.parametrize(
    "day", ["0001-01-01", "9999-12-31", "2062-05-07", "2026-02-30", "tomorrow", "", "٢٠٢٦-٠٥-٠٧"]
)
def test_an_absurd_day_is_refused_and_everything_typed_stays(published, day):
    line = re.search(r'href="/(lines/lin_\d+)"', published.get(WEEK).text)[1]
    answer = published.fill(f"/{line}", f"/{line}", do="moved", moved_to_on=day, note="typed before")
    assert answer.status_code == 422
    assert 'value="typed before"' in answer.text
    assert 'aria-invalid="true"' in answer.text
    assert "Moved to" not in published.get(WEEK).text


def test_depot_and_vehicle_narrow_the_list(published):
    assert "VAN-01" not in text_of(published.get(f"{WEEK}?depot=South").text)
    found = text_of(published.get(f"{WEEK}?vehicle=truck").text)
    assert "TRUCK-1" in found
    assert "VAN-01" not in found
    assert "No line fits" in published.get(f"{WEEK}?vehicle=zebra").text


@pytest.mark.parametrize(
    ("kind", "beginning"), [("pdf", b"%PDF-"), ("xlsx", b"PK"), ("csv", b""), ("ics", b"BEGIN:VCALENDAR")]
)
def test_the_list_can_be_taken_along(published, kind, beginning):
    answer = published.get(f"{WEEK}.{kind}")
    assert answer.status_code == 200
    assert answer.content.startswith(beginning)
    assert f"2026-W19.{kind}" in answer.headers["content-disposition"]


def test_a_mechanic_ticks_off_but_does_not_move(published):
    published.come_in("max", Role.MECHANIC)
    line = re.search(r'href="/(lines/lin_\d+)"', published.get(WEEK).text)[1]
    page = published.get(f"/{line}").text
    assert 'value="done"' in page
    assert 'value="moved"' not in page
    hidden = hidden_in(page, f"/{line}")
    refused = published.send(f"/{line}", hidden | {"do": "moved", "moved_to_on": "2026-05-07"})
    assert refused.status_code == 403


def test_another_organisations_line_is_not_there(published, join):
    line = re.search(r'href="/(lines/lin_\d+)"', published.get(WEEK).text)[1]
    published.come_in("eve", organisation_id=join("Other Invented Haulage").organisation_id)
    assert published.get(f"/{line}").status_code == 404
    assert "VAN-01" not in published.get("/").text


@pytest.mark.parametrize(
    "path", ["/due-lists/2026-W99", "/due-lists/0001-W01", "/due-lists/x", "/?page=0", "/?page=1e9"]
)
def test_an_address_that_cannot_be_right_is_a_page_in_words(published, path):
    answer = published.get(path)
    assert answer.status_code in {404, 422}
    assert "<h1>" in answer.text


def test_the_paper_of_a_draft_says_so_and_names_the_parts_to_take(workshop, fleet):
    content = workshop.come_in().get(f"{WEEK}.pdf").content
    text = full_text(content)
    assert "Draft of" in text
    shelf = text[text.index("Take off the shelf") :]
    assert "Red Seven" in shelf
    assert "drain plug washer" in shelf
