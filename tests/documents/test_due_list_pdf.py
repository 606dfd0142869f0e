"""The due list on paper, read back with pypdf; tagging by ISO 14289-1 (PDF/UA-1) and ISO 32000-1."""

from dataclasses import replace

import pytest

from service.documents.due_list import due_list_pdf
from service.documents.models import ShelfItem
from service.documents.presentation import Presentation
from tests.documents.factories import due_line, due_list
from tests.documents.pdf_reading import claims_pdf_ua, full_text, page_texts, reader, structure_roles

LONG = due_list(tuple(due_line(i) for i in range(120)))


def test_every_line_is_on_paper_with_what_the_mechanic_needs(presentation: Presentation) -> None:
    text = full_text(due_list_pdf(LONG, presentation))
    for line in LONG.lines:
        assert line.vehicle in text
    for words in (
        "Monday 2026-05-11",
        "8 in 10 times between 2026-05-02 and 2026-05-27",
        "drain and fill",
        "2 rounds,",
        "2 × sealing washer W-18",
        "OVERDUE.",
        "since 2026-05-01",
        "Caution: Fluid may be hotter than 100 °C.",
    ):
        assert words in text


def test_pages_are_numbered_and_table_headings_repeat(presentation: Presentation) -> None:
    pages = page_texts(due_list_pdf(LONG, presentation))
    assert len(pages) > 5
    for number, page in enumerate(pages, start=1):
        assert f"Page {number} of {len(pages)}" in page
        assert "Seals and parts Change" in page or "Take off the shelf" in page


def test_paper_is_landscape_of_the_chosen_size(presentation: Presentation) -> None:
    a4 = reader(due_list_pdf(due_list(), presentation)).pages[0].mediabox
    assert (round(float(a4.width)), round(float(a4.height))) == (
        842,
        595,
    )  # ISO 216: 297 mm × 210 mm in points
    letter = reader(due_list_pdf(due_list(), Presentation(paper="us-letter"))).pages[0].mediabox
    assert (round(float(letter.width)), round(float(letter.height))) == (792, 612)  # 11 in × 8.5 in


def test_document_is_tagged_titled_and_claims_pdf_ua(presentation: Presentation) -> None:
    content = due_list_pdf(due_list(), presentation)
    assert claims_pdf_ua(content)
    assert {"/Table", "/TR", "/TH", "/TD", "/H1", "/H2"} <= structure_roles(content)
    metadata = reader(content).metadata
    assert metadata is not None
    assert metadata.title == "Due list 2026-W20"
    assert reader(content).trailer["/Root"]["/Lang"] == "en"  # type: ignore[index]


@pytest.mark.parametrize(
    "markup",
    ["#panic()", "*bold* _x_", "$ x^2 $", "= Heading", '#read("/etc/passwd")', "\\ @ref <a>", '"}, {"'],
)
def test_markup_in_a_name_is_printed_and_never_acts(markup: str, presentation: Presentation) -> None:
    text = full_text(due_list_pdf(due_list((due_line(vehicle=f"a {markup} z"),)), presentation))
    assert f"a{markup}z".replace(" ", "") in text.replace(" ", "")  # lines break anywhere


@pytest.mark.parametrize("name", ["Фургон Ж-7", "Ünïcode Œuvre", "Λεωφορείο"])
def test_names_in_scripts_of_the_built_in_typeface_are_printed(name: str, presentation: Presentation) -> None:
    content = due_list_pdf(due_list((due_line(vehicle=name),)), presentation)
    assert name in full_text(content)
    assert claims_pdf_ua(content)


def test_a_name_that_no_font_has_stays_distinguishable(presentation: Presentation) -> None:
    """U+10FFFD is a private-use character, so no font of any machine has it."""
    lines = (due_line(0, vehicle="\U0010fffd-1"), due_line(1, vehicle="\U0010fffc-1"))
    content = due_list_pdf(due_list(lines), presentation)
    text = full_text(content)
    assert "[U+10FFFD]-1" in text
    assert "[U+10FFFC]-1" in text
    assert claims_pdf_ua(content)


@pytest.mark.parametrize("name", ["卡车-12", "Bus 😀 9", "👩‍🔧", "مركبة", "\u202eevil", "a\x00b\ud800c"])
def test_no_name_can_stop_the_document(name: str, presentation: Presentation) -> None:
    content = due_list_pdf(due_list((due_line(vehicle=name),)), presentation)
    assert claims_pdf_ua(content)
    assert "automatic transmission" in full_text(content)


def test_very_long_words_stay_on_the_page(presentation: Presentation) -> None:
    content = due_list_pdf(
        due_list((due_line(vehicle="W" * 120, reason="x" * 900, compartment="c" * 200),)), presentation
    )
    width = float(reader(content).pages[0].mediabox.width)
    rights: list[float] = []
    for page in reader(content).pages:
        page.extract_text(
            visitor_text=lambda text, cm, tm, fd, size: rights.append(tm[4]) if text.strip() else None
        )
    assert rights
    assert max(rights) < width


def test_an_empty_list_says_so(presentation: Presentation) -> None:
    text = full_text(due_list_pdf(due_list((), shelf=()), presentation))
    assert "Nothing is due in this week." in text


def test_units_dates_and_marks_follow_the_organisation() -> None:
    us = Presentation(volume_unit="US qt", date_style="month first", paper="us-letter")
    text = full_text(due_list_pdf(due_list((due_line(volume_litres=10.0),)), us))
    assert "10.6 US qt" in text  # 10 L / 0.946352946 L, NIST Handbook 44 appendix C
    assert "05/11/2026" in text
    comma = full_text(
        due_list_pdf(due_list((due_line(volume_litres=10.25),)), Presentation(decimal_mark=","))
    )
    assert "10,2 L" in comma


def test_the_same_list_gives_the_same_bytes(presentation: Presentation) -> None:
    assert due_list_pdf(due_list(), presentation) == due_list_pdf(due_list(), presentation)


def test_a_draft_is_not_said_to_be_published(presentation: Presentation) -> None:
    assert "Draft of" not in full_text(due_list_pdf(due_list(), presentation))
    text = full_text(due_list_pdf(due_list(is_draft=True), presentation))
    assert "Draft of" in text
    assert "Published" not in text


def test_a_day_that_is_certain_has_no_range(presentation: Presentation) -> None:
    line = due_line(0)
    certain = replace(line, due_p10_on=line.due_p50_on, due_p90_on=line.due_p50_on)
    assert "8 in 10 times" not in full_text(due_list_pdf(due_list((certain,)), presentation))


def test_the_shelf_is_measured_or_counted(presentation: Presentation) -> None:
    items = (ShelfItem(item="Invented oil", volume_litres=5.0), ShelfItem(item="washer", quantity=4))
    text = full_text(due_list_pdf(due_list(shelf=items), presentation)).replace("\u00a0", " ")
    assert "Item Quantity Invented oil 5.0 L washer 4 ×" in text


def test_a_mark_that_no_font_has_does_not_take_the_letter_below_it_along(presentation: Presentation) -> None:
    """U+08CA, a small mark of Arabic, on a digit that stands in the layout's own names too."""
    text = full_text(due_list_pdf(due_list((due_line(vehicle="0\u08ca"),)), presentation))
    assert "Change 0 Northgate" in text


def test_the_lines_of_a_visit_stand_together(presentation: Presentation) -> None:
    day = due_line(0).visit_on
    lines = tuple(
        replace(due_line(0), vehicle=vehicle, compartment=compartment, depot="North", visit_on=day)
        for vehicle, compartment in (("VAN-2", "engine"), ("VAN-1", "gearbox"), ("VAN-2", "coolant"))
    )
    text = full_text(due_list_pdf(due_list(lines), presentation))
    assert text.index("gearbox") < text.index("engine") < text.index("coolant")
    assert text.index("VAN-1") < text.index("VAN-2")
