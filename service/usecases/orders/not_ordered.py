"""What the weeks need and no order brings: nothing on sale is registered for it, or nothing arrives in time."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.store.tables.parts import Part
from service.usecases.forecast.forecast_stock import StockForecast
from service.usecases.orders.plan_orders import ADVICE, ItemPlan, StockPlan

LEAST_NEED: Final = 0.05
"""Litres or pieces that are worth a line. Own choice."""

NO_FLUID: Final = (
    "These compartments name no fluid, so nothing on sale stands behind them: say at each which it takes."
)
NOT_KEPT: Final = "This part is not kept on the shelf: register it with the packs in which it is sold."


@dataclass(frozen=True, slots=True, kw_only=True)
class NotOrdered:
    """A fluid, a kind of fluid or a part that will be needed and is in no order."""

    name: str
    kind: FluidKind | None
    """Of work that names no fluid; then the name is the kind's."""

    is_part: bool
    quantity: float
    """Expected over all weeks, in litres or pieces; what is on the shelf is not taken off."""

    n_compartments: int | None
    why: str


def not_ordered(plan: StockPlan) -> list[NotOrdered]:
    """List it, fluids first; what the shelf covers anyway is left out."""
    found = [
        *_without_orders(plan.plans),
        *_without_fluid(plan.forecast),
        *_without_orders(plan.parts),
        *_not_kept(plan.forecast),
    ]
    return [one for one in found if one.quantity >= LEAST_NEED]


def _without_orders(plans: Sequence[ItemPlan]) -> Iterator[NotOrdered]:
    for one in plans:
        if one.status in ADVICE and one.first_short_week >= 0:
            yield NotOrdered(
                name=one.forecast.line.item.reference,
                kind=None,
                is_part=isinstance(one.forecast.line.item, Part),
                quantity=float(one.forecast.total.mean[0]),
                n_compartments=None,
                why=ADVICE[one.status],
            )


def _without_fluid(forecast: StockForecast) -> Iterator[NotOrdered]:
    for kind, need in sorted(forecast.without_fluid.items()):
        yield NotOrdered(
            name=KIND_LABELS[FluidKind(kind)],
            kind=FluidKind(kind),
            is_part=False,
            quantity=need.litres,
            n_compartments=need.n_compartments,
            why=NO_FLUID,
        )


def _not_kept(forecast: StockForecast) -> Iterator[NotOrdered]:
    for part in forecast.parts_not_kept:
        yield NotOrdered(
            name=part,
            kind=None,
            is_part=True,
            quantity=float(forecast.seals[part].total.mean[0]),
            n_compartments=None,
            why=NOT_KEPT,
        )
