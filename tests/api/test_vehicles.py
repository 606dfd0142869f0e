"""Vehicles and compartments through the API."""

import pytest

VAN = {"vehicle": "VAN-07", "class": "van", "depot": "North"}


def test_a_vehicle_is_found_by_its_own_number_and_by_its_id(operator):
    created = operator.post("/v1/vehicles", VAN)
    assert created.status_code == 201, created.text
    assert created.headers["Location"] == "/v1/vehicles/VAN-07"
    by_number = operator.get("/v1/vehicles/VAN-07").json()
    by_id = operator.get(f"/v1/vehicles/{created.json()['id']}").json()
    assert by_number == by_id == created.json()


def test_what_was_sent_comes_back_under_the_same_names(operator):
    body = operator.post("/v1/vehicles", VAN).json()
    assert {name: body[name] for name in VAN} == VAN


def test_a_number_in_use_is_refused_and_free_again_after_the_vehicle_retired(operator):
    operator.post("/v1/vehicles", VAN)
    again = operator.post("/v1/vehicles", VAN)
    assert again.status_code == 409
    assert again.json()["type"] == "/problems/duplicate"
    assert operator.delete("/v1/vehicles/VAN-07").status_code == 204
    assert operator.post("/v1/vehicles", VAN).status_code == 201


def test_vehicles_are_listed_a_page_at_a_time_along_the_link_header(operator):
    for number in range(5):
        operator.post("/v1/vehicles", VAN | {"vehicle": f"VAN-{number}"})
    seen, path = [], "/v1/vehicles?limit=2"
    while path:
        page = operator.get(path)
        seen += [vehicle["vehicle"] for vehicle in page.json()["vehicles"]]
        path = page.links.get("next", {}).get("url")
    assert seen == [f"VAN-{number}" for number in range(5)]


@pytest.mark.parametrize("number", ["Łódź 1", "СА 1234 ВР", "50% #1?", "B-XY 123"])
def test_links_and_problems_hold_an_address_whatever_the_number_is_written_in(operator, number):
    """RFC 8288, 3.1 and RFC 9457, 3.1.5: a link's target and a problem's instance are URI references."""
    created = operator.post("/v1/vehicles", VAN | {"vehicle": number})
    address = created.headers["Location"]
    rows = [
        {"vehicle": number, "taken_at": f"2026-04-0{day}T08:00:00Z", "odometer": 1000 + day}
        for day in (1, 2, 3)
    ]
    assert operator.post("/v1/readings", {"readings": rows}).json()["accepted"] == 3
    seen, path = [], f"{address}/readings?limit=2"
    while path:
        page = operator.get(path)
        assert page.status_code == 200, page.text
        seen += [reading["odometer"] for reading in page.json()["readings"]]
        path = page.links.get("next", {}).get("url")
        assert path is None or path.startswith(f"{address}/readings?")
    assert seen == [1001, 1002, 1003]
    refused = operator.post(f"{address}/compartments", {"kind": "gearbox"})
    assert refused.json()["instance"] == f"{address}/compartments"


@pytest.mark.parametrize("number", ["1_0", "%2B5", "5.0", "%205", "٥", "0x5", "-1", "0", "501", "9" * 30, ""])
@pytest.mark.parametrize("address", ["vehicles?limit=", "stock/forecast?weeks=", "audit?object_number="])
def test_a_number_in_an_address_is_plain_digits(operator, address, number):
    if number == "501" and "object_number" in address:
        number = "9" * 20
    answer = operator.get(f"/v1/{address}{number}")
    assert answer.status_code == 422, answer.text
    assert answer.json()["errors"]
    assert operator.get(f"/v1/{address}7").status_code == 200


@pytest.mark.parametrize("number", [2**31 - 1, 2**31, 2**63 - 1, 2**63])
def test_an_id_larger_than_any_key_is_nobody_s(operator, number):
    for address in (f"vehicles/veh_{number}", f"services/srv_{number}", f"due-list-lines/lin_{number}"):
        assert operator.get(f"/v1/{address}").status_code == 404, address
    answer = operator.get(f"/v1/audit?object_number={number}")
    assert answer.status_code == (200 if number < 2**63 else 422)
    assert number < 2**63 or answer.json()["errors"]


def test_what_a_compartment_leaves_open_is_filled_from_its_fluid_kind(operator):
    operator.post("/v1/vehicles", VAN)
    created = operator.post(
        "/v1/vehicles/VAN-07/compartments", {"kind": "automatic_transmission_car", "total_litres": 9.0}
    )
    assert created.status_code == 201, created.text
    body = created.json()
    assert body["id"].startswith("cmp_")
    assert body["drainable_litres"] == 4.05  # 0.45 of the whole: common practice, no source
    assert (body["level_min_celsius"], body["level_max_celsius"]) == (35, 45)
    assert operator.get(f"/v1/compartments/{body['id']}").json() == body


def test_an_edit_of_something_stale_is_refused(operator):
    operator.post("/v1/vehicles", VAN)
    tag = operator.get("/v1/vehicles/VAN-07").headers["ETag"]
    assert (
        operator.patch("/v1/vehicles/VAN-07", {"duty": "severe"}, headers={"If-Match": tag}).status_code
        == 200
    )
    stale = operator.patch("/v1/vehicles/VAN-07", {"duty": "mixed"}, headers={"If-Match": tag})
    assert stale.status_code == 412
    assert operator.get("/v1/vehicles/VAN-07").json()["duty"] == "severe"


def test_a_read_that_the_client_has_already_is_not_sent_again(operator):
    operator.post("/v1/vehicles", VAN)
    tag = operator.get("/v1/vehicles/VAN-07").headers["ETag"]
    again = operator.get("/v1/vehicles/VAN-07", headers={"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")


def test_the_same_keyed_call_registers_once(operator):
    first = operator.post("/v1/vehicles", VAN, headers={"Idempotency-Key": "k1"})
    second = operator.post("/v1/vehicles", VAN, headers={"Idempotency-Key": "k1"})
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json() == second.json()
    assert second.headers["Idempotency-Replayed"] == "true"
    other = operator.post("/v1/vehicles", VAN | {"vehicle": "VAN-08"}, headers={"Idempotency-Key": "k1"})
    assert other.status_code == 422


def test_another_organisation_s_vehicle_does_not_exist(operator, join):
    operator.post("/v1/vehicles", VAN)
    vehicle_id = operator.get("/v1/vehicles/VAN-07").json()["id"]
    stranger = join("Another Invented Operator")
    for reference in ("VAN-07", vehicle_id, "veh_999999"):
        answer = stranger.get(f"/v1/vehicles/{reference}")
        assert answer.status_code == 404
        assert answer.json()["detail"] == "There is no vehicle with this number or id."


def test_a_vehicle_identification_number_is_taken_as_people_write_it_and_looked_at(operator):
    """49 CFR 565.15 has 1M8GDM9AXKP042788 as its example; machines and old vehicles have shorter ones."""
    body = {"vehicle": "VAN-1", "class": "van", "vin": "1m8gd m9ax-kp042788"}
    made = operator.post("/v1/vehicles", body).json()
    assert (made["vin"], made["warnings"]) == ("1M8GDM9AXKP042788", [])
    short = operator.patch("/v1/vehicles/VAN-1", {"vin": "serial 9"}, headers={"If-Match": "*"})
    assert (short.status_code, short.json()["vin"]) == (200, "SERIAL9"), short.text
    assert "this one has 7" in short.json()["warnings"][0]
    long = operator.post("/v1/vehicles", {"vehicle": "VAN-2", "class": "van", "vin": "1M8GDM9AXKP0427889"})
    assert long.status_code == 422
    assert "pattern" not in long.text
    assert "17" in long.json()["errors"][0]["detail"]


def test_two_vehicles_with_one_identification_number_are_told_of_each_other_and_of_no_one_who_left(
    operator, join
):
    """A vehicle that left and comes back is registered anew, and keeps the number on its plate."""
    vin = "1M8GDM9AXKP042788"
    made = [
        someone.post("/v1/vehicles", {"vehicle": name, "class": "van", "vin": vin}).json()
        for someone, name in ((join("Others"), "VAN-9"), (operator, "VAN-1"), (operator, "VAN-2"))
    ]
    assert [one["warnings"] for one in made[:2]] == [[], []]
    assert "VAN-1" in made[2]["warnings"][0]
    first = operator.get("/v1/vehicles/VAN-1")
    assert "VAN-2" in first.json()["warnings"][0]
    operator.post("/v1/vehicles", {"vehicle": "VAN-3", "class": "van", "vin": "1M8GDM9AXKP042789"})
    mistyped = operator.patch("/v1/vehicles/VAN-3", {"vin": vin}).json()
    assert "VAN-1, VAN-2" in mistyped["warnings"][0]
    assert "VAN-2, VAN-3" in operator.get("/v1/vehicles/VAN-1").json()["warnings"][0]
    for name in ("VAN-2", "VAN-3"):
        assert operator.delete(f"/v1/vehicles/{name}").status_code == 204
    assert operator.get("/v1/vehicles/VAN-1").json()["warnings"] == []
