"""Order plan, count sheet and used-fluid label, read back with csv, openpyxl and pypdf."""

import csv
import io
from dataclasses import replace

import openpyxl
import pytest

from service.documents.count_sheet import count_sheet_pdf
from service.documents.models import CountLine
from service.documents.order_plan import order_plan_csv, order_plan_pdf, order_plan_xlsx
from service.documents.presentation import Presentation
from service.documents.used_fluid_label import used_fluid_label_pdf
from service.errors import InvalidInputError
from tests.documents.factories import count_sheet, order_line, order_plan, used_fluid_label
from tests.documents.pdf_reading import claims_pdf_ua, full_text, page_texts


def test_order_plan_csv_has_packs_dates_and_money_as_numbers(presentation: Presentation) -> None:
    rows = list(csv.DictReader(io.StringIO(order_plan_csv(order_plan(), presentation).decode(), newline="")))
    assert [int(row["Packs"]) for row in rows] == [3, 4, 5, 6, 7]
    assert [float(row["Cost [EUR]"]) for row in rows] == [129.90, 129.91, 129.92, 129.93, 129.94]
    assert rows[0]["Order by"] == "2026-05-13"


def test_order_plan_workbook_reads_back(presentation: Presentation) -> None:
    page = openpyxl.load_workbook(io.BytesIO(order_plan_xlsx(order_plan(), presentation))).active
    assert page is not None
    values = [[cell.value for cell in row] for row in page.iter_rows()]
    heading = next(row for row in values if "Order by" in row)
    first = values[values.index(heading) + 1]
    assert first[heading.index("Cost [EUR]")] == 129.9
    assert first[heading.index("Item")] == "Example fluid 0"


CURRENCIES = [
    ("EUR", "649.60 EUR", 129.90, "0.00"),
    ("JPY", "64 960 JPY", 12_990, "0"),
    ("KWD", "64.960 KWD", 12.990, "0.000"),
    ("CLF", "6.4960 CLF", 1.2990, "0.0000"),
]
"""Minor units of ISO 4217: two decimals, none, three and four."""


@pytest.mark.parametrize(("currency", "total", "first", "cells"), CURRENCIES)
def test_every_form_of_the_plan_follows_the_currency_s_smallest_unit(
    currency: str, total: str, first: float, cells: str, presentation: Presentation
) -> None:
    plan = order_plan(currency=currency)
    text = full_text(order_plan_pdf(plan, presentation))
    assert f"Total: {total}" in text.replace("\u202f", " ")
    rows = list(csv.DictReader(io.StringIO(order_plan_csv(plan, presentation).decode(), newline="")))
    assert float(rows[0][f"Cost [{currency}]"]) == first
    page = openpyxl.load_workbook(io.BytesIO(order_plan_xlsx(plan, presentation))).active
    assert page is not None
    table = [list(row) for row in page.iter_rows()]
    heading = next(row for row in table if "Order by" in [cell.value for cell in row])
    cell = table[table.index(heading) + 1][[cell.value for cell in heading].index(f"Cost [{currency}]")]
    assert (cell.value, cell.number_format) == (pytest.approx(first), cells)


def test_a_plan_with_an_unknown_price_gives_no_total(presentation: Presentation) -> None:
    lines = (order_line(0), order_line(1, cost_minor=None))
    text = full_text(order_plan_pdf(order_plan(lines), presentation))
    assert "Total:" not in text
    assert "129.90" in text


def test_order_plan_says_why_and_what_happens_otherwise(presentation: Presentation) -> None:
    content = order_plan_pdf(order_plan(), presentation)
    text = full_text(content)
    assert claims_pdf_ua(content)
    assert "needs 21 litres in 9 of 10 cases" in text
    assert "Two visits of that week would have to wait." in text
    assert "Nothing that is on sale has to be ordered." in full_text(
        order_plan_pdf(order_plan(()), presentation)
    )


def test_count_sheet_names_every_item_with_its_unit(presentation: Presentation) -> None:
    content = count_sheet_pdf(count_sheet(), presentation)
    text = full_text(content)
    assert claims_pdf_ua(content)
    assert "Item Unit Counted Example ATF VI litres sealing washer W-18 pieces" in text
    assert "Enter the count at https://sumpwise.example/stock" in text


def test_a_count_sheet_of_nothing_says_so(presentation: Presentation) -> None:
    text = full_text(count_sheet_pdf(count_sheet(lines=()), presentation))
    assert "No fluid and no part is kept yet." in text
    assert "Counted by" in text


def test_count_sheet_of_many_items_repeats_its_headings(presentation: Presentation) -> None:
    lines = tuple(CountLine(item=f"item {i}", unit="pieces") for i in range(100))
    pages = page_texts(count_sheet_pdf(count_sheet(lines=lines), presentation))
    assert len(pages) > 2
    assert all("Item Unit Counted" in page for page in pages[:-1])


def test_label_carries_the_words_the_law_asks_for(presentation: Presentation) -> None:
    """40 CFR 279.22(c)(1): containers are labelled or marked clearly with the words "Used Oil"."""
    content = used_fluid_label_pdf(used_fluid_label(), presentation)
    (page,) = page_texts(content)
    assert page.startswith("Used Oil")
    for shown in ("Gear and transmission oil", "Northgate", "13 02 05*, 13 02 06*", "205 L", "Keep closed."):
        assert shown in page.replace("\u00a0", " ")
    assert "Never mix in: Brake fluid" in page
    assert claims_pdf_ua(content)


def test_what_nobody_knows_is_left_to_be_written_on_the_label(presentation: Presentation) -> None:
    label = used_fluid_label(opened_on=None, capacity_litres=None)
    (page,) = page_texts(used_fluid_label_pdf(label, presentation))
    assert "In use since" in page
    assert "None" not in page


def test_the_codes_say_where_they_hold_and_without_any_there_is_room_for_another(
    presentation: Presentation,
) -> None:
    (page,) = page_texts(used_fluid_label_pdf(used_fluid_label(), presentation))
    assert "Waste code in the EU and the UK, one of these" in page
    (page,) = page_texts(used_fluid_label_pdf(used_fluid_label(waste_codes=()), presentation))
    assert "Waste code" in page
    assert "EU" not in page


@pytest.mark.parametrize("required", ["", "  "])
def test_a_label_without_its_words_is_refused(required: str, presentation: Presentation) -> None:
    with pytest.raises(InvalidInputError) as refusal:
        used_fluid_label_pdf(used_fluid_label(required_words=required), presentation)
    assert refusal.value.errors[0].pointer == "/required_words"


def test_same_values_same_bytes(presentation: Presentation) -> None:
    assert order_plan_pdf(order_plan(), presentation) == order_plan_pdf(order_plan(), presentation)
    assert order_plan_xlsx(order_plan(), presentation) == order_plan_xlsx(order_plan(), presentation)
    assert count_sheet_pdf(count_sheet(), presentation) == count_sheet_pdf(count_sheet(), presentation)


def test_placing_an_order_is_no_pack_and_packs_have_the_decimals_they_are_sold_by(
    presentation: Presentation,
) -> None:
    lines = (
        order_line(0, pack="208 L", n_packs=2, volume_litres=416.0),
        order_line(1, pack="placing the order", n_packs=1, volume_litres=None),
    )
    text = full_text(order_plan_pdf(order_plan(lines), presentation))
    assert "2 × 208 L" in text
    assert "416 L" in text.replace("\u00a0", " ")
    assert "placing the order" in text
    assert "1 × placing" not in text


def test_what_is_needed_and_in_no_order_stands_on_the_paper_and_in_the_workbook(
    presentation: Presentation,
) -> None:
    note = "Axle oil: needed, and in no order, 4.6 L / 12 weeks."
    plan = replace(order_plan(()), notes=(note,))
    text = full_text(order_plan_pdf(plan, presentation))
    assert presentation.sentence(note) in text
    page = openpyxl.load_workbook(io.BytesIO(order_plan_xlsx(plan, presentation))).active
    cells = [cell.value for row in page.iter_rows() for cell in row]
    assert presentation.sentence(note) in cells
