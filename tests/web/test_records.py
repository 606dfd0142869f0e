"""A mistaken record is taken back on its page: the same that the API does, with the reason, and by whoever may."""

import re

import pytest

from service.domain.roles import Role
from service.jobs.weekly_run import run_weekly
from tests.web.test_job_sheet import ACTION, DONE, ROUNDS, SHEET

VAN = "/vehicles/VAN-01"


@pytest.fixture
def mechanic(workshop, fleet, database, clock):
    """Somebody who has just closed a job on the wrong van."""
    assert run_weekly(database, clock.now(), "node") == 1
    workshop.come_in("max", Role.MECHANIC)
    assert workshop.fill(SHEET, ACTION, **DONE, **ROUNDS).status_code == 303
    return workshop


def litres(workshop) -> float:
    (line,) = workshop.operator.get("/v1/stock").json()["fluids"]
    return line["litres"]


def test_a_service_is_looked_at_from_the_history(mechanic):
    (path,) = set(re.findall(r'href="(/services/srv_\d+)"', mechanic.get(VAN).text))
    page = mechanic.get(path).text.replace("\u00a0", " ").replace("\u202f", " ")
    # Three rounds of 3.5 L out and in (bookkeeping, derived).
    for words in ("Drain and fill", "Red Seven", "3: 10.5 L out, 10.5 L in", "79 990 km", "Max Invented"):
        assert words in page, words
    for name in ("Seals renewed", "Fluid counter reset"):
        assert f"<dt>{name}</dt><dd>yes</dd>" in page


def test_taking_a_service_back_undoes_all_that_followed_from_it(mechanic):
    assert litres(mechanic) == pytest.approx(-10.5)
    assert re.search(r"VAN-01.*?badge-done", mechanic.get("/due-lists/2026-W19").text, re.DOTALL)
    answer = mechanic.fill("/services/srv_1", "/services/srv_1", reason="It was VAN-02.")
    assert answer.headers["location"] == "/vehicles/veh_1?told=voided"
    assert litres(mechanic) == pytest.approx(0.0)
    assert not re.search(r"badge-done", mechanic.get("/due-lists/2026-W19").text)
    readings = mechanic.operator.get("/v1/vehicles/VAN-01/readings").json()["readings"]
    assert [one["outcome"] for one in readings if one["source"] == "service"] == ["rejected"]
    assert mechanic.operator.get("/v1/services/srv_1").json()["voided_at"] is not None
    history = mechanic.get(VAN).text
    assert "A service was taken back." in history
    assert "It was VAN-02." in history
    page = mechanic.get("/services/srv_1").text
    assert "Void since" in page
    assert "It was VAN-02." in page
    assert "Take this record back" not in page


def test_it_takes_a_reason_and_is_done_once(mechanic):
    answer = mechanic.fill("/services/srv_1", "/services/srv_1", reason=" ")
    assert answer.status_code == 422
    assert "Fill this in." in answer.text
    assert mechanic.operator.delete("/v1/services/srv_1?reason=By+a+program").status_code == 204
    fields = dict(re.findall(r'name="(form_\w+)" value="([^"]*)"', mechanic.get(SHEET).text))
    late = mechanic.send("/services/srv_1", fields | {"reason": "Late"})
    assert late.status_code == 409
    assert "void already" in late.text
    assert "By a program" in late.text


def test_who_may_only_look_is_offered_nothing(mechanic):
    mechanic.come_in("vera", Role.VIEWER)
    page = mechanic.get("/services/srv_1")
    assert page.status_code == 200
    assert "Take this record back" not in page.text


def test_a_sample_is_taken_back_likewise(mechanic):
    fields = {"compartment": "cmp_1", "taken_at": "2026-05-01T06:20", "lab-water_fraction": "1.5"}
    mechanic.fill(f"{VAN}/sample", "/vehicles/veh_1/sample", **fields)
    page = mechanic.get("/samples/smp_1").text.replace("\u00a0", " ")
    assert re.search(r"<dt>Water</dt><dd>1.5 %</dd>", page)
    answer = mechanic.fill("/samples/smp_1", "/samples/smp_1", reason="Wrong bottle")
    assert answer.headers["location"] == "/vehicles/veh_1?told=voided"
    assert mechanic.operator.get("/v1/samples/smp_1").json()["voided_at"] is not None
    assert "Wrong bottle" in mechanic.get(VAN).text


def test_a_value_that_has_reached_a_limit_is_said_at_once_and_on_its_record(mechanic):
    """5.6 against 7.2 mm2/s of the new fluid is a fall of 22 %: beyond the caution of 20 %, short of 25 %."""
    fields = {"compartment": "cmp_1", "taken_at": "2026-05-01T06:20"}
    fields |= {"lab-viscosity_100c_mm2_per_s": "5.6", "new-viscosity_100c_mm2_per_s": "7.2"}
    answer = mechanic.fill(f"{VAN}/sample", "/vehicles/veh_1/sample", **fields)
    assert answer.headers["location"] == "/samples/smp_1?told=sample_limit"
    page = mechanic.get(answer.headers["location"]).text.replace("\u00a0", " ")
    assert "A value has reached a limit" in page
    assert "Viscosity at 100 °C, 5.6 mm²/s: look after it." in page
    assert "from a change of 20 % against the new fluid, too far from 25 %" in page
    assert re.search(r"Life used by the estimate: \d+ % ± \d+ % before it, \d+ % ± \d+ % with it", page)
