"""Documents as rows under headings: what CSV and XLSX both write, so that they never differ."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Literal

from service.documents.models import DueLine, DueList, OrderLine, OrderPlan, PartNeed
from service.documents.presentation import Presentation
from service.domain.money import minor_per_major, money_decimals

Cell = str | int | float | bool | date | None
Kind = Literal["text", "long text", "whole", "decimal", "date"]


@dataclass(frozen=True, slots=True)
class Column:
    """One heading, what its cells are, and how wide it is in characters."""

    heading: str
    kind: Kind
    width: int
    n_decimals: int = 2
    """Of a cell of the kind decimal."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A titled table, with facts about it for those formats that have room for them."""

    title: str
    facts: tuple[tuple[str, str], ...]
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]


def parts_in_words(parts: tuple[PartNeed, ...]) -> str:
    """Write parts on one line, e.g. "2 × sealing washer"."""
    return ", ".join(f"{part.quantity} × {part.name}" for part in parts)


def due_list_sheet(due_list: DueList, presentation: Presentation) -> Sheet:
    """Lay the due list out as a table, one row a line; volumes stay in litres, as the heading says."""
    words = presentation.labels
    columns = (
        Column(words["vehicle"], "text", 16),
        Column(words["depot"], "text", 14),
        Column(words["compartment"], "text", 18),
        Column(words["fluid"], "text", 20),
        Column(words["why"], "long text", 44),
        Column(words["limit"], "text", 13),
        Column(words["due_p10"], "date", 11),
        Column(words["due_p50"], "date", 11),
        Column(words["due_p90"], "date", 11),
        Column(words["visit_day"], "date", 11),
        Column(words["method"], "text", 16),
        Column(words["rounds"], "whole", 8),
        Column(f"{words['volume']} [L]", "decimal", 11),
        Column(words["work_minutes"], "whole", 11),
        Column(words["parts"], "long text", 26),
        Column(words["change"], "text", 13),
        Column(words["first_listed"], "date", 11),
        Column(words["overdue"], "text", 9),
        Column(words["caution"], "long text", 32),
        Column(words["state"], "text", 9),
    )
    return Sheet(
        title=f"{words['due_list']} {due_list.iso_week}",
        facts=due_list_facts(due_list, presentation),
        columns=columns,
        rows=tuple(_due_row(line, presentation) for line in due_list.lines),
    )


def due_list_facts(due_list: DueList, presentation: Presentation) -> tuple[tuple[str, str], ...]:
    """Name the organisation, the week and the totals, label and value."""
    return tuple(_facts_of(due_list, presentation))


def _facts_of(due_list: DueList, presentation: Presentation) -> Iterator[tuple[str, str]]:
    words = presentation.labels
    yield words["organisation"], due_list.organisation
    yield words["week"], due_list.iso_week
    yield words["draft_of" if due_list.is_draft else "published"], presentation.moment(due_list.published_at)
    yield words["vehicles"], presentation.number(len({line.vehicle for line in due_list.lines}))
    yield words["lines"], presentation.number(len(due_list.lines))
    if due_list.bay_minutes is not None:
        yield words["bay_time"], f"{presentation.working_time(due_list.bay_minutes)}, {words['with_set_up']}"
    if due_list.litres_by_fluid:
        volumes = (f"{fluid} {presentation.volume(litres)}" for fluid, litres in due_list.litres_by_fluid)
        yield words["fluid"], ", ".join(volumes)


def _due_row(line: DueLine, presentation: Presentation) -> tuple[Cell, ...]:
    words = presentation.labels
    return (
        line.vehicle,
        line.depot,
        line.compartment,
        line.fluid,
        presentation.sentence(line.reason),
        line.limit,
        line.due_p10_on,
        line.due_p50_on,
        line.due_p90_on,
        line.visit_on,
        line.method,
        line.n_rounds,
        line.volume_litres,
        line.work_minutes,
        parts_in_words(line.parts),
        words[line.change],
        line.first_listed_on,
        words["yes"] if line.is_overdue else words["no"],
        line.caution,
        words[f"state_{line.state}"],
    )


def order_plan_sheet(plan: OrderPlan, presentation: Presentation) -> Sheet:
    """Lay the order plan out as a table, one row an order."""
    words = presentation.labels
    columns = (
        Column(words["item"], "text", 24),
        Column(words["packs"], "whole", 8),
        Column(words["unit"], "text", 16),
        Column(f"{words['volume']} [L]", "decimal", 11),
        Column(words["order_by"], "date", 11),
        Column(words["arrives"], "date", 11),
        Column(cost_heading(plan, presentation), "decimal", 12, money_decimals(plan.currency)),
        Column(words["why"], "long text", 44),
        Column(words["if_not_ordered"], "long text", 36),
    )
    return Sheet(
        title=words["order_plan"],
        facts=(
            *order_plan_facts(plan, presentation),
            *((words["notes"], presentation.sentence(note)) for note in plan.notes),
        ),
        columns=columns,
        rows=tuple(_order_row(line, plan.currency, presentation) for line in plan.lines),
    )


def cost_heading(plan: OrderPlan, presentation: Presentation) -> str:
    """Name the cost column, with the currency where one is kept."""
    word = presentation.labels["cost"]
    return f"{word} [{plan.currency}]" if plan.currency else word


def order_plan_facts(plan: OrderPlan, presentation: Presentation) -> tuple[tuple[str, str], ...]:
    """Name the organisation, the day of planning and how far ahead the plan looks."""
    words = presentation.labels
    return (
        (words["organisation"], plan.organisation),
        (words["planned"], presentation.moment(plan.planned_at)),
        (words["weeks_ahead"].capitalize(), presentation.number(plan.n_weeks)),
    )


def _order_row(line: OrderLine, currency: str, presentation: Presentation) -> tuple[Cell, ...]:
    return (
        line.item,
        line.n_packs,
        line.pack,
        line.volume_litres,
        line.order_by_on,
        line.arrives_on,
        None if line.cost_minor is None else line.cost_minor / minor_per_major(currency),
        presentation.sentence(line.why),
        presentation.sentence(line.if_not_ordered),
    )
