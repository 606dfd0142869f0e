"""A number or name without a blank is broken within its place; nothing is written over its neighbour."""

from collections.abc import Callable
from datetime import date

import pytest

from service.documents.count_sheet import count_sheet_pdf
from service.documents.driver_card import driver_card_pdf
from service.documents.due_list import due_list_pdf
from service.documents.job_sheet import job_sheet_pdf
from service.documents.models import CountLine, DriverCard
from service.documents.order_plan import order_plan_pdf
from service.documents.presentation import Presentation
from service.documents.used_fluid_label import used_fluid_label_pdf
from tests.documents.factories import (
    count_sheet,
    due_line,
    due_list,
    job_compartment,
    job_sheet,
    order_line,
    order_plan,
    used_fluid_label,
)
from tests.documents.pdf_reading import claims_pdf_ua, reader

LONG = "WM" * 20
"""As many of the widest letters as a vehicle's number may have."""

PAPERS: dict[str, Callable[[Presentation], bytes]] = {
    "vehicle of a due list": lambda p: due_list_pdf(due_list((due_line(vehicle=LONG),)), p),
    "compartment of a due list": lambda p: due_list_pdf(due_list((due_line(compartment=LONG),)), p),
    "vehicle of a job sheet": lambda p: job_sheet_pdf(job_sheet(vehicle=LONG), p),
    "depot of a job sheet": lambda p: job_sheet_pdf(job_sheet(depot=LONG), p),
    "fluid of a job sheet": lambda p: job_sheet_pdf(
        job_sheet(compartments=(job_compartment(fluid=LONG * 2),)), p
    ),
    "item of an order": lambda p: order_plan_pdf(order_plan((order_line(item=LONG),)), p),
    "item of a count": lambda p: count_sheet_pdf(
        count_sheet(lines=(CountLine(item=LONG, unit="pieces"),)), p
    ),
    "depot of a label": lambda p: used_fluid_label_pdf(used_fluid_label(depot=LONG), p),
    "vehicle of a driver's card": lambda p: driver_card_pdf(
        DriverCard(
            organisation="Example Haulage (invented)",
            vehicle=LONG,
            address="https://sumpwise.example/driver/x",
            ends_on=date(2027, 5, 4),
        ),
        p,
    ),
}


def lines_of(content: bytes) -> list[str]:
    text = "\n".join(page.extract_text() for page in reader(content).pages)
    return text.replace("\u200b", "").splitlines()


@pytest.mark.parametrize("name", PAPERS)
def test_a_name_that_is_too_wide_is_broken_and_whole(name: str, presentation: Presentation) -> None:
    content = PAPERS[name](presentation)
    lines = [line for line in lines_of(content) if "WMWM" in line and "·" not in line]
    assert lines
    assert not any(LONG in line for line in lines)
    assert LONG in "".join(line.strip() for line in lines)
    assert claims_pdf_ua(content)


def test_a_name_that_fits_stays_in_one_piece(presentation: Presentation) -> None:
    content = due_list_pdf(due_list((due_line(vehicle="TRUCK-0042", compartment="rear axle"),)), presentation)
    assert any("TRUCK-0042" in line for line in lines_of(content))
    assert any("rear axle" in line for line in lines_of(content))
    assert "\u200b" not in "".join(page.extract_text() for page in reader(content).pages)
