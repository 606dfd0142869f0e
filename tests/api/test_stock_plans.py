"""Forecast and order plan through the API, on fleets whose litres can be worked out by hand."""

import tracemalloc

import pytest

from service.usecases.orders.not_ordered import NO_FLUID, NOT_KEPT
from tests.documents.pdf_reading import full_text

OIL = {
    "fluid": "OIL-B",
    "kind": "engine_oil_diesel_light",
    "lead_time_days": 5,
    "lead_time_sd_days": 0,
    "packs": [{"litres": 20, "price_minor": 8000}],
}
OVERDUE = {
    "kind": "engine_oil_diesel_light",
    "fluid": "OIL-B",
    "total_litres": 6.5,
    "drainable_litres": 6.0,
    "interval_months": 12,
    "last_service_on": "2024-01-01",
    "seals": [{"part": "drain plug washer", "pieces": 1}],
}
NEW = OVERDUE | {"last_service_on": "2026-05-01", "interval_months": 60}


@pytest.fixture
def shop(operator):
    assert operator.post("/v1/fluids", OIL).status_code == 201
    return operator


def add_van(shop, number, compartment):
    vehicle = {"vehicle": f"VAN-{number}", "class": "van", "depot": "North"}
    assert shop.post("/v1/vehicles", vehicle).status_code == 201
    answer = shop.post(f"/v1/vehicles/VAN-{number}/compartments", compartment)
    assert answer.status_code == 201, answer.text


def receive(shop, litres):
    assert (
        shop.post("/v1/stock/movements", {"fluid": "OIL-B", "kind": "receipt", "litres": litres}).status_code
        == 201
    )


def forecast(shop, weeks=4):
    answer = shop.get(f"/v1/stock/forecast?weeks={weeks}")
    assert answer.status_code == 200, answer.text
    return answer.json()


def plan(shop, weeks=4):
    answer = shop.get(f"/v1/stock/order-plan?weeks={weeks}")
    assert answer.status_code == 200, answer.text
    (fluid,) = answer.json()["fluids"]
    return fluid


def test_two_overdue_jobs_take_their_litres_this_week_with_certainty(shop):
    """Two oil changes of 6 litres, the calendar limit passed more than a year ago: 12 litres now, none later."""
    for number in (1, 2):
        add_van(shop, number, OVERDUE)
    receive(shop, 10)
    body = forecast(shop)
    assert body["weeks"] == ["2026-W19", "2026-W20", "2026-W21", "2026-W22"]
    (oil,) = body["fluids"]
    first, second = oil["weeks"][:2]
    assert first["demand"] == {"mean": 12, "p10": 12, "p50": 12, "p90": 12}
    assert second["demand"] == {"mean": 0, "p10": 0, "p50": 0, "p90": 0}
    assert oil["total"] == first["demand"]
    assert first["stock_litres"] == {"p10": -2, "p50": -2, "p90": -2}
    assert first["run_out_probability"] == 1
    assert (first["used_fluid_litres"], first["seals"]) == (12, {"drain plug washer": 2})
    (stream,) = body["used_fluid"]
    assert (stream["stream"], stream["weeks"][0]["demand"]["p90"]) == ("lubricating_oil", 12)
    (seal,) = body["seals"]
    assert (seal["part"], seal["weeks"][0]["demand"]["mean"]) == ("drain plug washer", 2)


def test_a_shelf_that_is_short_is_filled_with_whole_packs_as_soon_as_they_can_come(shop):
    """12 litres needed, 10 there, packs of 20: one pack, ordered today, counted on from next Monday."""
    for number in (1, 2):
        add_van(shop, number, OVERDUE)
    receive(shop, 10)
    oil = plan(shop)
    (order,) = oil["orders"]
    assert oil["status"] == "order"
    assert order["packs"] == [{"litres": 20, "count": 1}]
    assert (order["order_by"], order["arrives_on"]) == ("2026-05-04", "2026-05-11")
    assert order["cost_minor"] == 8000 + 2500  # one pack, and the usual cost of placing an order
    assert "2026-W20" in order["why"]
    assert oil["if_nothing_is_ordered"].startswith("If nothing is ordered, week 2026-W19 runs short")
    assert oil["run_out_before_arrival_probability"] == 1
    assert "2026-05-11" in oil["notes"][0]
    assert (oil["optimality_gap"], oil["method"], oil["needed_litres"]) == (0, "exact-recursion", 12)


def test_a_fleet_with_nothing_due_needs_no_order(shop):
    add_van(shop, 1, NEW)
    oil = plan(shop)
    assert (oil["status"], oil["orders"], oil["first_short_week"]) == ("enough", [], None)
    assert oil["if_nothing_is_ordered"].startswith("Nothing has to be ordered")
    assert forecast(shop)["fluids"][0]["weeks"][0]["demand"]["mean"] == pytest.approx(0, abs=0.01)


def test_without_vehicles_nothing_is_needed(shop):
    body = forecast(shop, weeks=1)
    assert body["fluids"][0]["weeks"][0]["demand"] == {"mean": 0, "p10": 0, "p50": 0, "p90": 0}
    assert (body["used_fluid"], body["seals"], body["without_fluid"]) == ([], [], [])
    assert plan(shop)["status"] == "enough"


def test_what_was_ordered_counts_and_what_is_only_planned_does_not(shop):
    for number in (1, 2):
        add_van(shop, number, OVERDUE)
    made = shop.post("/v1/purchase-orders", {"fluid": "OIL-B", "packs": [{"litres": 20, "count": 1}]}).json()
    oil = plan(shop)
    assert (oil["planned_orders"], len(oil["orders"])) == ([made["id"]], 1)
    shop.post(f"/v1/purchase-orders/{made['id']}/place")
    oil = plan(shop)
    assert (oil["planned_orders"], oil["orders"], oil["on_order_litres"]) == ([], [], 20)


def test_a_ledger_below_zero_counts_as_an_empty_shelf_and_says_so(shop, clock):
    """A service may draw more than the ledger knows; then the shelf was miscounted, not filled with debt."""
    add_van(shop, 1, OVERDUE)
    receive(shop, 2)
    assert forecast(shop)["fluids"][0]["weeks"][0]["stock_litres"]["p50"] == -4
    done = {
        "vehicle": "VAN-1",
        "done_at": "2026-05-04T07:00:00Z",
        "compartments": [
            {
                "compartment": "engine_oil_diesel_light",
                "method": "drain_and_fill",
                "rounds": [{"drained_litres": 6.0, "filled_litres": 6.0}],
            }
        ],
    }
    answer = shop.post("/v1/services", done)
    assert answer.status_code == 201, answer.text
    oil = forecast(shop)["fluids"][0]
    assert oil["stock_litres"] == -4
    assert "Count the shelf" in oil["warnings"][0]
    assert oil["weeks"][0]["stock_litres"]["p50"] == 0
    (level,) = shop.get("/v1/stock").json()["used_fluid"]
    assert (level["depot"], level["litres"]) == ("North", 6)


def test_fluids_that_cannot_be_ordered_say_why(shop):
    add_van(shop, 1, OVERDUE)
    shop.patch("/v1/fluids/OIL-B", {"packs": [{"litres": 20}]})
    oil = plan(shop)
    assert (oil["status"], oil["orders"], oil["first_short_week"]) == ("no_price", [], "2026-W19")
    assert "add prices" in oil["notes"][0]
    shop.patch("/v1/fluids/OIL-B", {"packs": []})
    oil = plan(shop)
    assert oil["status"] == "no_packs"
    assert "add the packs" in oil["notes"][0]
    assert oil["needed_litres"] == 6


def test_a_pack_that_is_sold_in_fives_is_ordered_in_fives(shop):
    add_van(shop, 1, OVERDUE)
    shop.patch("/v1/fluids/OIL-B", {"packs": [{"litres": 4, "price_minor": 2000, "minimum_packs": 5}]})
    (order,) = plan(shop)["orders"]
    assert order["packs"] == [{"litres": 4, "count": 5}]
    assert "minimum-order" in order["reasons"]


def test_a_tank_is_not_overfilled_and_that_is_said(shop):
    """18 litres needed, 15 there: once they are used, a pack of 20 still finds 3 litres waiting and room for 15."""
    for number in (1, 2, 3):
        add_van(shop, number, OVERDUE)
    shop.patch("/v1/fluids/OIL-B", {"tank_litres": 15})
    receive(shop, 15)
    oil = plan(shop)
    assert (oil["status"], oil["orders"], oil["first_short_week"]) == ("short", [], "2026-W19")
    assert "no room for another pack" in oil["notes"][0]
    shop.patch("/v1/fluids/OIL-B", {"tank_litres": 17})
    assert plan(shop)["orders"][0]["packs"] == [{"litres": 20, "count": 1}]


def test_a_tank_cannot_hold_less_than_nothing(shop):
    assert shop.patch("/v1/fluids/OIL-B", {"tank_litres": -1}).status_code == 422


def test_compartments_without_a_fluid_are_told_apart(shop):
    add_van(shop, 1, OVERDUE | {"fluid": None})
    body = forecast(shop)
    (kind,) = body["without_fluid"]
    assert kind == {"kind": "engine_oil_diesel_light", "compartments": 1, "litres": 6}
    assert body["fluids"][0]["weeks"][0]["demand"]["mean"] == 0


def test_weeks_out_of_reach_are_refused(shop):
    for weeks in (0, 27, 520, "many"):
        for path in ("forecast", "order-plan"):
            answer = shop.get(f"/v1/stock/{path}?weeks={weeks}")
            assert answer.status_code == 422
            assert answer.json()["errors"][0]["pointer"] == "query/weeks"


def test_the_forecast_is_not_sent_again_to_who_has_it(shop):
    tag = shop.get("/v1/stock/forecast").headers["ETag"]
    assert shop.get("/v1/stock/forecast", headers={"If-None-Match": tag}).status_code == 304


def test_what_no_order_brings_is_named_with_what_is_needed(shop):
    """A change of 6 litres each, all overdue: nameless, of a fluid without packs, and a washer that nobody keeps."""
    add_van(shop, 1, OVERDUE | {"fluid": None})
    add_van(shop, 2, OVERDUE)
    assert shop.get("/v1/stock/order-plan?weeks=4").json()["not_ordered"] == [
        {
            "name": "Engine oil, diesel (car, van)",
            "kind": "engine_oil_diesel_light",
            "litres": 6,
            "pieces": None,
            "compartments": 1,
            "why": NO_FLUID,
        },
        {
            "name": "drain plug washer",
            "kind": None,
            "litres": None,
            "pieces": 2,
            "compartments": None,
            "why": NOT_KEPT,
        },
    ]
    assert shop.patch("/v1/fluids/OIL-B", {"packs": []}).status_code == 200
    named = {one["name"]: one["litres"] for one in shop.get("/v1/stock/order-plan").json()["not_ordered"]}
    assert named["OIL-B"] == 6
    receive(shop, 20)
    assert "OIL-B" not in {one["name"] for one in shop.get("/v1/stock/order-plan").json()["not_ordered"]}


def test_what_no_order_brings_in_time_is_named_on_the_paper_too(shop):
    """A supplier who needs half a year helps nobody whose work is due this week, and the paper has to say so."""
    add_van(shop, 1, OVERDUE)
    names = [one["name"] for one in shop.get("/v1/stock/order-plan?weeks=4").json()["not_ordered"]]
    assert "OIL-B" not in names
    slow = {"lead_time_days": 180, "lead_time_sd_days": 0}
    assert shop.patch("/v1/fluids/OIL-B", slow).status_code == 200
    plan = shop.get("/v1/stock/order-plan?weeks=4").json()
    assert plan["fluids"][0]["status"] == "short"
    (told,) = [one for one in plan["not_ordered"] if one["name"] == "OIL-B"]
    assert (told["litres"], told["why"][:35]) == (6, "No order helps within the weeks pla")
    paper = full_text(shop.get("/v1/stock/order-plan.pdf?weeks=4").content)
    assert "OIL-B: needed, and in no order, 6.0 L / 4 weeks. No order helps" in " ".join(paper.split())


def test_what_is_missing_comes_out_of_the_next_delivery(shop):
    """6 litres drawn of an empty ledger: of 20 on their way 14 will be left, before and after they are received."""
    add_van(shop, 1, NEW)
    work = {"compartment": "engine_oil_diesel_light", "method": "drain_and_fill", "fluid": "OIL-B"}
    work |= {
        "rounds": [{"drained_litres": 6, "filled_litres": 6}],
        "old_fluid_grade": "black",
        "seals_renewed": True,
    }
    done = {"vehicle": "VAN-1", "done_at": "2026-05-02T08:00:00Z", "compartments": [work]}
    answer = shop.post("/v1/services", done)
    assert answer.status_code == 201, answer.text
    (line,) = shop.get("/v1/stock").json()["fluids"]
    assert line["litres"] == -6
    assert "comes out of the next delivery" in line["warnings"][0]
    assert forecast(shop)["fluids"][0]["weeks"][0]["stock_litres"]["p50"] == 0
    made = shop.post("/v1/purchase-orders", {"fluid": "OIL-B", "packs": [{"litres": 20, "count": 1}]})
    assert made.status_code == 201, made.text
    path = f"/v1/purchase-orders/{made.json()['id']}"
    assert shop.post(f"{path}/place").status_code == 200
    last = forecast(shop)["fluids"][0]["weeks"][-1]
    assert last["stock_litres"]["p50"] == 14
    answer = shop.post(f"{path}/receive")
    assert answer.status_code == 200, answer.text
    assert shop.get("/v1/stock").json()["fluids"][0]["litres"] == 14
    assert forecast(shop)["fluids"][0]["weeks"][-1]["stock_litres"]["p50"] == 14


@pytest.mark.parametrize("times", [20_000, 200_000])
def test_uses_by_the_tanker_are_forecast_as_those_by_the_can_and_do_not_fill_the_memory(shop, join, times):
    """Whoever takes everything so many times as much is forecast so many times as much."""
    large = join("Tanker Haulage")
    large.post("/v1/fluids", OIL)
    for owner, litres in ((shop, 5.0), (large, 5.0 * times)):
        receive(owner, litres)
        answer = owner.post("/v1/stock/movements", {"fluid": "OIL-B", "kind": "used", "litres": litres})
        assert answer.status_code == 201, answer.text
    (small,) = forecast(shop, 26)["fluids"]
    tracemalloc.start()
    try:
        (found,) = forecast(large, 26)["fluids"]
        assert plan(large, 4)["fluid"] == "OIL-B"
        assert tracemalloc.get_traced_memory()[1] < 50e6
    finally:
        tracemalloc.stop()
    assert found["total"]["mean"] == pytest.approx(times * small["total"]["mean"], rel=0.01)
