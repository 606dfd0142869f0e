"""The order plan as a file says the same money as the plan: each pack its price, and placing the order apart."""

import csv
import io
from dataclasses import replace
from datetime import timedelta

from service.domain.roles import Scope
from service.usecases.access.caller import Caller
from service.usecases.orders import render_stock_papers
from service.usecases.orders.plan_orders import plan_stock_orders
from service.usecases.orders.render_stock_papers import PlanFileKind, render_order_plan
from tests.api.test_parts import shop  # noqa: F401


def test_every_pack_carries_its_price_and_the_order_its_own_row(shop, database, clock):  # noqa: F811
    """Twelve litres and four washers: packs of 20 at 80.00 and of 10 at 3.00, and twice what placing an order costs."""
    caller = Caller(shop.organisation_id, "test", frozenset(Scope))
    with database.snapshot() as session:
        plan = plan_stock_orders(session, caller, clock.now(), 4)
        content, _ = render_order_plan(session, caller, clock.now(), PlanFileKind.CSV, 4)
    rows = list(csv.DictReader(io.StringIO(content.decode(), newline="")))
    costs = [(row["Unit"], float(row["Cost [EUR]"]), int(row["Packs"])) for row in rows]
    assert [cost for unit, cost, _ in costs if unit == "placing the order"] == [25.0, 25.0]
    assert [cost / n_packs for unit, cost, n_packs in costs if unit != "placing the order"] == [80.0, 3.0]
    orders = [order for one in (*plan.plans, *plan.parts) for order in one.orders]
    assert round(100 * sum(cost for _, cost, _ in costs)) == sum(order.cost_minor for order in orders)


def test_what_has_to_be_ordered_first_stands_first(shop, database, clock, monkeypatch):  # noqa: F811
    """The fluid's order is put ten days off; the washers are then the more urgent."""
    caller = Caller(shop.organisation_id, "test", frozenset(Scope))

    def later(*given):
        plan = plan_stock_orders(*given)
        (oil,) = plan.plans
        orders = [replace(order, order_by=order.order_by + timedelta(days=10)) for order in oil.orders]
        return replace(plan, plans=[replace(oil, orders=orders)])

    monkeypatch.setattr(render_stock_papers, "plan_stock_orders", later)
    with database.snapshot() as session:
        content, _ = render_order_plan(session, caller, clock.now(), PlanFileKind.CSV, 4)
    rows = list(csv.DictReader(io.StringIO(content.decode(), newline="")))
    assert [row["Item"] for row in rows] == ["drain plug washer"] * 2 + ["OIL-B"] * 2
