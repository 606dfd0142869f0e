"""The ways to change a fluid side by side."""

import math
from dataclasses import dataclass

from service.documents.presentation import Presentation
from service.usecases.plans import explain_plan
from service.usecases.plans.plan_exchange import PlannedExchange
from service.web.catalogue import tell, translate


@dataclass(frozen=True, slots=True, kw_only=True)
class ExchangeRow:
    """One way."""

    name: str
    is_advised: bool
    litres: str
    fresh: str
    life_after: str
    minutes: str
    cost: str
    lasts: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ExchangeTable:
    """All of them, which one is advised and why."""

    rows: tuple[ExchangeRow, ...]
    why: str
    come_back: str
    notes: tuple[str, ...]


def exchange_table(planned: PlannedExchange, presentation: Presentation) -> ExchangeTable:
    """Write a plan as a table."""
    plan = planned.plan
    advised = int(planned.recommended.option[0])
    shown = [row for row in range(len(plan.n_rounds)) if bool(plan.is_available[row, 0])]
    return ExchangeTable(
        rows=tuple(_row(planned, row, presentation, is_advised=row == advised) for row in shown),
        why=presentation.sentence(tell(explain_plan.why(planned))),
        come_back=presentation.sentence(tell(explain_plan.how_to_come_back(planned) or "")),
        notes=tuple(presentation.sentence(tell(note)) for note in explain_plan.notes(planned)),
    )


def _row(planned: PlannedExchange, row: int, presentation: Presentation, *, is_advised: bool) -> ExchangeRow:
    plan = planned.plan
    days = float(plan.due.days[row, 0])
    cost = presentation.money(float(plan.cost_minor[row, 0]), planned.numbers.currency)
    return ExchangeRow(
        name=tell(explain_plan.name_option(planned, row).capitalize()),
        is_advised=is_advised,
        litres=presentation.volume(float(plan.poured_litres[row, 0])),
        fresh=presentation.percent(float(plan.fresh_share[row, 0])),
        life_after=presentation.percent(float(plan.life_used_after[row, 0])),
        minutes=translate("line_minutes", minutes=presentation.number(float(plan.labour_minutes[row, 0]))),
        cost=f"{cost}\u00a0{planned.numbers.currency}",
        lasts=_lasts(days),
    )


def _lasts(days: float) -> str:
    if not math.isfinite(days):
        return translate("lasts_always")
    months = round(days / (365.25 / 12.0))
    return translate("months", n=months) if months else translate("lasts_at_once")
