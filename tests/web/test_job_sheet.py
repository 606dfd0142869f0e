"""The job sheet: saved half-done, refused while a step that matters is open, and closed into a record."""

import re

import pytest

from service.domain.roles import Role
from service.jobs.weekly_run import run_weekly
from tests.web.conftest import hidden_in, token_in

SHEET = "/vehicles/VAN-01/job-sheet"
ACTION = "/vehicles/veh_1/job-sheet"
STEPS = (
    "specification_checked",
    "fill_plug_opened_first",
    "torque_by_maker",
    "leaks_checked",
    "used_fluid_stored",
)
DONE = {
    "cmp_1-on": "yes",
    "cmp_1-method": "drain_and_fill",
    "cmp_1-fluid": "Red Seven",
    "cmp_1-old_fluid_grade": "brown",
    "cmp_1-level_celsius": "40",
    "cmp_1-seals_renewed": "yes",
    "cmp_1-counter_reset": "yes",
    "done_at": "2026-05-01T06:15",
    "done_by": "Max Invented",
    "odometer": "79 990",
    "unit": "km",
    "do": "close",
} | {f"cmp_1-step_{step}": "yes" for step in STEPS}
ROUNDS = {f"cmp_1-{which}-{n}": "3,5" for n in (1, 2, 3) for which in ("drained", "filled")}


@pytest.fixture
def mechanic(workshop, fleet, database, clock):
    assert run_weekly(database, clock.now(), "node") == 1
    return workshop.come_in("max", Role.MECHANIC)


def services(workshop) -> list[dict]:
    return workshop.operator.get("/v1/services").json()["services"]


def with_brakes(workshop) -> str:
    place = {"kind": "brake_fluid", "compartment": "brakes"}
    answer = workshop.operator.post("/v1/vehicles/VAN-01/compartments", place)
    assert answer.status_code == 201
    return answer.json()["id"]


def test_the_sheet_leads_through_the_job(mechanic):
    text = re.sub(r"\s+", " ", mechanic.get(SHEET).text)
    order = [
        "Specification checked",
        "Fill plug opened first",
        "Round 1",
        "Round 3",
        "level check",
        "Checked for leaks",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert "The window is 35 °C to 45 °C." in text
    assert "1 × drain plug washer" in text
    assert "Open the fill or level plug before the drain plug" in text
    assert "from the maker’s data of this unit only" in text


def test_the_sheet_asks_only_for_what_the_unit_has(mechanic):
    """No counter of a unit without one, no level at a temperature of a reservoir, no brackets around nothing."""
    key = with_brakes(mechanic)
    text = mechanic.get(SHEET).text
    assert 'name="cmp_1-counter_reset"' in text
    assert 'name="cmp_1-level_celsius"' in text
    assert f'name="{key}-passed_litres"' in text
    for name in ("counter_reset", "level_celsius", "excess_drained_litres"):
        assert f"{key}-{name}" not in text
    assert "(–)" not in text


def test_the_brakes_are_warned_of_even_when_they_are_not_the_visit_s_work(mechanic):
    key = with_brakes(mechanic)
    text = mechanic.get(SHEET).text
    head, brakes = text.split(f'aria-labelledby="{key}"')
    assert "Brakes are a matter of life" not in head
    assert brakes.index("Brakes are a matter of life") < brakes.index("Watch the reservoir")
    assert brakes.index("Watch the reservoir") < brakes.index("Pump the pedal")
    assert "never under a jack alone" not in brakes


def test_what_keeps_a_job_open_can_be_gone_to_from_the_top(mechanic):
    fields = {name: value for name, value in (DONE | ROUNDS).items() if name != "cmp_1-counter_reset"}
    answer = mechanic.fill(SHEET, ACTION, **fields).text
    assert 'href="#cmp_1-counter_reset"' in answer
    assert 'id="cmp_1-counter_reset"' in answer


def test_closing_the_job_records_draws_and_ticks_off(mechanic):
    assert mechanic.fill(SHEET, ACTION, **DONE, **ROUNDS).headers[
        "location"
    ] == "/vehicles/VAN-01?told=job_closed".replace("VAN-01", "veh_1")
    (service,) = services(mechanic)
    (work,) = service["compartments"]
    assert [one["filled_litres"] for one in work["rounds"]] == [3.5, 3.5, 3.5]
    assert service["done_by"] == "Max Invented"
    # Three rounds of 3.5 L leave the shelf, which held nothing (bookkeeping, derived).
    (line,) = mechanic.operator.get("/v1/stock").json()["fluids"]
    assert line["litres"] == pytest.approx(-10.5)
    page = mechanic.get("/due-lists/2026-W19").text
    assert re.search(r"VAN-01.*?badge-done", page, re.DOTALL)


def test_torques_are_asked_for_and_kept_with_the_record(mechanic):
    """None is proposed: torques of drain plugs differ several-fold between units."""
    page = mechanic.get(SHEET).text
    assert re.search(r'name="cmp_1-torque_drain_plug" type="text" value=""', page)
    wrong = mechanic.fill(SHEET, ACTION, **DONE, **ROUNDS, **{"cmp_1-torque_drain_plug": "35 Nm"})
    assert "Not a number" in wrong.text
    typed = {"cmp_1-torque_drain_plug": "35", "cmp_1-torque_fill_plug": "30,5", "note": "all well"}
    assert mechanic.fill(SHEET, ACTION, **DONE, **ROUNDS, **typed).status_code == 303
    (service,) = services(mechanic)
    assert service["note"] == (
        "all well\ngearbox, torque by the maker’s data: Drain plug 35 N·m; Fill or level plug 30.5 N·m."
    )


def test_a_job_sent_twice_is_recorded_once(mechanic):
    fields = hidden_in(mechanic.get(SHEET).text, ACTION) | DONE | ROUNDS
    first, second = mechanic.send(ACTION, fields), mechanic.send(ACTION, fields)
    assert first.headers["location"].endswith("told=job_closed")
    assert second.headers["location"].endswith("told=again")
    assert len(services(mechanic)) == 1


@pytest.mark.parametrize(
    ("without", "told"),
    [
        ("cmp_1-counter_reset", "Fluid counter reset: still open."),
        ("cmp_1-level_celsius", "Level set inside the temperature window: still open."),
        ("cmp_1-seals_renewed", "Seals renewed: still open."),
        ("cmp_1-step_leaks_checked", "Checked for leaks, warm: still open."),
        ("cmp_1-old_fluid_grade", "Old fluid looked at: still open."),
        ("cmp_1-filled-2", "Fill this in."),
        ("cmp_1-on", "Say on which compartment something was done."),
    ],
)
def test_a_step_that_is_open_keeps_the_job_open_and_everything_typed(mechanic, without, told):
    fields = {name: value for name, value in (DONE | ROUNDS).items() if name != without}
    answer = mechanic.fill(SHEET, ACTION, **fields)
    assert answer.status_code == 422
    assert told in answer.text
    assert 'name="odometer" type="text" value="79 990"' in answer.text
    assert services(mechanic) == []


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"cmp_1-level_celsius": "60"}, "Level set inside the temperature window"),
        ({"cmp_1-drained-1": "30"}, "More than the compartment held"),
        ({"cmp_1-filled-1": "-1"}, "Must be between"),
        ({"cmp_1-filled-1": "inf"}, "Not a number"),
        ({"done_at": "0001-01-01T00:00"}, "Must be a date from"),
        ({"done_at": "2030-01-01T00:00"}, "Lies in the future"),
        ({"cmp_1-old_fluid_grade": "purple"}, "Not a visual grade"),
        ({"cmp_1-fluid": "Blue"}, "There is no such fluid"),
        ({"odometer": "1e99"}, "Not a number"),
    ],
)
def test_what_cannot_be_right_is_told_at_its_box(mechanic, changed, told):
    answer = mechanic.fill(SHEET, ACTION, **(DONE | ROUNDS | changed))
    assert answer.status_code == 422
    assert told in answer.text
    assert 'aria-invalid="true"' in answer.text
    assert services(mechanic) == []


def test_a_reason_lets_an_open_step_pass_and_is_kept(mechanic):
    fields = {name: value for name, value in (DONE | ROUNDS).items() if name != "cmp_1-counter_reset"}
    reason = {"cmp_1-override_reason": "Tester broken, booked for Monday", "cmp_1-level_celsius": "50"}
    assert mechanic.fill(SHEET, ACTION, **(fields | reason)).status_code == 303
    (work,) = services(mechanic)[0]["compartments"]
    assert work["override_reason"] == "Tester broken, booked for Monday"


def test_a_job_with_less_filled_than_drained_says_so(mechanic):
    short = DONE | ROUNDS | {"cmp_1-filled-3": "1,5"}
    closed = mechanic.fill(SHEET, ACTION, **short)
    assert closed.headers["location"].endswith("told=job_closed_short")
    assert "less went in than came out" in mechanic.get(closed.headers["location"]).text


def test_work_older_than_what_is_on_record_is_told_as_a_late_entry(mechanic):
    assert mechanic.fill(SHEET, ACTION, **DONE, **ROUNDS).status_code == 303
    older = DONE | ROUNDS | {"done_at": "2026-04-30T09:00"}
    refused = mechanic.fill(SHEET, ACTION, **older)
    assert refused.status_code == 422
    assert "a later service on record" in refused.text
    assert re.search("of [^<]* 06:15[.]", refused.text), "told as the clock on the wall showed it"
    assert 'name="late_entry"' in refused.text
    assert mechanic.fill(SHEET, ACTION, **older, late_entry="yes").status_code == 303
    assert len(services(mechanic)) == 2


def test_the_same_work_on_a_second_sheet_is_told_with_the_record_there_is(mechanic):
    assert mechanic.fill(SHEET, ACTION, **DONE, **ROUNDS).status_code == 303
    (first,) = services(mechanic)
    again = mechanic.fill(SHEET, ACTION, **DONE, **ROUNDS, note="typed by the second shift")
    assert again.status_code == 409
    assert f"recorded already, as {first['id']}" in again.text
    assert "typed by the second shift" in again.text
    assert 'aria-invalid="true"' in again.text
    assert len(services(mechanic)) == 1


def test_a_sheet_saved_half_done_is_finished_by_somebody_else(mechanic):
    half = {"cmp_1-on": "yes", "cmp_1-drained-1": "3,4", "note": "plug was tight", "do": "save"}
    assert (
        mechanic.fill(SHEET, ACTION, **half).headers["location"] == "/vehicles/veh_1/job-sheet?told=job_saved"
    )
    mechanic.come_in("ben", Role.MECHANIC)
    page = mechanic.get(SHEET).text
    assert "saved half-done by max" in page
    assert 'name="cmp_1-drained-1" type="text" value="3,4"' in page
    assert "plug was tight" in page
    assert mechanic.fill(SHEET, ACTION, **DONE, **ROUNDS).status_code == 303
    assert "saved half-done" not in mechanic.get(SHEET).text


def test_a_sheet_can_be_emptied(mechanic):
    mechanic.fill(SHEET, ACTION, note="wrong vehicle", do="save")
    assert mechanic.fill(SHEET, ACTION, do="empty").headers["location"].endswith("told=job_emptied")
    assert "wrong vehicle" not in mechanic.get(SHEET).text


def test_the_sheet_on_paper_leads_back_to_the_page(mechanic):
    answer = mechanic.get("/vehicles/VAN-01/job-sheet.pdf")
    assert answer.content.startswith(b"%PDF-")
    assert "job-sheet" in answer.headers["content-disposition"]


def test_a_viewer_cannot_close_and_another_organisation_sees_nothing(mechanic, join):
    fields = hidden_in(mechanic.get(SHEET).text, ACTION)
    mechanic.come_in("vera", Role.VIEWER)
    looked = mechanic.get(SHEET).text
    assert "You may look at the sheet." in looked
    assert f'action="{ACTION}"' not in looked
    own = {"form_token": token_in(looked), "form_id": "vera"}
    assert mechanic.send(ACTION, fields | own | DONE | ROUNDS).status_code == 403
    mechanic.come_in("eve", organisation_id=join("Other Invented Haulage").organisation_id)
    assert mechanic.get(ACTION).status_code == 404
    assert mechanic.get(f"{ACTION}.pdf").status_code == 404


def test_the_sheet_names_the_visit_that_comes_next(mechanic):
    """A line that was moved counts on its new day; a list of a later week that is fixed early does not hide it."""
    lines = mechanic.operator.get("/v1/due-lists/2026-W19").json()["lines"]
    (line,) = [one["id"] for one in lines if one["vehicle"] == "VAN-01"]
    move = {"kind": "moved", "moved_to_on": "2026-05-07"}
    assert mechanic.operator.post(f"/v1/due-list-lines/{line}/events", move).status_code == 201
    assert "07/05/2026" in mechanic.get(SHEET).text
    assert mechanic.operator.post("/v1/due-lists/2026-W20/publish").status_code == 200
    later = mechanic.operator.get("/v1/due-lists/2026-W20").json()["lines"]
    assert [one["planned_on"] for one in later if one["vehicle"] == "VAN-01"] > ["2026-05-10"]
    assert "07/05/2026" in mechanic.get(SHEET).text
