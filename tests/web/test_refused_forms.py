"""A refused form says what is wrong at the field, leads there, and keeps what was typed."""

import re

import pytest

from tests.web.conftest import token_in
from tests.web.page_examples import furnish
from tests.web.test_every_form import SETTINGS, VEHICLE
from tests.web.test_nonsense_in_forms import leads_to_its_first_mark

DEPOT = {f"minutes-{day}": "480" for day in range(1, 8)}
BOXLESS = {name: value for name, value in VEHICLE.items() if not name.startswith("weekday-")}


@pytest.fixture
def owner(workshop, fleet):
    furnish(workshop.operator)
    return workshop.come_in()


def refused(workshop, path: str, **fields: str) -> str:
    token = token_in(workshop.get("/password").text)
    answer = workshop.send(path, fields | {"form_token": token, "form_id": f"refused {path} {fields}"})
    assert answer.status_code == 422, answer.text
    return answer.text


@pytest.mark.parametrize(
    ("path", "fields", "field"),
    [
        ("/settings/depots/dep_1", DEPOT | {"minutes-2": "all day"}, "minutes-2"),
        ("/settings/depots/dep_1", DEPOT | {"holiday_region": "Atlantis"}, "holiday_region"),
        ("/settings/depots/dep_1", DEPOT | {"closed_on": "Christmas"}, "closed_on"),
        ("/settings/depots/dep_1", DEPOT | {"capacity": "plenty"}, "capacity"),
        ("/settings/depots/dep_1", DEPOT | {"capacity-coolant": "plenty"}, "capacity-coolant"),
        ("/settings", SETTINGS | {"currency": "money"}, "currency"),
        ("/vehicles/new", VEHICLE | {"in_service_on": "soon"}, "in_service_on"),
        ("/stock/movements", {"item": "fluid:Red Seven", "kind": "receipt", "litres": "some"}, "litres"),
    ],
)
def test_the_message_stands_at_the_field_with_what_was_typed(owner, path, fields, field):
    page = refused(owner, path, **fields)
    assert f'href="#{field}">To the first mark' in page
    assert page.count(f'id="{field}"') == page.count(f'id="{field}-error"') == 1
    typed = fields[field]
    assert re.search(rf'id="{field}"[^>]*?(value="{re.escape(typed)}"|>\s*{re.escape(typed)})', page)


@pytest.mark.parametrize("typed", ["84,210", "84.210", " 1,000"])
@pytest.mark.parametrize(
    ("path", "fields", "field"),
    [
        ("/vehicles/VAN-01/readings", {"unit": "km", "taken_at": ""}, "odometer"),
        ("/stock/movements", {"item": "fluid:Red Seven", "kind": "receipt"}, "litres"),
        ("/vehicles/VAN-01/compartments/new", {"kind": "axle"}, "interval_km"),
    ],
)
def test_a_mark_that_may_part_thousands_is_not_taken_for_decimals(owner, path, fields, field, typed):
    """84,210 is eighty-four thousand to an English reader and 84.21 to a German one."""
    page = refused(owner, path, **fields, **{field: typed})
    assert f'id="{field}-error">Thousands or decimals?' in page


@pytest.mark.parametrize("typed", ["84210", "84 210", "84\u202f210", "84210.5", "84210,5"])
def test_a_number_that_is_clear_is_taken(owner, typed):
    when = {"unit": "km", "taken_at": "2026-05-01T06:00"}
    sent = owner.fill("/vehicles/VAN-01", "/vehicles/veh_1/readings", odometer=typed, **when)
    assert "told=" in sent.headers["location"]
    readings = owner.operator.get("/v1/vehicles/VAN-01/readings").json()["readings"]
    assert readings[-1]["odometer"] == (84_210.5 if "5" in typed else 84_210)


@pytest.mark.parametrize(
    ("path", "fields"),
    [("/vehicles/new", BOXLESS), ("/settings/tokens", {"name": "gateway"})],
)
def test_where_a_box_is_missing_the_link_leads_to_the_boxes(owner, path, fields):
    page = refused(owner, path, **fields)
    assert "To the first mark" in page
    assert leads_to_its_first_mark(page)


def test_the_expiry_of_what_has_come_is_told_at_its_own_order(owner):
    assert owner.fill("/stock", "/orders", packs="20.0=1").status_code == 303
    (key,) = (one["id"] for one in owner.operator.get("/v1/purchase-orders").json()["orders"])
    page = refused(owner, f"/orders/{key}", **{"do": "receive", f"{key}-expires_on": "9999-12-31"})
    assert page.count(f'id="{key}-expires_on-error"') == 1
    assert re.search(rf'id="{key}-expires_on"[^>]*value="9999-12-31"', page)
    assert 'id="expires_on-error"' not in page
