"""Used fluid: one container a stream and depot, room left, and the day by which it has to be fetched."""

from datetime import timedelta

import pytest

from service.usecases.stock.used_fluid_levels import used_fluid_levels
from tests.api.test_stock_plans import OVERDUE, add_van
from tests.service_fixtures import START
from tests.web.test_large_fleet import counted

BRAKES = {"kind": "brake_fluid", "total_litres": 1.0, "drainable_litres": 1.0, "interval_months": 24}


@pytest.fixture
def shop(operator):
    """Three vans at one depot: 6 litres of engine oil each, overdue; brake fluid of one, overdue as well."""
    engine = {name: value for name, value in OVERDUE.items() if name not in {"fluid", "seals"}}
    for number in range(3):
        add_van(operator, number, engine)
    add_van_compartment = operator.post(
        "/v1/vehicles/VAN-0/compartments", BRAKES | {"last_service_on": "2023-01-01"}
    )
    assert add_van_compartment.status_code == 201
    return operator


def containers(shop, weeks=4):
    answer = shop.get(f"/v1/used-fluid?weeks={weeks}")
    assert answer.status_code == 200, answer.text
    return {(one["depot"], one["stream"]): one for one in answer.json()["containers"]}


def holds(shop, **litres):
    answer = shop.patch("/v1/depots/North", {"used_fluid_capacity_by_stream": litres})
    assert answer.status_code == 200, answer.text


def test_streams_are_counted_apart_and_a_container_of_unknown_size_is_never_due(shop):
    found = containers(shop)
    oil, brakes = found["North", "lubricating_oil"], found["North", "brake_fluid"]
    assert oil["expected_litres"] == 18.0
    assert brakes["expected_litres"] < 18.0
    assert (oil["capacity_litres"], oil["room_litres"], oil["fetch_by"]) == (None, None, None)
    assert "Brake fluid" in oil["never_with"]


def test_a_container_that_would_run_over_is_fetched_before_that_week(shop):
    """Eighteen litres come this week with certainty: 17 litres of room are too few, 18 are enough."""
    holds(shop, lubricating_oil=17)
    oil = containers(shop)["North", "lubricating_oil"]
    assert (oil["fetch_by"], oil["overflow_probability"], oil["room_litres"]) == ("2026-05-04", 1.0, 17.0)
    holds(shop, lubricating_oil=18)
    oil = containers(shop)["North", "lubricating_oil"]
    assert (oil["fetch_by"], oil["overflow_probability"]) == (None, 0.0)
    assert containers(shop)["North", "brake_fluid"]["capacity_litres"] is None


def test_a_service_fills_the_container_and_a_collection_makes_room(shop, clock):
    holds(shop, lubricating_oil=10)
    work = {
        "compartment": "engine_oil_diesel_light",
        "rounds": [{"drained_litres": 6.0, "filled_litres": 6.0}],
    }
    done = {"vehicle": "VAN-0", "done_at": START.isoformat(), "compartments": [work]}
    mistaken = shop.post("/v1/services", done)
    assert shop.delete(mistaken.headers["Location"]).status_code == 204
    assert shop.post("/v1/services", done).status_code == 201
    oil = containers(shop)["North", "lubricating_oil"]
    assert (oil["litres"], oil["room_litres"], oil["expected_litres"]) == (6.0, 4.0, 12.0)
    fetched = {"depot": "North", "stream": "lubricating_oil", "litres": 5, "is_emptied": False}
    assert shop.post("/v1/used-fluid/collections", fetched).status_code == 201
    oil = containers(shop)["North", "lubricating_oil"]
    assert (oil["litres"], oil["room_litres"]) == (1.0, 9.0)
    shop.post("/v1/used-fluid/collections", fetched | {"litres": 1, "is_emptied": True})
    assert containers(shop)["North", "lubricating_oil"]["room_litres"] == 10.0


def test_a_container_that_runs_over_already_is_due_today(shop):
    work = {
        "compartment": "engine_oil_diesel_light",
        "rounds": [{"drained_litres": 6.0, "filled_litres": 6.0}],
    }
    done = {"vehicle": "VAN-0", "done_at": START.isoformat(), "compartments": [work]}
    shop.post("/v1/services", done)
    holds(shop, lubricating_oil=5)
    oil = containers(shop)["North", "lubricating_oil"]
    assert (oil["room_litres"], oil["fetch_by"], oil["overflow_probability"]) == (0.0, "2026-05-04", 1.0)


@pytest.mark.parametrize("litres", [-1, "many"])
def test_a_container_cannot_hold_less_than_nothing(shop, litres):
    body = {"used_fluid_capacity_by_stream": {"coolant": litres}}
    assert shop.patch("/v1/depots/North", body).status_code == 422
    assert shop.patch("/v1/depots/North", {"used_fluid_capacity_by_stream": {"soup": 1}}).status_code == 422


def test_each_depot_has_its_own_container_and_all_are_asked_for_at_once(shop, database, clock):
    """Two vans bring six litres each to two depots; one is emptied, and what comes later is in it."""
    work = {
        "compartment": "engine_oil_diesel_light",
        "rounds": [{"drained_litres": 6.0, "filled_litres": 6.0}],
    }
    assert shop.patch("/v1/vehicles/VAN-1", {"depot": "South"}).status_code == 200

    def serve(van: str) -> None:
        done = {"vehicle": van, "done_at": clock.now().isoformat(), "compartments": [work]}
        assert shop.post("/v1/services", done).status_code == 201
        clock.advance(timedelta(hours=1))

    def levels() -> tuple[dict[str, float], int]:
        with counted(database) as statements, database.snapshot() as session:
            found = used_fluid_levels(session, shop.organisation_id)
        return {one.depot: one.litres for one in found if one.stream == "lubricating_oil"}, len(statements)

    serve("VAN-0")
    serve("VAN-1")
    filled, n_statements = levels()
    assert filled == {"North": 6.0, "South": 6.0}
    emptied = {"depot": "South", "stream": "lubricating_oil", "litres": 6.0}
    assert shop.post("/v1/used-fluid/collections", emptied).status_code == 201
    clock.advance(timedelta(hours=1))
    shop.patch("/v1/vehicles/VAN-2", {"depot": "West"})
    serve("VAN-2")
    partly = emptied | {"depot": "North", "litres": 2.0, "is_emptied": False}
    assert shop.post("/v1/used-fluid/collections", partly).status_code == 201
    assert levels() == ({"North": 4.0, "South": 0.0, "West": 6.0}, n_statements)
