"""The order plan as a file says the same money as the plan: each pack its price, and placing the order apart."""

import csv
import io

from service.domain.roles import Scope
from service.usecases.access.caller import Caller
from service.usecases.stock.plan_orders import plan_stock_orders
from service.usecases.stock.render_stock_papers import PlanFileKind, render_order_plan
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
