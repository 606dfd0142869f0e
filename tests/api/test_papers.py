"""The papers of the workshop: order plan, count sheet, container label and job sheet, for programs as for people."""

import csv
import io
import re
from datetime import timedelta

import pytest

from tests.api.test_history import with_van
from tests.api.test_parts import shop  # noqa: F401
from tests.documents.pdf_reading import full_text
from tests.service_fixtures import START

PAPERS = {
    "/v1/stock/order-plan.pdf": ("application/pdf", "order-plan-2026-05-04.pdf"),
    "/v1/stock/order-plan.csv": ("text/csv; charset=utf-8", "order-plan-2026-05-04.csv"),
    "/v1/stock/order-plan.xlsx": (
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        "order-plan-2026-05-04.xlsx",
    ),
    "/v1/stock/count-sheet.pdf": ("application/pdf", "count-sheet-2026-05-04.pdf"),
    "/v1/used-fluid/label.pdf?depot=North&stream=lubricating_oil": (
        "application/pdf",
        "used-fluid-North-lubricating-oil.pdf",
    ),
    "/v1/vehicles/VAN-1/job-sheet.pdf": ("application/pdf", "job-sheet-VAN-1.pdf"),
}


@pytest.mark.parametrize("path", PAPERS)
def test_a_paper_is_handed_out_under_its_name_and_once(shop, path):  # noqa: F811
    media_type, name = PAPERS[path]
    answer = shop.get(path)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == media_type
    assert answer.headers["content-disposition"] == f'attachment; filename="{name}"'
    again = shop.get(path, headers={"If-None-Match": answer.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_the_order_plan_looks_as_far_ahead_as_it_is_asked_to(shop):  # noqa: F811
    content = shop.get("/v1/stock/order-plan.csv?weeks=4").content.decode()
    rows = list(csv.DictReader(io.StringIO(content, newline="")))
    assert {row["Item"] for row in rows} == {"OIL-B", "drain plug washer"}
    ahead = shop.get("/v1/stock/order-plan.pdf?weeks=4").content
    assert "Weeks ahead 4" in full_text(ahead)
    assert shop.get("/v1/stock/order-plan.pdf?weeks=400").status_code == 422


def test_the_count_sheet_names_what_is_kept_and_not_how_much(shop):  # noqa: F811
    shop.post("/v1/stock/movements", {"fluid": "OIL-B", "kind": "receipt", "litres": 77.5})
    text = full_text(shop.get("/v1/stock/count-sheet.pdf").content)
    assert "OIL-B" in text
    assert "drain plug washer" in text
    assert "77" not in text


def test_the_label_of_a_container_says_what_is_in_it_and_where(shop):  # noqa: F811
    text = full_text(shop.get("/v1/used-fluid/label.pdf?depot=North&stream=coolant").content)
    assert text.startswith("Used coolant")
    assert "North" in text
    assert shop.get("/v1/used-fluid/label.pdf?depot=Nowhere&stream=coolant").status_code == 404
    assert shop.get("/v1/used-fluid/label.pdf?depot=North&stream=soup").status_code == 422
    assert shop.get("/v1/used-fluid/label.pdf?depot=North").status_code == 422


def test_the_job_sheet_gives_rounds_cautions_and_the_address_of_the_record(operator):
    fleet = with_van(operator, "severe")
    text = full_text(fleet.get("/v1/vehicles/VAN-07/job-sheet.pdf").content).replace("\u00a0", " ")
    assert "Job sheet VAN-07" in text
    assert "Cautions" in text
    assert "A good colour never puts a due date off" in text
    assert "/job-sheet" in text
    assert fleet.get("/v1/vehicles/VAN-08/job-sheet.pdf").status_code == 404


def test_brakes_are_bled_without_a_level_at_a_temperature(operator):
    """A reservoir is filled to its mark: common practice, no source."""
    operator.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"})
    assert operator.post("/v1/vehicles/VAN-1/compartments", {"kind": "brake_fluid"}).status_code == 201
    text = full_text(operator.get("/v1/vehicles/VAN-1/job-sheet.pdf").content)
    assert "Flush through" in text
    assert "Level check" not in text
    assert operator.post("/v1/vehicles/VAN-1/compartments", {"kind": "axle"}).status_code == 201
    assert "Level check" in full_text(operator.get("/v1/vehicles/VAN-1/job-sheet.pdf").content)


def test_what_one_compartment_needs_to_be_warned_of_stands_with_its_work(operator):
    """The brakes' own cautions at the brakes, what is read before any work at the head, nothing twice."""
    operator.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"})
    for kind in ("axle", "brake_fluid"):
        assert operator.post("/v1/vehicles/VAN-1/compartments", {"kind": kind}).status_code == 201
    text = full_text(operator.get("/v1/vehicles/VAN-1/job-sheet.pdf").content).replace("\n", " ")
    first_order = text.index("Order of work")
    for words in ("Brakes are a matter of life", "never under a jack alone", "This sheet advises"):
        assert text.count(words) == 1
        assert text.index(words) < first_order
    for words in ("Pump the pedal", "Watch the reservoir", "Open the fill or level plug before"):
        assert text.count(words) == 1
    assert text.index("Pump the pedal") > text.index("Flush through")
    assert text.index("Watch the reservoir") > text.index("Flush through")


def test_the_sheet_of_a_tractor_gives_its_hours(operator):
    """Ten hours a week, from the day before the sheet is printed: a straight line from the last reading, derived."""
    operator.post("/v1/vehicles", {"vehicle": "TRACTOR-1", "class": "tractor"})
    operator.post("/v1/vehicles/TRACTOR-1/compartments", {"kind": "hydraulic", "interval_hours": 500})
    rows = [
        {
            "vehicle": "TRACTOR-1",
            "taken_at": (START - timedelta(days=1 + 7 * week)).isoformat(),
            "engine_hours": 4000 - 10 * week,
        }
        for week in range(20, -1, -1)
    ]
    assert operator.post("/v1/readings", {"readings": rows}).json()["accepted"] == 21
    text = full_text(operator.get("/v1/vehicles/TRACTOR-1/job-sheet.pdf").content)
    hours = re.search(r"Engine hours, estimated ([\d\s]+) h", text)[1]
    assert int("".join(hours.split())) == pytest.approx(4000 + 10 / 7, abs=2)
    assert "Odometer, estimated –" in text


def test_a_token_for_one_vehicle_that_ends_opens_the_card_of_its_driver(shop):  # noqa: F811
    link = {
        "name": "driver",
        "scopes": ["readings"],
        "vehicle": "VAN-1",
        "expires_at": "2027-05-04T00:00:00Z",
    }
    secret = shop.post("/v1/tokens", link).json()["secret"]
    card = shop.client.get(f"/driver/{secret}/card.pdf")
    assert (card.status_code, card.headers["content-type"]) == (200, "application/pdf")
    assert "VAN-1" in full_text(card.content)
    assert shop.client.get(f"/driver/{secret}x/card.pdf").status_code == 404
