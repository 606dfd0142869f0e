"""Which vehicle a machine seems to be, by the number that stands on it."""

from tests.api.test_machine_sources import XML, equipment_of, send, source

__all__ = ["source"]
VIN = "1M8GDM9AXKP042788"
"""The worked example of 49 CFR 565.15 for the check digit."""


def document(name: str, header: str) -> bytes:
    distance = (
        "<Distance datetime='2026-05-01T06:00:00Z'><OdometerKilometre>900</OdometerKilometre></Distance>"
    )
    named = f"<EquipmentHeader><EquipmentID>{name}</EquipmentID>{header}</EquipmentHeader>"
    return f"<Fleet><Equipment>{named}{distance}</Equipment></Fleet>".encode()


def tell(operator, source, name, header):
    path = f"/v1/machine-sources/{source}/documents"
    assert operator.post(path, headers=XML, content=document(name, header)).status_code == 200


def proposed(operator, source):
    return [one["proposed_vehicle"] for one in equipment_of(operator, source)]


def test_a_machine_with_the_number_of_a_vehicle_is_proposed_and_linked_by_a_person_alone(operator, source):
    tell(operator, source, "W-1", f"<PIN>{VIN.lower()[:11]} {VIN[11:]}</PIN>")
    assert proposed(operator, source) == [None], "no vehicle has it yet"
    assert operator.patch("/v1/vehicles/VAN-07", {"vin": VIN}).status_code == 200
    (machine,) = equipment_of(operator, source)
    assert (machine["vehicle"], machine["proposed_vehicle"]) == (None, "VAN-07")
    assert operator.get("/v1/vehicles/VAN-07/readings").json()["readings"] == []
    path = f"/v1/machine-sources/{source}/equipment/{machine['id']}"
    linked = operator.put(path, {"vehicle": machine["proposed_vehicle"]}).json()
    assert (linked["vehicle"], linked["proposed_vehicle"]) == ("VAN-07", None)


def test_a_serial_number_or_a_name_that_is_the_number_proposes_it_too(operator, source):
    operator.patch("/v1/vehicles/VAN-07", {"vin": VIN})
    tell(operator, source, "W-1", f"<SerialNumber>{VIN}</SerialNumber>")
    send(
        operator,
        source,
        (VIN, "2026-05-01T06:00:00Z", 900.0, None),
        ("W-2", "2026-05-01T06:00:00Z", 9.0, None),
    )
    assert proposed(operator, source) == ["VAN-07", "VAN-07", None]


def test_a_number_that_two_vehicles_have_or_a_retired_one_or_another_fleet_proposes_nothing(
    operator, source, join
):
    other = join("Other Invented")
    assert other.post("/v1/vehicles", {"vehicle": "X-1", "class": "van", "vin": VIN}).status_code == 201
    tell(operator, source, "W-1", f"<PIN>{VIN}</PIN>")
    assert proposed(operator, source) == [None]
    operator.patch("/v1/vehicles/VAN-07", {"vin": VIN})
    assert operator.post("/v1/vehicles", {"vehicle": "VAN-08", "class": "van", "vin": VIN}).status_code == 201
    assert proposed(operator, source) == [None]
    assert operator.delete("/v1/vehicles/VAN-08").status_code == 204
    assert proposed(operator, source) == ["VAN-07"]


def test_a_machine_is_no_vehicle_that_left_the_fleet(operator, source):
    """Nothing of what it sends could ever be stored."""
    tell(operator, source, "W-1", "")
    (machine,) = equipment_of(operator, source)
    path = f"/v1/machine-sources/{source}/equipment/{machine['id']}"
    key = operator.get("/v1/vehicles/VAN-07").json()["id"]
    assert operator.put(path, {"vehicle": "VAN-07"}).status_code == 200
    assert operator.delete("/v1/vehicles/VAN-07").status_code == 204
    assert operator.put(path, {"vehicle": key, "odometer_offset_km": 5.0}).status_code == 200, "as it was"
    assert operator.put(path, {"vehicle": None}).status_code == 200
    refused = operator.put(path, {"vehicle": key})
    assert refused.status_code == 409, refused.text
    assert "retired" in refused.json()["detail"]
    assert equipment_of(operator, source)[0]["vehicle"] is None
