"""Terms that an organisation plans with: costs of orders and of running out, how far to look ahead."""

import pytest

from tests.api.test_stock_plans import OIL, OVERDUE, add_van, receive


@pytest.fixture
def shop(operator):
    assert operator.post("/v1/fluids", OIL).status_code == 201
    return operator


def terms(shop):
    return {term["name"]: term for term in shop.get("/v1/planning-terms").json()["terms"]}


def say(shop, **values):
    return shop.patch("/v1/planning-terms", {"terms": values})


def test_a_term_is_set_and_goes_back_to_its_default(shop):
    before = terms(shop)["order_cost_minor"]
    assert (before["value"], before["is_own"]) == (before["default"], False)
    assert say(shop, order_cost_minor=4200).status_code == 200
    assert (terms(shop)["order_cost_minor"]["value"], terms(shop)["order_cost_minor"]["is_own"]) == (
        4200,
        True,
    )
    say(shop, order_cost_minor=None)
    assert terms(shop)["order_cost_minor"] == before


def test_the_order_plan_counts_the_cost_of_ordering_and_looks_as_far_ahead_as_was_said(shop):
    """One pack of 20 litres at 80.00 covers 6 litres; placing it costs what the organisation said."""
    add_van(shop, 1, OVERDUE)
    say(shop, order_cost_minor=1234, order_plan_weeks=7)
    body = shop.get("/v1/stock/order-plan").json()
    assert len(body["weeks"]) == 7
    assert body["cost_minor"] == 8000 + 1234
    assert len(shop.get("/v1/stock/order-plan?weeks=5").json()["weeks"]) == 5


def test_the_cost_of_running_out_replaces_the_service_level(shop):
    """A litre short for a week at next to nothing is not worth a pack; at a hundred times a pack's price it is."""
    add_van(shop, 1, OVERDUE)
    receive(shop, 1)
    say(shop, shortage_minor_a_week=1)
    assert shop.get("/v1/stock/order-plan?weeks=4").json()["fluids"][0]["orders"] == []
    say(shop, shortage_minor_a_week=800_000)
    (order,) = shop.get("/v1/stock/order-plan?weeks=4").json()["fluids"][0]["orders"]
    assert order["litres"] == 20


@pytest.mark.parametrize(
    ("values", "pointer"),
    [
        ({"order_cost_minor": -1}, "/terms/order_cost_minor"),
        ({"holding_share_a_year": 1.5}, "/terms/holding_share_a_year"),
        ({"order_plan_weeks": 2.5}, "/terms/order_plan_weeks"),
        ({"order_plan_weeks": 27}, "/terms/order_plan_weeks"),
        ({"listing_probability": 0}, "/terms/listing_probability"),
        ({"nonsense": 1}, "/terms"),
    ],
)
def test_what_a_term_cannot_be_is_refused_and_nothing_changes(shop, values, pointer):
    before = terms(shop)
    answer = say(shop, visit_minor=5, **values)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer)
    assert terms(shop) == before


def test_another_organisation_s_terms_stay(shop, join):
    other = join("Other Haulage")
    say(shop, visit_minor=5)
    assert not terms(other)["visit_minor"]["is_own"]
