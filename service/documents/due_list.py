"""The due list of a week as CSV, XLSX and PDF."""

from dataclasses import replace
from datetime import date
from itertools import groupby

from service.documents.csv_file import write_csv
from service.documents.models import DueLine, DueList, ShelfItem
from service.documents.pdf import Json, render_pdf
from service.documents.presentation import Presentation
from service.documents.tables import due_list_facts, due_list_sheet, parts_in_words
from service.documents.xlsx_file import write_xlsx


def due_list_csv(due_list: DueList, presentation: Presentation) -> bytes:
    """Write one row a line."""
    return write_csv(due_list_sheet(due_list, presentation))


def due_list_xlsx(due_list: DueList, presentation: Presentation) -> bytes:
    """Write a workbook with one sheet, the facts of the week above the table."""
    return write_xlsx(due_list_sheet(due_list, presentation), presentation, due_list.published_at)


def due_list_pdf(due_list: DueList, presentation: Presentation) -> bytes:
    """Typeset the list on landscape paper: lines under their visit day, then what to take off the shelf."""
    words = presentation.labels
    title = f"{words['due_list']} {due_list.iso_week}"
    facts = due_list_facts(
        replace(due_list, litres_by_fluid=()) if due_list.shelf else due_list, presentation
    )
    return render_pdf(
        "due_list",
        {
            "title": title,
            "language": presentation.language,
            "paper": presentation.paper,
            "words": words,
            "footer": " · ".join(filter(None, (due_list.organisation, title, due_list.url))),
            "facts": facts,
            "groups": _groups(due_list.lines, presentation),
            "shelf": [_shelf(item, presentation) for item in due_list.shelf],
            "notes": due_list.notes,
        },
    )


def _groups(lines: tuple[DueLine, ...], presentation: Presentation) -> list[Json]:
    """Put the lines under their visit day, a vehicle's together, as on the page; those without a day come last."""
    ordered = sorted(lines, key=lambda line: (line.visit_on or date.max, line.depot, line.vehicle))
    return [
        {
            "title": f"{presentation.weekday(day)} {presentation.day(day)}"
            if day
            else presentation.labels["no_visit"],
            "lines": [_line(line, presentation) for line in group],
        }
        for day, group in groupby(ordered, key=lambda line: line.visit_on)
    ]


def _line(line: DueLine, presentation: Presentation) -> Json:
    words = presentation.labels
    return {
        "closed": "" if line.state == "open" else words[f"state_{line.state}"],
        "vehicle": line.vehicle,
        "depot": line.depot,
        "compartment": line.compartment,
        "fluid": line.fluid,
        "reason": presentation.sentence(line.reason),
        "caution": line.caution,
        "overdue": words["overdue"] if line.is_overdue else "",
        "due_p50": presentation.day(line.due_p50_on),
        "limit": line.limit,
        "due_range": _due_range(line, presentation),
        "method": line.method,
        "rounds": _rounds(line, presentation),
        "volume": presentation.volume(line.volume_litres),
        "minutes": f"{presentation.working_time(line.work_minutes)} {words['of_work']}"
        if line.work_minutes is not None
        else "",
        "parts": parts_in_words(line.parts),
        "change": words[line.change],
        "first_listed": f"{words['since']} {presentation.day(line.first_listed_on)}"
        if line.change != "new"
        else "",
    }


def _due_range(line: DueLine, presentation: Presentation) -> str:
    if line.due_p10_on is None or line.due_p90_on is None:
        return ""
    if line.due_p10_on == line.due_p90_on:
        return ""
    words = presentation.labels
    early, late = presentation.day(line.due_p10_on), presentation.day(line.due_p90_on)
    return f"{words['between']} {early} {words['and']} {late}"


def _rounds(line: DueLine, presentation: Presentation) -> str:
    if not line.n_rounds:
        return ""
    words = presentation.labels
    return f"{line.n_rounds} {words['round'] if line.n_rounds == 1 else words['rounds_many']},"


def _shelf(item: ShelfItem, presentation: Presentation) -> Json:
    counted = "" if item.quantity is None else f"{presentation.number(item.quantity)} ×"
    measured = "" if item.volume_litres is None else presentation.volume(item.volume_litres)
    return {"item": item.item, "quantity": measured or counted}
