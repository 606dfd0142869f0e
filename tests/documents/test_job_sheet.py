"""The job sheet on paper, read back with pypdf; the QR code read back as its modules."""

import re

import pytest
import segno

from service.documents.job_sheet import job_sheet_pdf
from service.documents.models import WorkStep
from service.documents.presentation import Presentation
from service.documents.qr_code import qr_svg
from tests.documents.factories import job_compartment, job_sheet
from tests.documents.pdf_reading import claims_pdf_ua, full_text, page_texts, reader, structure_roles


def test_sheet_leads_through_the_job(presentation: Presentation) -> None:
    text = full_text(job_sheet_pdf(job_sheet(), presentation))
    for words in (
        "VAN-007",
        "EX 07 AMP",
        "123\u202f456 km",
        "Example specification T-IV (invented)",
        "Label and maker's data agree",
        "Amounts, drained at 40 °C, filled at 20 °C",
        "3.9 L",
        "4.1 L",
        "82 %",
        "Caution: If it does not open, do not drain.",
        "35 °C – 45 °C",
        "If as much goes in at 20 °C as came out at 40 °C: about 0.18 L",
        "Torque, from the maker's data only",
        "Seals and washers renewed",
        "Fluid counter reset",
        "What the fluid looked like",
        "before after",
        "a qualified technician decide",
        "Name and signature",
        "Date",
        "https://sumpwise.example/jobs/7f3a",
    ):
        assert words.replace("\u202f", " ") in text.replace("\u202f", " ").replace("\u00a0", " ")


def test_fill_plug_comes_before_draining_as_the_steps_were_given(presentation: Presentation) -> None:
    text = full_text(job_sheet_pdf(job_sheet(), presentation))
    positions = [text.index(step.text) for step in job_compartment().steps]
    assert positions == sorted(positions)


def test_every_compartment_has_its_own_part(presentation: Presentation) -> None:
    names = ("Automatic transmission", "Rear axle", "Transfer box")
    given = job_sheet(compartments=tuple(job_compartment(compartment=name) for name in names))
    content = job_sheet_pdf(given, presentation)
    text = full_text(content)
    assert all(f"{name} 60 000 km" in text.replace("\n", " ") for name in names)
    assert text.count("Temperature at the check") == 3
    pages = page_texts(content)
    assert all(f"Page {n} of {len(pages)}" in page for n, page in enumerate(pages, start=1))


def test_a_caution_of_one_compartment_stands_with_its_work(presentation: Presentation) -> None:
    parts = (
        job_compartment(compartment="gearbox"),
        job_compartment(compartment="brakes", cautions=("Pump the pedal until it is hard.",)),
    )
    text = full_text(job_sheet_pdf(job_sheet(compartments=parts), presentation)).replace("\n", " ")
    assert text.count("Pump the pedal") == 1
    assert text.index("brakes") < text.index("Pump the pedal") < text.rindex("Order of work")


def test_hours_are_asked_for_where_they_are_read(presentation: Presentation) -> None:
    text = full_text(job_sheet_pdf(job_sheet(engine_hours=4123.4), presentation)).replace("\u202f", " ")
    assert "Engine hours, estimated 4 123 h" in text
    assert "Odometer at the visit Engine hours at the visit Name and signature Date" in text
    assert "Engine hours" not in full_text(job_sheet_pdf(job_sheet(), presentation))


def test_work_without_rounds_says_how_much_goes_in_and_has_room_for_what_did(
    presentation: Presentation,
) -> None:
    part = job_compartment(method="Flush through", rounds=(), litres=1.5, excess_expected_litres=None)
    text = full_text(job_sheet_pdf(job_sheet(compartments=(part,)), presentation)).replace("\u00a0", " ")
    assert "Amounts Rounds" in text
    assert "– L 1.5 L L –" in text
    assert "If as much" not in text


def test_a_torque_that_is_not_known_is_left_to_the_maker_s_data(presentation: Presentation) -> None:
    text = full_text(job_sheet_pdf(job_sheet(), presentation))
    assert "Fill plug from the maker's data" in text
    assert "Drain plug from the maker's data" in text


def test_why_a_step_matters_and_what_the_maker_says_stand_on_the_sheet(presentation: Presentation) -> None:
    steps = (WorkStep(text="Seals renewed", why="A crushed washer does not seal again."),)
    part = job_compartment(steps=steps, maker_notes="Drain plug 35 N·m\nSocket 17")
    text = full_text(job_sheet_pdf(job_sheet(compartments=(part,)), presentation))
    assert "A crushed washer does not seal again." in text
    assert "The maker says: Drain plug 35 N·m Socket 17" in text.replace("\n", " ")


def test_a_unit_without_counter_or_window_says_so(presentation: Presentation) -> None:
    part = job_compartment(has_fluid_counter=False, level_low_celsius=None, grades=(), torques=())
    text = full_text(job_sheet_pdf(job_sheet(compartments=(part,)), presentation))
    assert "no counter on this unit" in text
    assert "Window from the maker's data" in text


def test_document_is_tagged_with_the_code_described(presentation: Presentation) -> None:
    content = job_sheet_pdf(job_sheet(), presentation)
    assert claims_pdf_ua(content)
    assert {"/H1", "/H2", "/H3", "/Table", "/TH", "/Figure"} <= structure_roles(content)
    box = reader(content).pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == (595, 842)  # ISO 216, A4 in points


def test_code_holds_the_address_of_the_record() -> None:
    """The drawn path has as many dark modules as an independent encoding of the same address."""
    address = "https://sumpwise.example/jobs/7f3a"
    svg = qr_svg(address, "Record")
    assert "<title>Record</title>" in svg
    assert "script" not in svg
    runs = re.findall(r"h(\d+)", re.findall(r'd="([^"]+)"', svg)[-1])
    matrix = segno.make(address, error="m", micro=False).matrix
    assert sum(int(run) for run in runs) == sum(sum(row) for row in matrix)


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", '" onload="x', "车 & <b>"])
def test_a_name_cannot_break_the_sheet(name: str, presentation: Presentation) -> None:
    content = job_sheet_pdf(
        job_sheet(vehicle=name, facts=((name, name),), record_url=f"https://a.example/{name}"), presentation
    )
    assert claims_pdf_ua(content)


def test_the_same_sheet_gives_the_same_bytes(presentation: Presentation) -> None:
    assert job_sheet_pdf(job_sheet(), presentation) == job_sheet_pdf(job_sheet(), presentation)
