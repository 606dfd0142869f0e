"""Purchase orders through the API."""

from concurrent.futures import ThreadPoolExecutor

import pytest

ATF = {
    "fluid": "ATF-A",
    "kind": "automatic_transmission_car",
    "lead_time_days": 7,
    "shelf_life_days": 1000,
    "packs": [
        {"litres": 20, "price_minor": 16500, "price_breaks": [{"from_packs": 10, "price_minor": 15900}]},
        {"litres": 208},
    ],
}
THREE = {"fluid": "ATF-A", "packs": [{"litres": 20, "count": 3}]}


@pytest.fixture
def shop(operator):
    assert operator.post("/v1/fluids", ATF).status_code == 201
    return operator


@pytest.fixture
def order(shop):
    answer = shop.post("/v1/purchase-orders", THREE)
    assert answer.status_code == 201, answer.text
    return answer.json()


def stock_line(shop):
    (line,) = shop.get("/v1/stock").json()["fluids"]
    return line


def test_an_order_is_planned_placed_and_received_in_parts(shop, order, clock):
    path = f"/v1/purchase-orders/{order['id']}"
    assert (order["state"], order["placed_on"], order["expected_on"]) == ("planned", None, "2026-05-11")
    assert (order["litres"], order["cost_minor"]) == (60, 49500)
    assert stock_line(shop)["on_order_litres"] == 0
    placed = shop.post(f"{path}/place").json()
    assert (placed["state"], placed["placed_on"]) == ("placed", "2026-05-04")
    assert stock_line(shop)["on_order_litres"] == 60

    part = shop.post(f"{path}/receive", {"packs": [{"litres": 20, "count": 1}]}).json()
    assert (part["state"], part["outstanding_litres"]) == ("placed", 40)
    line = stock_line(shop)
    assert (line["litres"], line["on_order_litres"]) == (20, 40)
    assert line["next_expiry_on"] == "2029-01-28"  # 1,000 days after 4 May 2026

    rest = shop.post(f"{path}/receive", {"expires_on": "2028-12-31", "note": "tins dented"}).json()
    assert (rest["state"], rest["outstanding_litres"]) == ("received", 0)
    assert shop.get(path).json() == rest
    entries = shop.get("/v1/stock/movements").json()["movements"]
    assert [(entry["litres"], entry["order"]) for entry in entries] == [(20, order["id"]), (40, order["id"])]
    assert entries[1]["expires_on"] == "2028-12-31"


def test_two_approvals_of_one_order_have_one_effect(shop, order):
    path = f"/v1/purchase-orders/{order['id']}"
    tag = shop.get(path).headers["ETag"]
    assert shop.post(f"{path}/place", headers={"If-Match": tag}).status_code == 200
    assert shop.post(f"{path}/place", headers={"If-Match": tag}).status_code == 412
    again = shop.post(f"{path}/place")
    assert (again.status_code, again.json()["type"]) == (409, "/problems/state-transition")
    assert "planned" in again.json()["detail"]
    assert shop.get(path).json()["version"] == 2


def test_of_approvals_at_the_same_moment_one_is_taken(shop, order):
    path = f"/v1/purchase-orders/{order['id']}/place"
    with ThreadPoolExecutor(4) as pool:
        answers = [job.result().status_code for job in [pool.submit(shop.post, path) for _ in range(4)]]
    assert sorted(answers) == [200, 409, 409, 409]
    assert shop.get(f"/v1/purchase-orders/{order['id']}").json()["version"] == 2


def test_a_delivery_that_is_booked_twice_by_key_comes_once(shop, order):
    path = f"/v1/purchase-orders/{order['id']}"
    shop.post(f"{path}/place")
    body = {"packs": [{"litres": 20, "count": 1}]}
    for _ in range(2):
        assert shop.post(f"{path}/receive", body, headers={"Idempotency-Key": "d1"}).status_code == 200
    assert stock_line(shop)["litres"] == 20


def test_what_is_only_planned_cannot_arrive_and_what_is_cancelled_goes_nowhere(shop, order):
    path = f"/v1/purchase-orders/{order['id']}"
    refused = [shop.post(f"{path}/receive")]
    assert shop.post(f"{path}/cancel").json()["state"] == "cancelled"
    refused += [shop.post(f"{path}/{step}") for step in ("place", "receive", "cancel")]
    assert [answer.status_code for answer in refused] == [409] * 4
    assert {answer.json()["type"] for answer in refused} == {"/problems/state-transition"}


def test_cancelling_the_rest_keeps_what_has_come(shop, order):
    path = f"/v1/purchase-orders/{order['id']}"
    shop.post(f"{path}/place")
    shop.post(f"{path}/receive", {"packs": [{"litres": 20, "count": 2}]})
    shop.post(f"{path}/cancel")
    line = stock_line(shop)
    assert (line["litres"], line["on_order_litres"], line["orders"]) == (40, 0, [])


def test_more_than_was_ordered_does_not_arrive(shop, order):
    path = f"/v1/purchase-orders/{order['id']}"
    shop.post(f"{path}/place")
    answer = shop.post(f"{path}/receive", {"packs": [{"litres": 20, "count": 4}]})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/packs/0/count"
    assert stock_line(shop)["litres"] == 0


def test_many_packs_get_the_lower_price(shop):
    answer = shop.post("/v1/purchase-orders", {"fluid": "ATF-A", "packs": [{"litres": 20, "count": 10}]})
    assert answer.json()["cost_minor"] == 159000


BAD_ORDERS = [
    ({"fluid": "unknown"}, "/fluid", "/v1/fluids"),
    ({"packs": []}, "/packs", "at least 1"),
    ({"packs": [{"litres": 0, "count": 1}]}, "/packs/0/litres", "0.01"),
    ({"packs": [{"litres": 21, "count": 1}]}, "/packs/0/litres", "known are 20, 208"),
    ({"packs": [{"litres": 20, "count": 0}]}, "/packs/0/count", "1"),
    ({"packs": [{"litres": 208, "count": 1}]}, "/packs/0/price_minor", "what one costs"),
    ({"packs": [{"litres": 20, "count": 1}] * 2}, "/packs", "once"),
    ({"expected_on": "2026-05-03"}, "/expected_on", "past"),
]


def test_an_order_that_cannot_be_right_is_refused_with_the_field_and_what_to_do(shop):
    for change, pointer, advice in BAD_ORDERS:
        answer = shop.post("/v1/purchase-orders", THREE | change)
        assert answer.status_code == 422, change
        error = answer.json()["errors"][0]
        assert error["pointer"] == pointer
        assert advice in error["detail"]
    assert shop.get("/v1/purchase-orders").json()["orders"] == []


def test_an_order_number_is_used_once(shop):
    numbered = THREE | {"reference": "2026-118"}
    assert shop.post("/v1/purchase-orders", numbered).status_code == 201
    assert shop.post("/v1/purchase-orders", numbered).status_code == 409


def test_orders_are_listed_by_state_a_page_at_a_time_along_the_link_header(shop):
    for _ in range(3):
        shop.post("/v1/purchase-orders", THREE)
    shop.post("/v1/purchase-orders", THREE | {"state": "placed"})
    seen, path = 0, "/v1/purchase-orders?state=planned&limit=2"
    while path:
        page = shop.get(path)
        seen += len(page.json()["orders"])
        path = page.links.get("next", {}).get("url")
    assert seen == 3


def test_another_organisation_s_order_does_not_exist(order, join):
    stranger = join("Another Invented Operator")
    for step in ("place", "receive", "cancel"):
        assert stranger.post(f"/v1/purchase-orders/{order['id']}/{step}").status_code == 404
    assert stranger.get(f"/v1/purchase-orders/{order['id']}").status_code == 404
