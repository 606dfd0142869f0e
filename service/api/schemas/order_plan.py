"""Answer models of the order plan."""

from datetime import date
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.schemas.stock import tidy
from service.domain.external_ids import IdKind, format_id
from service.domain.stock_entries import OrderState
from service.domain.weeks import IsoWeek
from service.engine.orders.reasons import OrderReason
from service.usecases.plan_orders import FluidPlan, PlannedOrder, PlanStatus, StockPlan

PLAN_EXAMPLE: dict[str, Any] = {
    "today": "2026-05-04",
    "weeks": ["2026-W19", "2026-W20", "2026-W21"],
    "currency": "EUR",
    "cost_minor": 52000,
    "fluids": [
        {
            "id": "fld_3",
            "fluid": "ATF-A",
            "status": "order",
            "stock_litres": 20.0,
            "on_order_litres": 0.0,
            "needed_litres": 63.0,
            "orders": [
                {
                    "packs": [{"litres": 20.0, "count": 3}],
                    "litres": 60.0,
                    "order_by": "2026-05-04",
                    "arrives_on": "2026-05-18",
                    "cost_minor": 52000,
                    "reasons": ["covers-need"],
                    "why": "Without it week 2026-W21 would be covered with less than the 95 % asked for.",
                }
            ],
            "if_nothing_is_ordered": "If nothing is ordered, week 2026-W21 runs short with a probability of 62 %.",
            "first_short_week": "2026-W21",
            "run_out_before_arrival_probability": 0.02,
            "expected_expired_litres": 0.0,
            "method": "exact-recursion",
            "optimality_gap": 0.0,
            "planned_orders": [],
            "notes": [],
        }
    ],
}


class PlannedPack(BaseModel):
    """Packs of one size."""

    litres: float
    count: int


class PlannedOrderRead(BaseModel):
    """One order that the plan proposes."""

    packs: list[PlannedPack]
    litres: float
    order_by: date
    arrives_on: date = Field(description="From this day it is counted on.")
    cost_minor: int = Field(description="Goods, and the cost of placing and taking in the order.")
    reasons: list[OrderReason]
    why: str

    @classmethod
    def of(cls, order: PlannedOrder) -> Self:
        """Show one order."""
        return cls(
            packs=[PlannedPack(litres=litres, count=count) for litres, count in order.packs],
            litres=tidy(order.litres),
            order_by=order.order_by,
            arrives_on=order.arrives_on,
            cost_minor=order.cost_minor,
            reasons=list(order.reasons),
            why=order.why,
        )


class FluidPlanRead(BaseModel):
    """What to order of one fluid, by when and why."""

    id: str
    fluid: str
    status: PlanStatus
    stock_litres: float
    on_order_litres: float
    needed_litres: float = Field(description="Over all weeks, with the service level asked for.")
    orders: list[PlannedOrderRead]
    if_nothing_is_ordered: str
    first_short_week: str | None
    run_out_before_arrival_probability: float | None
    expected_expired_litres: float | None
    method: str | None
    optimality_gap: float | None
    planned_orders: list[str] = Field(
        description="Orders that are planned but not placed; the plan does not count on them."
    )
    notes: list[str]

    @classmethod
    def of(cls, plan: FluidPlan, weeks: tuple[IsoWeek, ...]) -> Self:
        """Show one fluid."""
        line = plan.forecast.line
        return cls(
            id=format_id(IdKind.FLUID, line.fluid.id),
            fluid=line.fluid.reference,
            status=plan.status,
            stock_litres=tidy(line.shelf.litres),
            on_order_litres=tidy(line.on_order_litres),
            needed_litres=tidy(plan.needed_litres),
            orders=[PlannedOrderRead.of(order) for order in plan.orders],
            if_nothing_is_ordered=plan.if_nothing_is_ordered,
            first_short_week=None if plan.first_short_week < 0 else str(weeks[plan.first_short_week]),
            run_out_before_arrival_probability=_rounded(plan.run_out_before_arrival_probability),
            expected_expired_litres=_rounded(plan.expected_expired_litres),
            method=plan.method,
            optimality_gap=_rounded(plan.optimality_gap),
            planned_orders=[
                format_id(IdKind.PURCHASE_ORDER, order.order_id)
                for order in line.open_orders
                if order.state is OrderState.PLANNED
            ],
            notes=list(plan.notes),
        )


class StockPlanRead(BaseModel):
    """The order plan of all fluids."""

    model_config = ConfigDict(json_schema_extra={"examples": [PLAN_EXAMPLE]})

    today: date
    weeks: list[str]
    currency: str
    cost_minor: int
    fluids: list[FluidPlanRead]

    @classmethod
    def of(cls, plan: StockPlan) -> Self:
        """Show the plan."""
        return cls(
            today=plan.forecast.today,
            weeks=[str(week) for week in plan.forecast.weeks],
            currency=plan.currency,
            cost_minor=sum(order.cost_minor for one in plan.plans for order in one.orders),
            fluids=[FluidPlanRead.of(one, plan.forecast.weeks) for one in plan.plans],
        )


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
