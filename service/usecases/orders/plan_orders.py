"""The order plan: which packs of each fluid and part to order, by when, and why."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.planning_terms import planned_with
from service.engine.demand.lattice import distribution_quantile
from service.engine.orders.pack_mix import price_of_packs
from service.engine.orders.plan import OrderPlan, plan_orders
from service.engine.orders.reasons import OrderReason
from service.engine.orders.terms import RunOutTarget, SupplyTerms
from service.store.repositories import fleet, stock_items
from service.store.repositories.stock_items import ItemKey, StockItem
from service.store.tables.fluids import Pack
from service.usecases.access.caller import Caller
from service.usecases.forecast.forecast_stock import ItemForecast, StockForecast, forecast_stock
from service.usecases.forecast.supply import first_day_of_week, stock_on_hand, supply_terms
from service.usecases.orders.order_words import before_first_arrival, if_nothing_is_ordered, why_ordered

_Chosen = tuple[list[Pack], SupplyTerms, OrderPlan]


class PlanStatus(StrEnum):
    """What the plan could do for a fluid or part."""

    ORDER = "order"
    ENOUGH = "enough"
    """Nothing has to be ordered within the weeks planned."""

    SHORT = "short"
    """The shelf runs short and no order can help: there is no room for a pack, or nothing arrives in time."""

    NO_PACKS = "no_packs"
    NO_PRICE = "no_price"


ADVICE: Final = {
    PlanStatus.SHORT: "No order helps within the weeks planned: there is no room for another pack, or nothing "
    "arrives in time. Look at the pack sizes, the tank and the lead time.",
    PlanStatus.NO_PACKS: "No pack is known for this, so no order can be planned: add the packs in which it is sold.",
    PlanStatus.NO_PRICE: "No price is known for any pack, so no order can be planned: add prices to the packs.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedOrder:
    """One order of one fluid or part."""

    packs: tuple[tuple[float, int], ...]
    """Litres or pieces in a pack, and how many of it."""

    goods_minor: tuple[int, ...]
    """What the packs of each size cost together."""

    quantity: float
    order_by: date
    arrives_on: date
    cost_minor: int
    """Goods, and the cost of placing and taking in the order."""

    reasons: tuple[OrderReason, ...]
    why: str

    @property
    def ordering_minor(self) -> int:
        """Cost of placing and taking in the order."""
        return self.cost_minor - sum(self.goods_minor)


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemPlan:
    """What to order of one fluid or part."""

    forecast: ItemForecast
    status: PlanStatus
    orders: tuple[PlannedOrder, ...]
    needed_quantity: float
    """Demand over all weeks that holds with the service level."""

    if_nothing_is_ordered: str
    first_short_week: int
    run_out_before_arrival_probability: float | None
    expected_expired_quantity: float | None
    method: str | None
    optimality_gap: float | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StockPlan:
    """The order plan of all fluids and parts."""

    forecast: StockForecast
    currency: str
    plans: list[ItemPlan]
    """Fluids, by article name."""

    parts: list[ItemPlan]


def plan_stock_orders(
    session: Session, caller: Caller, now: datetime, n_weeks: int | None = None
) -> StockPlan:
    """Plan the orders of every fluid and part over the coming weeks."""
    forecast = forecast_stock(session, caller, now, n_weeks)
    organisation = fleet.get_organisation(session, caller.organisation_id)
    packs: dict[ItemKey, list[Pack]] = {}
    for pack in stock_items.list_packs(session, caller.organisation_id):
        packs.setdefault(ItemKey.of(pack), []).append(pack)

    def plan(one: ItemForecast) -> ItemPlan:
        return _plan_item(forecast, one, packs.get(ItemKey.of(one.line.item), []), organisation.planning)

    return StockPlan(
        forecast=forecast,
        currency=organisation.currency,
        plans=[plan(one) for one in forecast.fluids],
        parts=[plan(one) for one in forecast.parts],
    )


def _plan_item(
    forecast: StockForecast, one: ItemForecast, packs: Sequence[Pack], planning: dict[str, float]
) -> ItemPlan:
    priced, n_packs = [pack for pack in packs if pack.price_minor is not None], len(packs)
    if not priced:
        return _without_terms(forecast, one, PlanStatus.NO_PACKS if not packs else PlanStatus.NO_PRICE)
    packs, terms, plan = _best_plan(forecast, one, priced, planning)
    orders = tuple(
        _order(forecast, one.line.item, (packs, terms, plan), number)
        for number in range(plan.order_week.size)
    )
    run_out = plan.without_orders.run_out_probability.tolist()
    status = _status(plan)
    notes = [*([ADVICE[status]] if status in ADVICE else []), *one.line.warnings]
    if plan.shortfall_before_first_arrival_probability > 1.0 - one.line.item.service_level:
        arrives_on = _monday(forecast, plan.planned_lead_weeks)
        notes.append(before_first_arrival(plan.shortfall_before_first_arrival_probability, arrives_on))
    if len(priced) < n_packs:
        notes.append("Packs without a price were left out.")
    return ItemPlan(
        forecast=one,
        status=status,
        orders=orders,
        needed_quantity=_needed(one),
        if_nothing_is_ordered=if_nothing_is_ordered(
            run_out, plan.first_week_short_without_orders, forecast.weeks
        ),
        first_short_week=plan.first_week_short_without_orders,
        run_out_before_arrival_probability=plan.shortfall_before_first_arrival_probability,
        expected_expired_quantity=plan.expected_expired_quantity,
        method=str(plan.method),
        optimality_gap=plan.optimality_gap_fraction,
        notes=tuple(notes),
    )


def _status(plan: OrderPlan) -> PlanStatus:
    if plan.order_week.size:
        return PlanStatus.ORDER
    return PlanStatus.ENOUGH if plan.first_week_short_without_orders < 0 else PlanStatus.SHORT


def _best_plan(
    forecast: StockForecast, one: ItemForecast, priced: Sequence[Pack], planning: dict[str, float]
) -> _Chosen:
    """Plan with the packs that are sold singly, and with each that is sold by the dozen; take the best.

    Best is what leaves the least risk of running out, then what costs least over the weeks planned.
    """
    singly = [pack for pack in priced if pack.minimum_packs == 1]
    choices = [(singly, 0.0)] if singly else []
    choices += [([pack], pack.minimum_packs * pack.quantity) for pack in priced if pack.minimum_packs > 1]
    item = one.line.item
    stock = stock_on_hand(one.line, forecast.today)
    target = RunOutTarget(
        service_level=item.service_level, shortage_cost_minor=planned_with(planning, "shortage_minor_a_week")
    )
    plans: list[_Chosen] = []
    for chosen, minimum in choices:
        terms = supply_terms(item, chosen, forecast.today, planning, minimum)
        plans.append((chosen, terms, plan_orders(one.cumulative, terms, stock, target)))
    return min(plans, key=lambda made: (_risk(made[2], item.service_level), int(made[2].cost_minor.sum())))


def _risk(plan: OrderPlan, service_level: float) -> float:
    """Risk of running out beyond what was asked for, once orders can arrive."""
    ahead = plan.with_plan.run_out_probability[plan.planned_lead_weeks :]
    return round(max(float(ahead.max(initial=0.0)) - (1.0 - service_level), 0.0), 2)


def _order(forecast: StockForecast, item: StockItem, chosen: _Chosen, number: int) -> PlannedOrder:
    packs, terms, plan = chosen
    counts = plan.pack_count[number]
    bought = np.flatnonzero(counts).tolist()
    return PlannedOrder(
        packs=tuple((packs[place].quantity, int(counts[place])) for place in bought),
        goods_minor=tuple(
            round(float(price_of_packs(terms, place, counts[place : place + 1])[0])) for place in bought
        ),
        quantity=float(plan.quantity[number]),
        order_by=forecast.today + timedelta(weeks=int(plan.order_week[number])),
        arrives_on=_monday(forecast, int(plan.arrival_week[number])),
        cost_minor=int(plan.cost_minor[number]),
        reasons=plan.reasons[number],
        why=why_ordered(
            plan.reasons[number], int(plan.needed_week[number]), forecast.weeks, item.service_level
        ),
    )


def _without_terms(forecast: StockForecast, one: ItemForecast, status: PlanStatus) -> ItemPlan:
    """Say what would be needed where nothing can be ordered."""
    run_out = one.stock.run_out_probability
    is_short = run_out > 1.0 - one.line.item.service_level
    first_short_week = int(np.argmax(is_short)) if is_short.any() else -1
    return ItemPlan(
        forecast=one,
        status=status,
        orders=(),
        needed_quantity=_needed(one),
        if_nothing_is_ordered=if_nothing_is_ordered(run_out.tolist(), first_short_week, forecast.weeks),
        first_short_week=first_short_week,
        run_out_before_arrival_probability=None,
        expected_expired_quantity=None,
        method=None,
        optimality_gap=None,
        notes=(ADVICE[status], *one.line.warnings),
    )


def _needed(one: ItemForecast) -> float:
    return float(distribution_quantile(one.cumulative, one.line.item.service_level)[-1])


def _monday(forecast: StockForecast, week: int) -> date:
    """First day of a week ahead; of the present one, today."""
    return max(first_day_of_week(forecast.today) + timedelta(weeks=week), forecast.today)
