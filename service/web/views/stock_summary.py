"""What runs short first and what to order by when, one row an article."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from service.documents.presentation import Presentation
from service.usecases.orders.plan_orders import ItemPlan, StockPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the card of an article already says in words."""

    item: str
    on_hand: str
    on_order: str
    """Empty where nothing is."""

    middle: str
    """Most likely need over the weeks."""

    packs: str
    """Of the first order; empty where none is advised."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SummaryRow:
    """One article."""

    place: int
    """Which card of the page tells more."""

    told: Told
    short_from: str
    order_by: str
    is_late: bool
    is_helpless: bool
    """It runs short and nothing can be ordered: its card says why."""


def worst_first(
    plan: StockPlan, items: Sequence[ItemPlan], told: Sequence[Told], presentation: Presentation
) -> tuple[SummaryRow, ...]:
    """Sort articles by the day on which something has to be done, then by the week that runs short."""
    rows = []
    for place, (one, words) in enumerate(zip(items, told, strict=True), start=1):
        today, is_short = plan.forecast.today, one.first_short_week >= 0
        short_from = max(plan.forecast.weeks[one.first_short_week].first_day, today) if is_short else None
        order_by = one.orders[0].order_by if one.orders else None
        row = SummaryRow(
            place=place,
            told=words,
            short_from=presentation.day(short_from),
            order_by="" if order_by is None else presentation.day(order_by),
            is_late=order_by is not None and order_by <= today,
            is_helpless=order_by is None and is_short,
        )
        act_on = order_by or (today if is_short else date.max)
        rows.append((act_on, short_from or date.max, place, row))
    return tuple(row for *_, row in sorted(rows, key=lambda ranked: ranked[:3]))
