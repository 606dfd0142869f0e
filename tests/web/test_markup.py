"""Text that people store is text on every page, whatever it looks like [ASVS 5.0, 1.2.1]."""

import re

import pytest

from service.jobs.weekly_run import run_weekly
from service.store.tables.access import Person
from service.store.tables.organisation import Organisation

MARKUP = "<b onmouseover=x>&\"'{{7*7}}"
PAGES = [
    "/",
    "/due-lists/2026-W19",
    "/lines/lin_1",
    "/vehicles",
    "/vehicles/veh_1",
    "/vehicles/veh_1/reading",
    "/vehicles/veh_4/change",
    "/vehicles/veh_4/job-sheet",
    "/vehicles/veh_4/sample",
    "/vehicles/veh_4/day",
    "/vehicles/veh_4/compartments/new",
    "/compartments/cmp_4/change",
    "/stock",
    "/stock/fluids/fld_2",
    "/settings",
    "/settings/people",
    "/settings/machines",
    "/settings/machines/src_1",
]


@pytest.fixture
def marked(workshop, operator, fleet, database, clock):
    """Every text that can be stored holds markup."""
    truck = {"vehicle": f"T{MARKUP}"[:40], "class": "truck", "depot": f"D{MARKUP}"[:40]}
    assert operator.post("/v1/vehicles", truck).status_code == 201
    fluid = {"fluid": f"F{MARKUP}", "kind": "coolant_oat", "specifications": [f"S{MARKUP}"]}
    assert operator.post("/v1/fluids", fluid).status_code == 201
    coolant = {
        "kind": "coolant_oat",
        "compartment": f"C{MARKUP}",
        "fluid": f"F{MARKUP}",
        "specification": f"S{MARKUP}",
        "maker_notes": f"N{MARKUP}",
        "interval_months": 24,
        "last_service_on": "2024-05-06",
        "seals": [{"part": f"P{MARKUP}", "pieces": 2}],
    }
    answer = operator.post("/v1/vehicles/veh_4/compartments", coolant)
    assert answer.status_code == 201, answer.text
    for number, odometer in enumerate((9000, 9100, 90)):
        taken_at = f"2026-04-{10 + 5 * number}T08:00:00Z"
        row = {"vehicle": "veh_4", "taken_at": taken_at, "odometer": odometer, "source": f"R{MARKUP}"}
        assert operator.post("/v1/readings", {"readings": [row]}).status_code == 200
    assert operator.post("/v1/machine-sources", {"name": f"Q{MARKUP}"}).status_code == 201
    fetched = {"depot": f"D{MARKUP}"[:40], "stream": "coolant", "litres": 4, "reference": f"U{MARKUP}"}
    answer = operator.post("/v1/used-fluid/collections", fetched | {"note": f"V{MARKUP}"})
    assert answer.status_code == 201, answer.text
    distance = {"datetime": "2026-05-01T05:30:00Z", "OdometerUnits": "kilometre", "Odometer": 79950.0}
    header = {"EquipmentID": f"E{MARKUP}", "Model": f"M{MARKUP}"}
    document = {"Equipment": [{"EquipmentHeader": header, "Distance": distance}]}
    assert operator.post("/v1/machine-sources/src_1/documents", document).status_code == 200
    workshop.come_in()
    with database.transaction() as session:
        session.get(Organisation, operator.organisation_id).name = f"O{MARKUP}"
        session.get(Person, 1).name = f"A{MARKUP}"
    assert run_weekly(database, clock.now(), "node") == 1
    return workshop


def test_markup_is_escaped_on_every_page(marked):
    listed = marked.get("/due-lists/2026-W19").text
    line = re.search(r'href="/(lines/lin_\d+)" aria-label="Move … T&lt;b', listed)[1]
    answer = marked.fill(f"/{line}", f"/{line}", do="moved", moved_to_on="2026-05-06", note=f"M{MARKUP}")
    assert answer.status_code == 303
    n_escaped = 0
    sheet = "/vehicles/veh_4/job-sheet"
    assert marked.fill(sheet, sheet, do="save", note=f"J{MARKUP}", done_by=f"B{MARKUP}").status_code == 303
    table = f'vehicle,class\n"V{MARKUP.replace(chr(34), chr(34) * 2)}","K{MARKUP[:8]}"'
    seen = marked.fill("/start", "/start/vehicles", table=table, do="preview")
    assert "<b " not in seen.text
    assert "V&lt;b " in seen.text
    for path in [*PAGES, f"/{line}", f"/?vehicle={MARKUP}"]:
        page = marked.get(path)
        assert page.status_code == 200, path
        assert "<b " not in page.text, path
        assert "49" not in re.findall(r"[A-Z]&lt;b [^<]*?(49)?<", page.text), path
        assert page.headers["content-security-policy"].startswith("default-src 'none'; style-src 'self'")
        n_escaped += page.text.count("&lt;b onmouseover=x&gt;")
    assert n_escaped > 15


def test_no_page_carries_script_or_style_of_its_own(marked):
    for path in [*PAGES, "/sign-in", "/password", "/nothing"]:
        text = marked.get(path).text
        assert not re.search(r"<script|<style|\sstyle=|\son[a-z]+=[^x]|javascript:", text), path


def test_what_describes_a_field_stands_apart_from_what_is_before_it(marked):
    """HTML, 13.1.2.3: attributes are parted by a space; run together, a required field is neither."""
    for path in [*PAGES, "/start", "/sign-in", "/password"]:
        assert re.findall(r"<[^>]*\Saria-[^>]*>", marked.get(path).text) == [], path
    refused = marked.fill("/password", "/password", password="short").text
    assert ' required aria-describedby="password-error"' in refused
