"""The due list as CSV and XLSX, read back with the standard library and with openpyxl."""

import csv
import io
from dataclasses import replace
from datetime import date

import openpyxl
import pytest

from service.documents.due_list import due_list_csv, due_list_xlsx
from service.documents.presentation import Presentation
from service.documents.xlsx_file import MAX_CELL_CHARACTERS
from tests.documents.factories import due_line, due_list

NAMES = ("Фургон 7", "卡车-12", "Bus 😀 9", 'Ünï; cömma, "quote"\nbreak', "مركبة")
ATTACKS = ("=1+1", "+SUM(A1)", "-cmd", "@x", "＝1", "\t=1")


def _csv_rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def _table(content: bytes) -> tuple[openpyxl.worksheet.worksheet.Worksheet, int, dict[str, int]]:
    page = openpyxl.load_workbook(io.BytesIO(content)).active
    assert page is not None
    heading_row = next(r for r in range(1, 20) if page.cell(r, 1).value == "Vehicle")
    return page, heading_row, {str(c.value): c.column for c in page[heading_row]}


def test_csv_gives_every_line_with_its_dates_and_numbers(presentation: Presentation) -> None:
    given = due_list()
    rows = _csv_rows(due_list_csv(given, presentation))
    assert len(rows) == len(given.lines)
    for row, line in zip(rows, given.lines, strict=True):
        assert row["Vehicle"] == line.vehicle
        assert date.fromisoformat(row["Due P50"]) == line.due_p50_on
        assert float(row["Volume [L]"]) == pytest.approx(line.volume_litres, abs=5e-4)
        assert int(row["Rounds"]) == line.n_rounds
        assert row["Seals and parts"] == "2 × sealing washer W-18"
        assert row["Overdue"] == ("yes" if line.is_overdue else "no")


def test_csv_rows_end_as_rfc_4180_says_and_begin_with_a_heading(presentation: Presentation) -> None:
    """Without a byte order mark, which a program would take for part of the first heading."""
    content = due_list_csv(due_list(), presentation)
    assert content.count(b"\r\n") == 13
    assert content.startswith(b"Vehicle,")


@pytest.mark.parametrize("name", NAMES)
def test_names_of_any_script_come_back_from_csv_and_xlsx(name: str, presentation: Presentation) -> None:
    given = due_list((due_line(vehicle=name),))
    assert _csv_rows(due_list_csv(given, presentation))[0]["Vehicle"] == name
    page, heading_row, columns = _table(due_list_xlsx(given, presentation))
    assert page.cell(heading_row + 1, columns["Vehicle"]).value == name


@pytest.mark.parametrize("attack", ATTACKS)
def test_no_text_field_becomes_a_formula(attack: str, presentation: Presentation) -> None:
    fields = ("vehicle", "depot", "compartment", "fluid", "reason", "limit", "method", "caution")
    given = due_list((due_line(**dict.fromkeys(fields, attack)),), organisation=attack)
    row = _csv_rows(due_list_csv(given, presentation))[0]
    for heading in ("Vehicle", "Depot", "Compartment", "Fluid", "Why", "Limit", "Method", "Caution"):
        assert row[heading].startswith("'")
    page = openpyxl.load_workbook(io.BytesIO(due_list_xlsx(given, presentation))).active
    assert page is not None
    cells = [cell for cells in page.iter_rows() for cell in cells if cell.value is not None]
    assert not [cell for cell in cells if cell.data_type == "f"]
    assert sum(bool(cell.quotePrefix) for cell in cells) == len(fields) + 1


def test_true_numbers_stay_numbers_even_below_zero(presentation: Presentation) -> None:
    given = due_list((due_line(volume_litres=-1.25),))
    assert _csv_rows(due_list_csv(given, presentation))[0]["Volume [L]"] == "-1.25"
    page, heading_row, columns = _table(due_list_xlsx(given, presentation))
    cell = page.cell(heading_row + 1, columns["Volume [L]"])
    assert cell.data_type == "n"
    assert cell.value == -1.25


def test_workbook_is_set_up_to_be_read_and_printed(presentation: Presentation) -> None:
    page, heading_row, columns = _table(due_list_xlsx(due_list(), presentation))
    assert page.freeze_panes == f"B{heading_row + 1}"
    assert page.print_title_rows == f"${heading_row}:${heading_row}"
    assert page.page_setup.orientation == "landscape"
    assert int(page.page_setup.paperSize) == 9  # A4, ECMA-376 part 1, section 18.3.1.63
    assert page.sheet_properties.pageSetUpPr.fitToPage
    assert page.column_dimensions["E"].width > 40
    due = page.cell(heading_row + 1, columns["Due P50"])
    assert due.value.date() == date(2026, 5, 11)
    assert due.number_format == "yyyy-mm-dd"
    assert {page.cell(r, 1).value for r in range(2, heading_row - 1)} >= {
        "Organisation",
        "Week",
        "Bay time",
        "Fluid",
    }


def test_a_text_longer_than_a_cell_is_cut_and_not_lost(presentation: Presentation) -> None:
    page, heading_row, columns = _table(
        due_list_xlsx(due_list((due_line(reason="x" * 40_000),)), presentation)
    )
    text = str(page.cell(heading_row + 1, columns["Why"]).value)
    assert len(text) == MAX_CELL_CHARACTERS
    assert text.endswith("…")


def test_unknown_values_are_empty_cells(presentation: Presentation) -> None:
    bare = replace(
        due_line(),
        due_p10_on=None,
        due_p50_on=None,
        due_p90_on=None,
        visit_on=None,
        n_rounds=None,
        volume_litres=None,
        work_minutes=None,
        parts=(),
    )
    row = _csv_rows(due_list_csv(due_list((bare,)), presentation))[0]
    assert [row[h] for h in ("Due P10", "Visit day", "Rounds", "Volume [L]", "Seals and parts")] == [""] * 5
    page, heading_row, columns = _table(due_list_xlsx(due_list((bare,)), presentation))
    assert page.cell(heading_row + 1, columns["Due P10"]).value is None


def test_a_list_without_lines_is_a_table_with_headings(presentation: Presentation) -> None:
    assert _csv_rows(due_list_csv(due_list(()), presentation)) == []
    page, heading_row, _ = _table(due_list_xlsx(due_list(()), presentation))
    assert page.max_row <= heading_row + 1


@pytest.mark.parametrize("write", [due_list_csv, due_list_xlsx])
def test_the_same_list_gives_the_same_bytes(write, presentation: Presentation) -> None:  # type: ignore[no-untyped-def]
    assert write(due_list(), presentation) == write(due_list(), presentation)
