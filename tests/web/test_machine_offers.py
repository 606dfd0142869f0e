"""What a page of machines offers: the vehicle that a number speaks for, and the offset that readings speak for."""

import re

import pytest

from tests.web.test_machines import document, meter_of, owner, source

__all__ = ["owner", "source"]


def offer(page, action):
    """Fields of the form whose button says so."""
    form = next(
        one for one in re.findall(r"<form.*?</form>", page, re.DOTALL) if f">{action}</button>" in one
    )
    pairs = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', form)
    return {name: value for name, value in pairs if name.startswith("eqp_")}


def test_a_machine_with_the_number_of_a_vehicle_is_linked_by_a_button(owner, source):
    assert "identification number of" not in owner.get(source).text
    owner.operator.patch("/v1/vehicles/VAN-01", {"vin": "BOX12"})
    fields = offer(owner.get(source).text, "It is VAN-01")
    assert owner.fill(source, f"{source}/eqp_1", **fields).status_code == 303
    assert (
        owner.operator.get("/v1/machine-sources/src_1/equipment").json()["equipment"][0]["vehicle"]
        == "VAN-01"
    )
    assert "identification number of" not in owner.get(source).text


@pytest.mark.parametrize(("unit", "shown"), [("km", "1\u202f000.0 km"), ("mi", "621.4 mi")])
def test_an_offset_that_readings_agree_on_is_set_by_a_button(owner, source, unit, shown):
    operator = owner.operator
    operator.patch("/v1/organisation", {"distance_unit": unit})
    vehicle = {"vehicle": "VAN-9", "class": "van"}
    assert operator.post("/v1/vehicles", vehicle).status_code == 201
    owner.fill(source, f"{source}/eqp_1", **{"eqp_1-vehicle": "VAN-9"})
    page = owner.get(source).text
    assert "taken for the dashboard’s, which nobody has checked" in page
    assert "last three readings" not in page
    days = (("04-27", 79_650.0), ("04-28", 79_750.0), ("04-29", 79_850.0))
    for day, km in days:
        assert operator.post("/v1/machine-sources/src_1/documents", document(day, km)).status_code == 200
    readings = [
        {"vehicle": "VAN-9", "taken_at": f"2026-{day}T05:30:00Z", "odometer": km + 1_000.0, "unit": "km"}
        for day, km in days
    ]
    assert operator.post("/v1/readings", {"readings": readings}).status_code == 200
    fields = offer(owner.get(source).text, f"Set {shown}")
    assert owner.fill(source, f"{source}/eqp_1", **fields).status_code == 303
    assert meter_of(owner)["offset"] == pytest.approx(1_000.0)
    assert meter_of(owner)["offset_origin"] == "set"
    page = owner.get(source).text
    assert "with an offset that was set by hand" in page
    assert "last three readings" not in page
