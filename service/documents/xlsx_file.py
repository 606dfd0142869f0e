"""A sheet as an Office Open XML workbook: headings frozen, filters on, ready to print on landscape paper."""

import io
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, Final

import xlsxwriter

from service.documents.presentation import Presentation
from service.documents.tables import Cell, Column, Kind, Sheet
from service.documents.text import clean_text, looks_like_formula

MAX_CELL_CHARACTERS: Final = 32_767
"""The most characters one cell holds (spreadsheet program's limit; the writer drops longer text silently)."""

_PAPER: Final[Mapping[str, int]] = {"us-letter": 1, "a4": 9}
_NUMBER_FORMATS: Final[Mapping[Kind, str]] = {
    "text": "@",
    "long text": "@",
    "whole": "0",
    "date": "yyyy-mm-dd",
}


def write_xlsx(sheet: Sheet, presentation: Presentation, written_at: datetime) -> bytes:
    """Write the sheet as a workbook; texts can never become formulas, links or numbers."""
    buffer = io.BytesIO()
    workbook = xlsxwriter.Workbook(
        buffer,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_numbers": False,
            "strings_to_urls": False,
            "default_date_format": "yyyy-mm-dd",
        },
    )
    workbook.set_properties({"title": clean_text(sheet.title), "created": written_at.replace(tzinfo=None)})
    page = workbook.add_worksheet(_sheet_name(sheet.title))
    first_row = _write_facts(workbook, page, sheet)
    _write_headings(workbook, page, sheet.columns, first_row)
    _write_rows(workbook, page, sheet, first_row + 1)
    _set_up_print(page, sheet, presentation, first_row)
    workbook.close()
    return buffer.getvalue()


def _sheet_name(title: str) -> str:
    """Drop what a sheet's name may not hold (ECMA-376 part 1, section 18.2.19) and keep 31 characters."""
    return "".join(c for c in clean_text(title) if c not in "[]:*?/\\'\n")[:31] or "1"


def _write_facts(workbook: Any, page: Any, sheet: Sheet) -> int:
    """Write title and facts above the table; return the row of the headings."""
    page.write_string(0, 0, _cut(sheet.title), workbook.add_format({"bold": True, "font_size": 14}))
    bold = workbook.add_format({"bold": True})
    plain, quoted = workbook.add_format(), workbook.add_format({"quote_prefix": True})
    for row, (label, value) in enumerate(sheet.facts, start=1):
        page.write_string(row, 0, _cut(label), bold)
        page.write_string(row, 1, _cut(value), quoted if looks_like_formula(value) else plain)
    return len(sheet.facts) + 2


def _write_headings(workbook: Any, page: Any, columns: tuple[Column, ...], row: int) -> None:
    style = workbook.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 2})
    for index, column in enumerate(columns):
        page.write_string(row, index, _cut(column.heading), style)
        page.set_column(index, index, column.width)


def _write_rows(workbook: Any, page: Any, sheet: Sheet, first_row: int) -> None:
    base = {"valign": "top", "bottom": 4, "text_wrap": True}
    styles = [workbook.add_format(base | {"num_format": _number_format(one)}) for one in sheet.columns]
    quoted = workbook.add_format(base | {"num_format": "@", "quote_prefix": True})
    for row_index, row in enumerate(sheet.rows, start=first_row):
        for index, (style, cell) in enumerate(zip(styles, row, strict=True)):
            risky = isinstance(cell, str) and looks_like_formula(cell)
            _write_cell(page, (row_index, index), cell, quoted if risky else style)


def _number_format(column: Column) -> str:
    if column.kind == "decimal":
        return f"{0:.{column.n_decimals}f}"
    return _NUMBER_FORMATS[column.kind]


def _write_cell(page: Any, place: tuple[int, int], cell: Cell, style: Any) -> None:
    if cell is None or cell == "":
        page.write_blank(*place, None, style)
    elif isinstance(cell, str):
        page.write_string(*place, _cut(cell), style)
    elif isinstance(cell, date):
        page.write_datetime(*place, datetime(cell.year, cell.month, cell.day), style)  # noqa: DTZ001  a civil date
    else:
        page.write_number(*place, cell, style)


def _set_up_print(page: Any, sheet: Sheet, presentation: Presentation, heading_row: int) -> None:
    last_row, last_column = heading_row + len(sheet.rows), len(sheet.columns) - 1
    page.freeze_panes(heading_row + 1, 1)
    page.autofilter(heading_row, 0, max(last_row, heading_row + 1), last_column)
    page.repeat_rows(heading_row)
    page.set_landscape()
    page.set_paper(_PAPER[presentation.paper])
    page.fit_to_pages(1, 0)
    page.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
    page.set_footer(f"&L{sheet.title.replace('&', '&&')}&R&P / &N")


def _cut(text: str) -> str:
    cleaned = clean_text(text)
    return cleaned if len(cleaned) <= MAX_CELL_CHARACTERS else cleaned[: MAX_CELL_CHARACTERS - 1] + "…"
