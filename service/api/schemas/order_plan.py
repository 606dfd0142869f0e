"""Answer models of the order plan."""

from datetime import date
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.schemas.stock import tidy
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.stock_entries import OrderState
from service.domain.weeks import IsoWeek
from service.engine.orders.reasons import OrderReason
from service.usecases.orders.not_ordered import NotOrdered, not_ordered
from service.usecases.orders.plan_orders import ItemPlan, PlannedOrder, PlanStatus, StockPlan

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
    "parts": [],
    "parts_not_kept": ["drain plug washer"],
}


class PlannedPack(BaseModel):
    """Packs of one size."""

    litres: float
    count: int


class PlannedPieces(BaseModel):
    """Packs of one size of a part."""

    pieces: int
    count: int


class _PlannedOrder(BaseModel):
    """What every order that the plan proposes has."""

    order_by: date
    arrives_on: date = Field(description="From this day it is counted on.")
    cost_minor: int = Field(description="Goods, and the cost of placing and taking in the order.")
    reasons: list[OrderReason]
    why: str


class PlannedOrderRead(_PlannedOrder):
    """One order of a fluid that the plan proposes."""

    packs: list[PlannedPack]
    litres: float

    @classmethod
    def of(cls, order: PlannedOrder) -> Self:
        """Show one order."""
        packs = [PlannedPack(litres=litres, count=count) for litres, count in order.packs]
        return cls(packs=packs, litres=tidy(order.quantity), **_order_fields(order))


class PlannedPartOrder(_PlannedOrder):
    """One order of a part that the plan proposes."""

    packs: list[PlannedPieces]
    pieces: int

    @classmethod
    def of(cls, order: PlannedOrder) -> Self:
        """Show one order."""
        packs = [PlannedPieces(pieces=round(size), count=count) for size, count in order.packs]
        return cls(packs=packs, pieces=round(order.quantity), **_order_fields(order))


def _order_fields(order: PlannedOrder) -> dict[str, Any]:
    return {
        "order_by": order.order_by,
        "arrives_on": order.arrives_on,
        "cost_minor": order.cost_minor,
        "reasons": list(order.reasons),
        "why": order.why,
    }


class _ItemPlan(BaseModel):
    """What every plan of an item has."""

    status: PlanStatus
    if_nothing_is_ordered: str
    first_short_week: str | None
    run_out_before_arrival_probability: float | None
    method: str | None
    optimality_gap: float | None
    planned_orders: list[str] = Field(
        description="Orders that are planned but not placed; the plan does not count on them."
    )
    notes: list[str]


def _plan_fields(plan: ItemPlan, weeks: tuple[IsoWeek, ...]) -> dict[str, Any]:
    return {
        "status": plan.status,
        "if_nothing_is_ordered": plan.if_nothing_is_ordered,
        "first_short_week": None if plan.first_short_week < 0 else str(weeks[plan.first_short_week]),
        "run_out_before_arrival_probability": _rounded(plan.run_out_before_arrival_probability),
        "method": plan.method,
        "optimality_gap": _rounded(plan.optimality_gap),
        "planned_orders": [
            format_id(IdKind.PURCHASE_ORDER, order.order_id)
            for order in plan.forecast.line.open_orders
            if order.state is OrderState.PLANNED
        ],
        "notes": list(plan.notes),
    }


class FluidPlanRead(_ItemPlan):
    """What to order of one fluid, by when and why."""

    id: str
    fluid: str
    stock_litres: float
    on_order_litres: float
    needed_litres: float = Field(description="Over all weeks, with the service level asked for.")
    expected_expired_litres: float | None
    orders: list[PlannedOrderRead]

    @classmethod
    def of(cls, plan: ItemPlan, weeks: tuple[IsoWeek, ...]) -> Self:
        """Show one fluid."""
        line = plan.forecast.line
        return cls(
            id=format_id(IdKind.FLUID, line.item.id),
            fluid=line.item.reference,
            stock_litres=tidy(line.shelf.quantity),
            on_order_litres=tidy(line.on_order_quantity),
            needed_litres=tidy(plan.needed_quantity),
            expected_expired_litres=_rounded(plan.expected_expired_quantity),
            orders=[PlannedOrderRead.of(order) for order in plan.orders],
            **_plan_fields(plan, weeks),
        )


class PartPlanRead(_ItemPlan):
    """What to order of one part, by when and why."""

    id: str
    part: str
    stock_pieces: int
    on_order_pieces: int
    needed_pieces: int = Field(description="Over all weeks, with the service level asked for.")
    expected_expired_pieces: float | None
    orders: list[PlannedPartOrder]

    @classmethod
    def of(cls, plan: ItemPlan, weeks: tuple[IsoWeek, ...]) -> Self:
        """Show one part."""
        line = plan.forecast.line
        return cls(
            id=format_id(IdKind.PART, line.item.id),
            part=line.item.reference,
            stock_pieces=round(line.shelf.quantity),
            on_order_pieces=round(line.on_order_quantity),
            needed_pieces=round(plan.needed_quantity),
            expected_expired_pieces=_rounded(plan.expected_expired_quantity),
            orders=[PlannedPartOrder.of(order) for order in plan.orders],
            **_plan_fields(plan, weeks),
        )


class NotOrderedRead(BaseModel):
    """What the weeks need and no order brings."""

    name: str = Field(description="Of the fluid or the part; of work that names no fluid, its kind.")
    kind: FluidKind | None
    litres: float | None = Field(
        description="Expected over all weeks; what is on the shelf is not taken off."
    )
    pieces: float | None
    compartments: int | None
    why: str

    @classmethod
    def of(cls, one: NotOrdered) -> Self:
        """Show one."""
        return cls(
            name=one.name,
            kind=one.kind,
            litres=None if one.is_part else round(one.quantity, 2),
            pieces=round(one.quantity, 2) if one.is_part else None,
            compartments=one.n_compartments,
            why=one.why,
        )


class StockPlanRead(BaseModel):
    """The order plan of all fluids and parts."""

    model_config = ConfigDict(json_schema_extra={"examples": [PLAN_EXAMPLE]})

    today: date
    weeks: list[str]
    currency: str
    cost_minor: int
    fluids: list[FluidPlanRead]
    parts: list[PartPlanRead]
    parts_not_kept: list[str] = Field(
        description="Parts that jobs of these weeks need and that are not kept on the shelf; add them at /v1/parts."
    )
    not_ordered: list[NotOrderedRead] = Field(
        description="What these weeks need, the shelf does not cover and no order brings in time."
    )

    @classmethod
    def of(cls, plan: StockPlan) -> Self:
        """Show the plan."""
        return cls(
            today=plan.forecast.today,
            weeks=[str(week) for week in plan.forecast.weeks],
            currency=plan.currency,
            cost_minor=sum(order.cost_minor for one in (*plan.plans, *plan.parts) for order in one.orders),
            fluids=[FluidPlanRead.of(one, plan.forecast.weeks) for one in plan.plans],
            parts=[PartPlanRead.of(one, plan.forecast.weeks) for one in plan.parts],
            parts_not_kept=plan.forecast.parts_not_kept,
            not_ordered=[NotOrderedRead.of(one) for one in not_ordered(plan)],
        )


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
