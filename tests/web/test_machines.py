"""Sources of machine data on pages: made, linked, ended."""

import re

import pytest

from service.domain.roles import Role

SOURCES = "/settings/machines"
DOCUMENT = {
    "Equipment": [
        {
            "EquipmentHeader": {"EquipmentID": "box 12"},
            "Distance": {
                "datetime": "2026-05-01T05:30:00Z",
                "OdometerUnits": "kilometre",
                "Odometer": 79950.0,
            },
        }
    ]
}


@pytest.fixture
def owner(workshop, fleet):
    return workshop.come_in()


@pytest.fixture
def source(owner):
    made = owner.fill(SOURCES, SOURCES, name="Box of vans")
    assert made.status_code == 200
    secret = re.search(r"<code>([^<]+)</code>", made.text)[1]
    assert made.headers["cache-control"] == "no-store"
    assert secret not in owner.get(SOURCES).text
    answer = owner.operator.post("/v1/machine-sources/src_1/documents", DOCUMENT)
    assert answer.status_code == 200, answer.text
    return f"{SOURCES}/src_1"


def test_a_machine_is_said_to_be_a_vehicle(owner, source):
    page = owner.get(source).text
    assert "box 12" in page
    assert "not yet compared with the dashboard" in page
    linked = owner.fill(source, f"{source}/eqp_1", vehicle="VAN-01")
    assert linked.headers["location"] == f"{source}?told=machine_linked"
    assert 'value="VAN-01"' in owner.get(source).text
    equipment = owner.operator.get("/v1/machine-sources/src_1/equipment").json()["equipment"]
    assert equipment[0]["vehicle"] == "VAN-01"
    owner.fill(source, f"{source}/eqp_1", vehicle="")
    assert owner.operator.get("/v1/machine-sources/src_1/equipment").json()["equipment"][0]["vehicle"] is None


def test_a_number_that_nobody_has_is_told_and_kept(owner, source):
    answer = owner.fill(source, f"{source}/eqp_1", vehicle="VAN-99")
    assert answer.status_code == 422
    assert "No vehicle has the number VAN-99." in answer.text
    assert 'value="VAN-99"' in answer.text


def test_names_are_taken_once_and_an_ended_source_has_no_buttons(owner, source):
    assert owner.fill(SOURCES, SOURCES, name="Box of vans").status_code == 409
    assert owner.fill(source, source, do="pull").status_code == 409
    assert owner.fill(source, source, do="end").status_code == 303
    assert 'value="end"' not in owner.get(source).text
    assert owner.operator.post("/v1/machine-sources/src_1/documents", DOCUMENT).status_code == 409


def test_sources_of_others_are_not_there_and_planners_may_not(owner, source, join):
    owner.come_in("eve", organisation_id=join("Other Invented").organisation_id)
    assert owner.get(source).status_code == 404
    owner.come_in("paul", Role.PLANNER)
    assert owner.get(SOURCES).status_code == 403
