"""The order plan as CSV, XLSX and PDF."""

from itertools import pairwise

from service.documents.csv_file import write_csv
from service.documents.models import OrderLine, OrderPlan
from service.documents.pdf import Json, render_pdf
from service.documents.presentation import Presentation
from service.documents.tables import cost_heading, order_plan_facts, order_plan_sheet
from service.documents.xlsx_file import write_xlsx


def order_plan_csv(plan: OrderPlan, presentation: Presentation) -> bytes:
    """Write one row an order."""
    return write_csv(order_plan_sheet(plan, presentation))


def order_plan_xlsx(plan: OrderPlan, presentation: Presentation) -> bytes:
    """Write a workbook with one sheet, the facts of the plan above the table."""
    return write_xlsx(order_plan_sheet(plan, presentation), presentation, plan.planned_at)


def order_plan_pdf(plan: OrderPlan, presentation: Presentation) -> bytes:
    """Typeset the plan on landscape paper, the orders as given, with their total where all prices are known."""
    words = presentation.labels
    title = words["order_plan"]
    return render_pdf(
        "order_plan",
        {
            "title": title,
            "language": presentation.language,
            "paper": presentation.paper,
            "words": words,
            "footer": f"{plan.organisation} · {title} · {words['planned']} {presentation.moment(plan.planned_at)}",
            "facts": order_plan_facts(plan, presentation),
            "lines": [
                _line(line, before, plan, presentation)
                for before, line in pairwise((None, *plan.lines))
                if line is not None
            ],
            "cost_heading": cost_heading(plan, presentation),
            "total": _total(plan, presentation),
            "notes": [presentation.sentence(note) for note in plan.notes],
        },
    )


def _line(line: OrderLine, before: OrderLine | None, plan: OrderPlan, presentation: Presentation) -> Json:
    """Write one row; what belongs to the order of the row before is not explained and ticked off again."""
    is_further = before is not None and (line.item, line.order_by_on, line.why) == (
        before.item,
        before.order_by_on,
        before.why,
    )
    return {
        "is_further": is_further,
        "item": line.item,
        "packs": line.pack
        if line.pack == presentation.labels["placing_the_order"]
        else f"{presentation.number(line.n_packs)} × {line.pack}",
        "volume": "" if line.volume_litres is None else presentation.pack_size(line.volume_litres),
        "order_by": presentation.day(line.order_by_on),
        "arrives": presentation.day(line.arrives_on),
        "cost": presentation.money(line.cost_minor, plan.currency),
        "why": "" if is_further else presentation.sentence(line.why),
        "if_not_ordered": "" if is_further else presentation.sentence(line.if_not_ordered),
    }


def _total(plan: OrderPlan, presentation: Presentation) -> str:
    costs = [line.cost_minor for line in plan.lines if line.cost_minor is not None]
    if not costs or len(costs) < len(plan.lines):
        return ""
    return f"{presentation.money(sum(costs), plan.currency)} {plan.currency}".strip()
