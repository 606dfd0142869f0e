"""A paper is the same whether a page or a program asks for it."""

import pytest

PAPERS = {
    "/stock/order-plan.pdf": "/v1/stock/order-plan.pdf?weeks=12",
    "/stock/order-plan.xlsx": "/v1/stock/order-plan.xlsx?weeks=12",
    "/stock/order-plan.csv": "/v1/stock/order-plan.csv?weeks=12",
    "/stock/count-sheet.pdf": "/v1/stock/count-sheet.pdf",
    "/stock/used-fluid-label.pdf?depot=North&stream=coolant": "/v1/used-fluid/label.pdf?depot=North&stream=coolant",
    "/vehicles/VAN-01/job-sheet.pdf": "/v1/vehicles/VAN-01/job-sheet.pdf",
    "/due-lists/2026-W19.pdf": "/v1/due-lists/2026-W19.pdf",
}


@pytest.mark.parametrize("page", PAPERS)
def test_pages_and_programs_are_handed_the_same_bytes(workshop, fleet, page):
    workshop.come_in()
    shown, told = workshop.get(page), fleet.get(PAPERS[page])
    assert (shown.status_code, told.status_code) == (200, 200), told.text
    assert shown.content == told.content
    for header in ("content-type", "content-disposition", "cache-control"):
        assert shown.headers[header] == told.headers[header]
