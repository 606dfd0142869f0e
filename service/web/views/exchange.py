"""The ways to change a fluid side by side."""

import math
from dataclasses import dataclass

from service.documents.presentation import Presentation
from service.domain.exchange_methods import ExchangeMethod
from service.domain.service_work import VISIT_SETUP_MINUTES
from service.engine.policy.inputs import Method
from service.usecases.plans import explain_plan
from service.usecases.plans.plan_exchange import METHOD_BY_CODE, PlannedExchange
from service.web.catalogue import tell, translate


@dataclass(frozen=True, slots=True, kw_only=True)
class ExchangeRow:
    """One way."""

    name: str
    is_advised: bool
    is_listed: bool
    """Whether the due list asks for this way."""

    litres: str
    fresh: str
    life_after: str
    minutes: str
    cost: str
    lasts: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ExchangeTable:
    """All of them, which one is advised and why."""

    poured: str
    """Heading of the litres, with the temperature at which they are meant."""

    rows: tuple[ExchangeRow, ...]
    why: str
    come_back: str
    notes: tuple[str, ...]


def exchange_table(
    planned: PlannedExchange, presentation: Presentation, listed: tuple[ExchangeMethod, int]
) -> ExchangeTable:
    """Write a plan as a table; `listed` is the way that the due list asks for, which weighs no prices."""
    plan = planned.plan
    shown = [row for row in range(len(plan.n_rounds)) if bool(plan.is_available[row, 0])]
    cold, warm = (
        presentation.celsius(planned.numbers[name]) for name in ("ambient_celsius", "level_celsius")
    )
    setup = presentation.working_time(VISIT_SETUP_MINUTES.value)
    return ExchangeTable(
        poured=translate("exchange_litres", celsius=cold),
        rows=tuple(_row(planned, row, presentation, listed) for row in shown),
        why=presentation.sentence(tell(explain_plan.why(planned))),
        come_back=presentation.sentence(tell(explain_plan.how_to_come_back(planned) or "")),
        notes=(
            *(presentation.sentence(tell(note)) for note in explain_plan.notes(planned)),
            translate("exchange_note", cold=cold, warm=warm, setup=setup),
        ),
    )


def _row(
    planned: PlannedExchange, row: int, presentation: Presentation, listed: tuple[ExchangeMethod, int]
) -> ExchangeRow:
    plan = planned.plan
    way = METHOD_BY_CODE[Method(int(plan.method[row]))], int(plan.n_rounds[row])
    days = float(plan.due.days[row, 0])
    cost = presentation.money(float(plan.cost_minor[row, 0]), planned.numbers.currency)
    return ExchangeRow(
        name=tell(explain_plan.name_option(planned, row).capitalize()),
        is_advised=row == int(planned.recommended.option[0]),
        is_listed=way == listed,
        litres=presentation.volume(float(plan.poured_litres[row, 0])),
        fresh=presentation.percent(float(plan.fresh_share[row, 0])),
        life_after=presentation.percent(float(plan.life_used_after[row, 0])),
        minutes=presentation.working_time(float(plan.labour_minutes[row, 0]) - VISIT_SETUP_MINUTES.value),
        cost=f"{cost}\u00a0{planned.numbers.currency}",
        lasts=_lasts(days),
    )


def _lasts(days: float) -> str:
    if not math.isfinite(days):
        return translate("lasts_always")
    months = round(days / (365.25 / 12.0))
    return translate("months", n=months) if months else translate("lasts_at_once")
