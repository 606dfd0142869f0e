"""Seals and washers: kept by the piece, drawn by services, forecast and ordered with the fluids."""

from datetime import timedelta

import pytest

from tests.service_fixtures import START

WASHER = {
    "part": "drain plug washer",
    "lead_time_days": 5,
    "lead_time_sd_days": 0,
    "packs": [{"pieces": 10, "price_minor": 300}, {"pieces": 50, "price_minor": 1000}],
}
OIL = {
    "fluid": "OIL-B",
    "kind": "engine_oil_diesel_light",
    "lead_time_days": 5,
    "lead_time_sd_days": 0,
    "opened_shelf_life_days": 30,
    "packs": [{"litres": 20, "price_minor": 8000}],
}
ENGINE = {
    "compartment": "engine",
    "kind": "engine_oil_diesel_light",
    "fluid": "OIL-B",
    "total_litres": 6.5,
    "drainable_litres": 6.0,
    "interval_months": 12,
    "last_service_on": "2024-01-01",
    "seals": [{"part": "drain plug washer", "pieces": 2}],
}


@pytest.fixture
def shop(operator):
    """Two vans whose oil was due long ago; each change takes 6 litres and two washers."""
    for path, body in (("parts", WASHER), ("fluids", OIL)):
        answer = operator.post(f"/v1/{path}", body)
        assert answer.status_code == 201, answer.text
    for van in ("VAN-1", "VAN-2"):
        operator.post("/v1/vehicles", {"vehicle": van, "class": "van", "depot": "North"})
        assert operator.post(f"/v1/vehicles/{van}/compartments", ENGINE).status_code == 201
    return operator


def move(shop, kind, pieces, **facts):
    body = {"part": "drain plug washer", "kind": kind, "pieces": pieces} | facts
    return shop.post("/v1/stock/movements", body)


def on_shelf(shop):
    (line,) = shop.get("/v1/stock").json()["parts"]
    return line


def serve(shop, van, **facts):
    work = {"compartment": "engine", "rounds": [{"drained_litres": 6.0, "filled_litres": 6.0}]}
    body = {"vehicle": van, "done_at": START.isoformat(), "compartments": [work | facts]}
    answer = shop.post("/v1/services", body)
    assert answer.status_code == 201, answer.text
    return answer.json()


def test_overdue_jobs_need_their_washers_and_the_plan_orders_whole_packs(shop):
    """Two jobs of two washers, overdue for a year: four with certainty; one pack of 10 is cheapest."""
    (part,) = shop.get("/v1/stock/forecast?weeks=4").json()["parts"]
    assert part["total"] == {"mean": 4.0, "p10": 4.0, "p50": 4.0, "p90": 4.0}
    assert part["weeks"][0]["run_out_probability"] == 1.0
    body = shop.get("/v1/stock/order-plan?weeks=4").json()
    (plan,) = body["parts"]
    (order,) = plan["orders"]
    assert (plan["status"], order["packs"], order["pieces"]) == ("order", [{"pieces": 10, "count": 1}], 10)
    assert (order["order_by"], order["arrives_on"]) == ("2026-05-04", "2026-05-11")
    fluid_costs = sum(one["cost_minor"] for one in body["fluids"][0]["orders"])
    assert body["cost_minor"] == fluid_costs + order["cost_minor"]
    assert body["parts_not_kept"] == []


def test_a_part_that_jobs_need_and_nobody_keeps_is_named(shop):
    """A part can only be ordered when it is known in which packs it is sold."""
    other = ENGINE | {"compartment": "engine 2", "seals": [{"part": "filter ring", "pieces": 1}]}
    shop.post("/v1/vehicles/VAN-1/compartments", other)
    assert shop.get("/v1/stock/order-plan?weeks=4").json()["parts_not_kept"] == ["filter ring"]


def test_an_order_of_parts_is_placed_and_received_in_part_and_lands_in_the_ledger(shop):
    body = {"part": "drain plug washer", "packs": [{"pieces": 10, "count": 3}], "state": "placed"}
    order = shop.post("/v1/purchase-orders", body).json()
    assert (order["pieces"], order["litres"], order["cost_minor"]) == (30, None, 900)
    assert on_shelf(shop)["on_order_pieces"] == 30
    came = {"packs": [{"pieces": 10, "count": 2}]}
    order = shop.post(f"/v1/purchase-orders/{order['id']}/receive", came).json()
    assert (order["state"], order["outstanding_pieces"]) == ("placed", 10)
    line = on_shelf(shop)
    assert (line["pieces"], line["on_order_pieces"]) == (20, 10)
    (entry,) = shop.get("/v1/stock/movements?part=drain plug washer").json()["movements"]
    assert (entry["part"], entry["pieces"], entry["order"]) == ("drain plug washer", 20, order["id"])
    (listed,) = shop.get("/v1/purchase-orders?part=drain plug washer").json()["orders"]
    assert listed["id"] == order["id"]


def test_a_seal_that_is_changed_without_a_number_is_one_piece_wherever_it_is_counted(shop):
    (engine,) = shop.get("/v1/vehicles/VAN-1/compartments").json()["compartments"]
    answer = shop.patch(f"/v1/compartments/{engine['id']}", {"seals": [{"part": "filter ring"}]})
    assert answer.json()["seals"] == [{"part": "filter ring", "pieces": 1}]
    for path in ("stock/forecast", "stock/order-plan", "due-lists/current", "due-lists/current.pdf"):
        assert shop.get(f"/v1/{path}").status_code == 200, path
    forecast = shop.get("/v1/stock/forecast?weeks=4").json()
    (ring,) = [one for one in forecast["seals"] if one["part"] == "filter ring"]
    assert ring["total"]["mean"] == 1


def test_a_service_that_renewed_its_seals_draws_them_and_voiding_it_puts_them_back(shop):
    move(shop, "receipt", 10)
    serve(shop, "VAN-1", seals_renewed=False)
    assert on_shelf(shop)["pieces"] == 10
    service = serve(shop, "VAN-2", seals_renewed=True)
    assert on_shelf(shop)["pieces"] == 8
    assert shop.delete(f"/v1/services/{service['id']}").status_code in {200, 204}
    assert on_shelf(shop)["pieces"] == 10


def test_counts_corrections_and_discards_are_entries_in_pieces(shop):
    move(shop, "receipt", 40)
    move(shop, "discarded", 3)
    counted = move(shop, "count", 35).json()
    assert (counted["pieces"], counted["counted_pieces"], counted["litres"]) == (-2, 35, None)
    move(shop, "correction", -5)
    assert on_shelf(shop)["pieces"] == 30


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"part": "drain plug washer", "kind": "receipt", "litres": 3}, "/pieces"),
        ({"fluid": "OIL-B", "kind": "receipt", "pieces": 3}, "/litres"),
        ({"part": "drain plug washer", "kind": "receipt", "pieces": 3, "litres": 3}, "/pieces"),
        ({"part": "drain plug washer", "fluid": "OIL-B", "kind": "receipt", "pieces": 3}, "/fluid"),
        ({"kind": "receipt", "pieces": 3}, "/fluid"),
        ({"part": "nobody's", "kind": "receipt", "pieces": 3}, "/part"),
        ({"part": "drain plug washer", "kind": "receipt", "pieces": 0}, "/pieces"),
        ({"part": "drain plug washer", "kind": "used", "pieces": 3}, "/pieces"),
    ],
)
def test_an_entry_that_cannot_be_right_is_refused_with_the_field(shop, body, pointer):
    answer = shop.post("/v1/stock/movements", body)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"packs": [{"pieces": 0}]}, "/packs/0/pieces"),
        ({"packs": [{"pieces": 2.5}]}, "/packs/0/pieces"),
        ({"packs": [{"pieces": 10}, {"pieces": 10}]}, "/packs"),
        ({"lead_time_days": -1}, "/lead_time_days"),
        ({"room_pieces": 0}, "/room_pieces"),
        ({"service_level": 1.0}, "/service_level"),
    ],
)
def test_terms_that_nobody_can_order_on_are_refused(shop, body, pointer):
    answer = shop.patch("/v1/parts/drain plug washer", body)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer)


def test_a_part_s_name_is_used_once(shop):
    assert shop.post("/v1/parts", WASHER).status_code == 409
    (part,) = shop.get("/v1/parts").json()["parts"]
    assert (part["part"], [pack["pieces"] for pack in part["packs"]]) == ("drain plug washer", [10, 50])


def test_a_slow_mover_that_no_job_asks_for_is_forecast_from_its_own_history(shop, clock):
    """Four pieces once a month for half a year is nearly one a week: more than nothing, at most what months took."""
    shop.post("/v1/parts", {"part": "rare ring", "packs": [{"pieces": 5, "price_minor": 500}]})
    shop.post("/v1/stock/movements", {"part": "rare ring", "kind": "receipt", "pieces": 60})
    for month in range(1, 7):
        at = (START - timedelta(weeks=4 * month)).isoformat()
        shop.post("/v1/stock/movements", {"part": "rare ring", "kind": "count", "pieces": 60, "at": at})
        clock.advance(timedelta(seconds=1))
    for month in range(6):
        at = (START - timedelta(weeks=4 * month, days=1)).isoformat()
        answer = shop.post(
            "/v1/stock/movements", {"part": "rare ring", "kind": "used", "pieces": 4, "at": at}
        )
        assert answer.status_code == 201, answer.text
    parts = {part["part"]: part for part in shop.get("/v1/stock/forecast?weeks=12").json()["parts"]}
    assert parts["drain plug washer"]["total"]["mean"] == 4.0
    assert 6.0 < parts["rare ring"]["total"]["mean"] < 18.0


def test_what_is_left_of_an_opened_pack_expires_earlier_and_is_used_first(shop, clock):
    """Two packs of 20 litres; a change takes 6. The 14 litres left of the first keep 30 days, not five years."""
    body = {"fluid": "OIL-B", "packs": [{"litres": 20, "count": 2}], "state": "placed"}
    order = shop.post("/v1/purchase-orders", body).json()
    came = {"expires_on": "2031-05-01", "at": START.isoformat()}
    assert shop.post(f"/v1/purchase-orders/{order['id']}/receive", came).status_code == 200
    clock.advance(timedelta(hours=1))
    serve(shop, "VAN-1")
    (line,) = shop.get("/v1/stock").json()["fluids"]
    assert line["lots"] == [
        {"expires_on": "2026-06-03", "litres": 14.0, "is_open": True},
        {"expires_on": "2031-05-01", "litres": 20.0, "is_open": False},
    ]
    clock.advance(timedelta(days=25))
    (line,) = shop.get("/v1/stock").json()["fluids"]
    assert line["warnings"] == ["14 litres of opened packs are close to their expiry: use them first."]
    clock.advance(timedelta(days=10))
    (line,) = shop.get("/v1/stock").json()["fluids"]
    assert line["expired_litres"] == 14.0
    assert line["warnings"][0].startswith("14 litres of opened packs have expired")


def test_another_organisation_s_part_is_unknown(shop, join):
    other = join("Other Haulage")
    assert other.patch("/v1/parts/drain plug washer", {"lead_time_days": 1}).status_code == 404
    assert other.get("/v1/parts").json() == {"parts": []}


def test_what_may_be_left_open_is_taken_away_by_null_and_the_rest_is_not(operator):
    fluid = {"fluid": "Red Seven", "kind": "axle", "tank_litres": 500.0, "shelf_life_days": 900}
    operator.post("/v1/fluids", fluid)
    operator.post("/v1/parts", {"part": "washer", "room_pieces": 40})
    changed = operator.patch("/v1/fluids/Red Seven", {"tank_litres": None, "shelf_life_days": None}).json()
    assert (changed["tank_litres"], changed["shelf_life_days"]) == (None, None)
    assert operator.patch("/v1/parts/washer", {"room_pieces": None}).json()["room_pieces"] is None
    for path in ("/v1/fluids/Red Seven", "/v1/parts/washer"):
        for name in ("lead_time_days", "service_level", "packs"):
            answer = operator.patch(path, {name: None})
            assert answer.status_code == 422
            assert answer.json()["errors"][0]["pointer"] == f"/{name}"


def test_an_edit_of_a_stale_article_is_refused(operator):
    operator.post("/v1/fluids", {"fluid": "Red Seven", "kind": "axle"})
    operator.post("/v1/parts", {"part": "washer"})
    for path in ("/v1/fluids/Red Seven", "/v1/parts/washer"):
        tag = operator.get(path).headers["ETag"]
        fresh = operator.patch(path, {"lead_time_days": 9}, headers={"If-Match": tag})
        assert fresh.status_code == 200
        assert operator.get(path).json()["lead_time_days"] == 9
        assert operator.patch(path, {"lead_time_days": 2}, headers={"If-Match": tag}).status_code == 412
