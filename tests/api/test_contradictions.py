"""Calls whose fields are each possible and together are not: refused at the field, and nothing is stored.

That a name looks like an id, a unit stands beside no value, or an order is larger than any store are own rules.
"""

import pytest

GEARBOX = {"compartment": "gearbox", "kind": "automatic_transmission_car", "fluid": "ATF-A"}
VOLUMES = {"total_litres": 9.0, "drainable_litres": 4.0}


@pytest.fixture
def fleet(operator):
    fluid = {"fluid": "ATF-A", "kind": GEARBOX["kind"], "packs": [{"litres": 20, "price_minor": 16_500}]}
    assert operator.post("/v1/fluids", fluid).status_code == 201
    assert operator.post("/v1/parts", {"part": "O-ring", "packs": [{"pieces": 500}]}).status_code == 201
    for van in ("VAN-1", "VAN-2"):
        assert operator.post("/v1/vehicles", {"vehicle": van, "class": "van"}).status_code == 201
        for more in ({}, {"compartment": "brakes", "kind": "brake_fluid", "fluid": None}):
            facts = GEARBOX | VOLUMES | more
            assert operator.post(f"/v1/vehicles/{van}/compartments", facts).status_code == 201
    return operator


def place_of(fleet, van, name="gearbox"):
    places = fleet.get(f"/v1/vehicles/{van}/compartments").json()["compartments"]
    return next(place["id"] for place in places if place["compartment"] == name)


def refused(answer, pointer, status=422):
    assert answer.status_code == status, answer.text
    told = {error["pointer"]: error["detail"] for error in answer.json()["errors"]}
    assert pointer in told, answer.text
    return told[pointer]


def sample(**more):
    return {"taken_at": "2026-05-01T10:00:00Z", "grade": "brown"} | more


def service(**work):
    rounds = [{"drained_litres": 4.0, "filled_litres": 4.0}]
    work = {"compartment": "gearbox", "rounds": rounds, "level_celsius": 40, **work}
    return {"vehicle": "VAN-1", "done_at": "2026-05-01T10:00:00Z", "compartments": [work]}


def test_a_sample_of_one_vehicle_is_not_taken_from_another_s_compartment(fleet):
    of_another = place_of(fleet, "VAN-2")
    for named in ("VAN-1", "VAN-9"):
        refused(fleet.post("/v1/samples", sample(vehicle=named, compartment=of_another)), "/vehicle")
    assert fleet.get("/v1/samples").json()["samples"] == []
    for named in ("VAN-2", None):
        body = sample(vehicle=named, compartment=of_another, grade="brown" if named else "black")
        assert fleet.post("/v1/samples", body).status_code == 201, body


def test_a_unit_that_stands_beside_no_value_is_told(fleet):
    """Passed over, a name mistyped there would make five parts in a hundred of five in ten thousand."""
    told = {"laboratory": {"water_fraction": 0.05}, "units": {"water": "%"}}
    answer = fleet.post("/v1/samples", sample(vehicle="VAN-1", compartment="gearbox") | told)
    assert "water_fraction" in refused(answer, "/units/water")
    told["units"] = {"water_fraction": "%"}
    answer = fleet.post("/v1/samples", sample(vehicle="VAN-1", compartment="gearbox") | told)
    assert answer.json()["laboratory"]["water_fraction"] == pytest.approx(0.0005)


@pytest.mark.parametrize(
    ("work", "pointer"),
    [
        ({"method": "line_exchange"}, "passed_litres"),
        ({"rounds": [{"drained_litres": 0.0, "filled_litres": 1.0}]}, "method"),
    ],
)
def test_a_method_is_what_was_done(fleet, work, pointer):
    """A top-up that is called a change would tick the line off and leave the old fluid in."""
    refused(fleet.post("/v1/services", service(**work)), f"/compartments/0/{pointer}")
    assert fleet.get("/v1/stock/movements").json()["movements"] == []


def test_a_compartment_s_name_is_its_own_and_no_id(fleet):
    path = f"/v1/compartments/{place_of(fleet, 'VAN-1', 'brakes')}"
    taken = fleet.patch(path, {"compartment": "gearbox"})
    assert taken.status_code == 409
    assert "VAN-1 has a compartment “gearbox” already" in taken.json()["detail"]
    other = place_of(fleet, "VAN-2")
    refused(fleet.patch(path, {"compartment": other}), "/compartment")
    refused(fleet.post("/v1/vehicles/VAN-1/compartments", GEARBOX | {"compartment": other}), "/compartment")
    assert fleet.patch(path, {"compartment": "brakes"}).status_code == 200


@pytest.mark.parametrize(
    ("item", "most"),
    [
        ({"fluid": "ATF-A", "packs": [{"litres": 20}]}, 50_000),
        ({"part": "O-ring", "packs": [{"pieces": 500}]}, 2_000),
    ],
)
def test_an_order_is_no_larger_than_what_can_be_received(fleet, item, most):
    def ordered(count):
        packs = [{**item["packs"][0], "count": count, "price_minor": 100}]
        return fleet.post("/v1/purchase-orders", {**item, "packs": packs, "state": "placed"})

    refused(ordered(most + 1), "/packs/0/count")
    order = ordered(most)
    assert order.status_code == 201, order.text
    received = fleet.post(f"/v1/purchase-orders/{order.json()['id']}/receive")
    assert received.status_code == 200, received.text
    assert received.json()["state"] == "received"


def test_only_a_receipt_comes_in_packs(fleet):
    entry = {"fluid": "ATF-A", "litres": 20.0, "pack_litres": 20.0}
    refused(fleet.post("/v1/stock/movements", entry | {"kind": "count"}), "/pack_litres")
    assert fleet.post("/v1/stock/movements", entry | {"kind": "receipt"}).status_code == 201


def test_readings_that_come_later_and_speak_against_the_last_service_are_told_of(fleet):
    """Who registers a fleet tells of the last service first, and sends the readings of years then."""
    path = f"/v1/compartments/{place_of(fleet, 'VAN-1')}"
    told = {"last_service_on": "2026-02-01", "last_service_odometer_km": 240_500.0}
    assert fleet.patch(path, told).status_code == 200
    assert fleet.get(path).json()["warnings"] == []
    readings = [
        {
            "vehicle": "VAN-1",
            "taken_at": f"2026-0{month}-03T08:00:00Z",
            "odometer": 20_000.0 + 1_000.0 * month,
        }
        for month in range(1, 5)
    ]
    assert fleet.post("/v1/readings", {"readings": readings}).json()["accepted"] == 4
    (warning,) = fleet.get(path).json()["warnings"]
    for part in ("240,500", "22,000", "2026-02-03", "last_service_odometer_km"):
        assert part in warning
    listed = fleet.get("/v1/vehicles/VAN-1/compartments").json()["compartments"]
    assert [one["warnings"] for one in listed] == [[warning], []]
    schedule = "schedule_since_odometer_km"
    assert fleet.get(f"{path}/history").json()["steps"][-1]["after"][schedule] == pytest.approx(
        22_000.0, abs=100
    )
    fleet.patch(path, {"interval_km": 2_500})
    (gearbox,) = fleet.get("/v1/vehicles/VAN-1/projection").json()["compartments"][:1]
    assert gearbox["probability_by_limit"]["distance"] > 0.9
    right = fleet.patch(path, {"last_service_odometer_km": 21_950.0})
    assert (right.status_code, right.json()["warnings"]) == (200, [])
    assert fleet.get(f"{path}/history").json()["steps"][-1]["after"][schedule] == 21_950.0


def test_what_was_told_before_a_service_on_record_is_no_longer_doubted(fleet):
    path = f"/v1/compartments/{place_of(fleet, 'VAN-1')}"
    told = {"last_service_on": "2026-02-01", "last_service_odometer_km": 240_500.0}
    assert fleet.patch(path, told).status_code == 200
    reading = {"vehicle": "VAN-1", "taken_at": "2026-02-03T08:00:00Z", "odometer": 22_000.0}
    assert fleet.post("/v1/readings", {"readings": [reading]}).json()["accepted"] == 1
    assert len(fleet.get(path).json()["warnings"]) == 1
    assert fleet.post("/v1/services", service()).status_code == 201
    assert fleet.get(path).json()["warnings"] == []


def test_the_last_service_was_at_no_more_than_a_later_reading_shows(fleet):
    """A digit too many would put the next service off; a reading of the same day may have come before the work."""
    rows = [("2026-02-01", 24_000.0, 600.0), ("2026-02-02", 24_090.0, 602.0), ("2026-04-01", 29_000.0, 740.0)]
    readings = [
        {"vehicle": "VAN-1", "taken_at": f"{day}T08:00:00Z", "odometer": km, "engine_hours": hours}
        for day, km, hours in rows
    ]
    assert fleet.post("/v1/readings", {"readings": readings}).json()["accepted"] == 3
    path = f"/v1/compartments/{place_of(fleet, 'VAN-1')}"
    told = {"last_service_on": "2026-02-01", "last_service_odometer_km": 240_500.0}
    assert "2026-02-02" in refused(fleet.patch(path, told), "/last_service_odometer_km")
    new = GEARBOX | told | {"compartment": "another"}
    refused(fleet.post("/v1/vehicles/VAN-1/compartments", new), "/last_service_odometer_km")
    hours = {"last_service_on": "2026-02-01", "last_service_engine_hours": 6_010.0}
    refused(fleet.patch(path, hours), "/last_service_engine_hours")
    right = {"last_service_on": "2026-02-01", "last_service_odometer_km": 24_050.0}
    assert fleet.patch(path, right).status_code == 200
    # After the last reading nothing speaks against a number.
    later = {"last_service_on": "2026-04-20", "last_service_odometer_km": 30_500.0}
    assert fleet.patch(path, later).status_code == 200
    assert fleet.patch(path, {"interval_km": 50_000}).status_code == 200
