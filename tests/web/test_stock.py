"""The shelf as a page."""

import re
from html import unescape

import pytest

from service.domain.roles import Role
from tests.documents.pdf_reading import page_texts
from tests.web.conftest import hidden_in


@pytest.fixture
def storekeeper(workshop, fleet):
    return workshop.come_in("sam", Role.MECHANIC)


def test_what_came_is_written_down_and_shown(storekeeper):
    typed = {"item": "fluid:Red Seven", "kind": "receipt", "litres": "40,5", "expires_on": "2028-01-31"}
    answer = storekeeper.fill("/stock", "/stock/movements", **typed)
    assert answer.headers["location"] == "/stock?told=movement"
    page = storekeeper.get("/stock").text.replace("\u00a0", " ")
    assert re.search(r"On the shelf</dt><dd>40\.5 L", page)
    assert "31/01/2028" in page
    assert page.count("<svg") == 1


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"litres": "0"}, "aria-invalid"),
        ({"litres": "1e9"}, "Not a number"),
        ({"litres": "99999999"}, "Must be between"),
        ({"litres": ""}, "Fill this in."),
        ({"item": "fluid:Blue"}, "aria-invalid"),
        ({"kind": "drawn"}, "record the service"),
        ({"expires_on": "9999-12-31"}, "Must be a date from"),
    ],
)
def test_what_cannot_be_right_is_told_in_place(storekeeper, typed, told):
    fields = {"item": "fluid:Red Seven", "kind": "receipt", "litres": "5", "note": "typed before"} | typed
    answer = storekeeper.fill("/stock", "/stock/movements", **fields)
    assert answer.status_code == 422
    assert told in answer.text
    assert "typed before" in answer.text


def test_the_advised_order_is_placed_once_and_received(storekeeper):
    page = storekeeper.get("/stock").text
    fields = hidden_in(page, "/orders")
    assert re.fullmatch(r"[\d.]+=\d+(,[\d.]+=\d+)*", fields["packs"])
    first, second = storekeeper.send("/orders", fields), storekeeper.send("/orders", fields)
    assert first.headers["location"] == "/stock?told=ordered"
    assert second.headers["location"] == "/stock?told=again"
    (order,) = storekeeper.operator.get("/v1/purchase-orders").json()["orders"]
    assert order["state"] == "placed"
    answer = storekeeper.fill("/stock", f"/orders/{order['id']}", do="receive")
    assert answer.headers["location"] == "/stock?told=received"
    wanted = sum(float(size) * int(n) for size, n in re.findall(r"([\d.]+)=(\d+)", fields["packs"]))
    page = storekeeper.get("/stock").text.replace("\u00a0", " ")
    assert f"<dd>{wanted:.1f} L</dd>" in page
    again = storekeeper.fill("/stock", "/sign-out")
    assert again.status_code == 303


def test_a_shelf_below_zero_is_taken_as_empty_in_every_figure_and_said_once(storekeeper):
    """Seven litres were drawn that no receipt knew of; a shelf holds nothing less than nothing."""
    rounds = [{"drained_litres": 3.5, "filled_litres": 3.5}] * 2
    work = {"compartment": "gearbox", "rounds": rounds, "counter_reset": True}
    service = {"vehicle": "VAN-01", "done_at": "2026-05-01T06:00:00Z", "compartments": [work]}
    made = storekeeper.operator.post("/v1/services", service)
    assert made.status_code == 201, made.text
    page = storekeeper.get("/stock").text.replace("\u00a0", " ")
    assert "On the shelf</dt><dd>0.0 L (by the ledger \u22127.0 L)</dd>" in page
    assert page.count("More was drawn") == 1
    assert "Until then the plan takes the shelf as empty" in page
    assert "most likely 0.0 L at first" in page


def test_work_without_an_article_is_in_no_order_and_that_is_said_before_the_forms(storekeeper):
    page = storekeeper.get("/stock").text.replace("\u00a0", " ")
    said = re.search(r"Coolant, organic acid inhibitors</dt><dd>([\d.]+) L, compartments: 1<", page)
    assert said
    assert "name no fluid" in page
    assert said.start() < page.index('action="/stock/movements"')


def test_the_form_for_what_came_or_went_is_reached_from_the_top(storekeeper):
    """Below as many articles as a workshop has it is many screens of a phone away."""
    page = storekeeper.get("/stock").text
    assert page.index('href="#movement"') < page.index('id="fluid-1"') < page.index('id="movement"')


def test_parts_are_kept_by_the_piece(storekeeper):
    made = storekeeper.operator.post("/v1/parts", {"part": "drain plug washer"})
    assert made.status_code == 201, made.text
    typed = {"item": "part:drain plug washer", "kind": "count", "litres": "12"}
    assert storekeeper.fill("/stock", "/stock/movements", **typed).status_code == 303
    assert "<dd>12 pieces</dd>" in storekeeper.get("/stock").text
    answer = storekeeper.fill("/stock", "/stock/movements", **typed | {"litres": "1.5"})
    assert "whole pieces" in answer.text
    answer = storekeeper.fill("/stock", "/stock/movements", **typed | {"item": "part:nothing of ours"})
    assert answer.status_code == 422
    assert "aria-invalid" in answer.text


def test_a_fluid_and_a_part_are_added_by_hand(workshop, fleet):
    workshop.come_in("petra", Role.PLANNER)
    fluid = {"fluid_name": "Blue Nine", "fluid_kind": "cvt", "specifications": "Invented IX\nInvented X"}
    prices = {"fluid_pack": "20", "fluid_price": "169,50", "fluid_lead": "5"}
    assert workshop.fill("/stock/new", "/stock/fluids", **fluid, **prices).status_code == 303
    rows = workshop.operator.get("/v1/fluids").json()["fluids"]
    (row,) = (row for row in rows if row["fluid"] == "Blue Nine")
    assert row["specifications"] == ["Invented IX", "Invented X"]
    assert (row["packs"][0]["litres"], row["packs"][0]["price_minor"], row["lead_time_days"]) == (
        20,
        16950,
        5,
    )
    again = workshop.fill("/stock/new", "/stock/fluids", **fluid)
    assert again.status_code == 409
    assert "Invented IX" in again.text
    part = {"part_name": "cover", "part_pack": "2.5"}
    assert "whole pieces" in workshop.fill("/stock/new", "/stock/parts", **part).text
    assert workshop.fill("/stock/new", "/stock/parts", **part | {"part_pack": "10"}).status_code == 303
    page = workshop.get("/stock").text
    assert "Blue Nine" in page
    assert "cover" in page


FETCHED = {
    "used_depot": "North",
    "used_stream": "lubricating_oil",
    "used_litres": "180",
    "used_at": "2026-05-01T06:00",
    "used_reference": "TP-1",
    "used_note": "typed before",
}


def test_used_fluid_that_was_fetched_is_written_down_once(storekeeper):
    answer = storekeeper.fill("/stock", "/stock/collections", **FETCHED)
    assert answer.headers["location"] == "/stock?told=fetched"
    page = storekeeper.get("/stock").text
    shown = page[page.index("What was fetched last") :]
    shown = shown[: shown.index("</table>")]
    assert "Lubricating oil" in shown
    assert FETCHED["used_reference"] in shown
    assert FETCHED["used_note"] in shown
    earlier = {"used_at": "2026-04-01T06:00", "used_reference": "TP-0"}
    storekeeper.fill("/stock", "/stock/collections", **FETCHED | earlier)
    page = storekeeper.get("/stock").text
    assert page.index("TP-1") < page.index("TP-0"), (
        "the last that was fetched first, whenever it was written down"
    )
    again = storekeeper.fill("/stock", "/stock/collections", **FETCHED)
    assert again.status_code == 409
    assert "on record already" in again.text


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("used_litres", "0", "Say how much"),
        ("used_litres", "", "Fill this in"),
        ("used_depot", "Nowhere", "no depot"),
        ("used_at", "2999-01-01T00:00", "/2100"),
        ("used_at", "2027-01-01T00:00", "future"),
        ("used_stream", "soup", "Choose one"),
    ],
)
def test_a_collection_that_cannot_be_right_is_told_in_place(storekeeper, field, value, told):
    answer = storekeeper.fill("/stock", "/stock/collections", **FETCHED | {field: value})
    assert told in answer.text
    assert f'id="{field}-error"' in answer.text
    assert "typed before" in answer.text


@pytest.mark.parametrize("packs", ["", "x", "5=0", "5=-1", "5=99999999", "nan=1", "inf=1", "5.0.0=1"])
def test_an_order_that_cannot_be_read_is_refused(storekeeper, packs):
    fields = hidden_in(storekeeper.get("/stock").text, "/orders") | {"packs": packs}
    assert storekeeper.send("/orders", fields).status_code == 422


@pytest.mark.parametrize(
    ("path", "beginning"),
    [
        ("count-sheet.pdf", b"%PDF-"),
        ("order-plan.pdf", b"%PDF-"),
        ("order-plan.xlsx", b"PK"),
        ("order-plan.csv", b""),
    ],
)
def test_papers_can_be_taken_along(storekeeper, path, beginning):
    answer = storekeeper.get(f"/stock/{path}")
    assert answer.status_code == 200
    assert answer.content.startswith(beginning)


def test_a_container_of_used_fluid_has_a_label_in_use_since_it_was_emptied(workshop, fleet):
    north = next(one for one in fleet.get("/v1/depots").json()["depots"] if one["depot"] == "North")
    room = {"used_fluid_capacity_by_stream": {"lubricating_oil": 800}}
    assert fleet.patch(f"/v1/depots/{north['id']}", room).status_code == 200
    storekeeper = workshop.come_in()
    storekeeper.fill("/stock", "/stock/collections", **FETCHED, used_emptied="yes")
    link = re.search(r'href="(/stock/used-fluid-label.pdf[^"]+)"', storekeeper.get("/stock").text)
    answer = storekeeper.get(unescape(link[1]))
    assert answer.headers["content-type"] == "application/pdf"
    assert 'filename="used-fluid-North-lubricating-oil.pdf"' in answer.headers["content-disposition"]
    (label,) = page_texts(answer.content)
    assert label.startswith("Used Oil")
    for shown in ("North", "01/05/2026", "800 L", "13 02 05*", "Never mix in: Brake fluid"):
        assert shown in label.replace("\u00a0", " ")
    assert storekeeper.get("/stock/used-fluid-label.pdf?depot=Nowhere&stream=coolant").status_code == 404
    assert storekeeper.get("/stock/used-fluid-label.pdf?depot=North&stream=soup").status_code == 422


def summary_of(page):
    """Cells of the table at the page's top, as text, and where each row leads."""
    table = page[page.index('id="summary"') :]
    rows = re.findall(r"<tr><th scope=\"row\">.*?</tr>", table[: table.index("</table>")], re.DOTALL)
    cells = [
        [unescape(re.sub(r"<[^>]+>", " ", cell)) for cell in re.findall(r"<t[hd].*?</t[hd]>", row, re.DOTALL)]
        for row in rows
    ]
    return [
        ([" ".join(cell.split()) for cell in one], re.search(r'href="#([^"]+)"', row)[1])
        for one, row in zip(cells, rows, strict=True)
    ]


def test_what_is_to_be_ordered_today_stands_first(storekeeper):
    """The test's shelf is empty and jobs are near, so the fluid has to be ordered now; another is needed by nobody."""
    assert storekeeper.operator.post("/v1/fluids", {"fluid": "Amber One", "kind": "cvt"}).status_code == 201
    page = storekeeper.get("/stock").text
    (name, short_from, order), target = summary_of(page)[0]
    assert name.startswith("Red Seven On the shelf 0.0 L Needed in 12 weeks")
    assert (short_from, order.split()[:2]) == ("01/05/2026", ["01/05/2026", "now"])
    assert f'<h2 id="{target}">Red Seven</h2>' in page
    assert page.index('id="summary"') < page.index(f'id="{target}"')
    plans = storekeeper.operator.get("/v1/stock/order-plan?weeks=12").json()["fluids"]
    (packs,) = (one["orders"][0]["packs"] for one in plans if one["fluid"] == "Red Seven")
    wanted = [f"{one['count']} × {one['litres']:.0f} L" for one in packs]
    assert order.split(maxsplit=2)[2] == ", ".join(wanted)
    assert summary_of(page)[-1][0][1:] == ["–", "–"]
    storekeeper.send("/orders", hidden_in(page, "/orders"))
    page = storekeeper.get("/stock").text
    assert "Nothing has to be ordered today." in page
    first = summary_of(page)[0][0]
    assert "now" not in first[2].split()
    ordered = sum(one["count"] * one["litres"] for one in packs)
    (told,) = (cells[0] for cells, _ in summary_of(page) if cells[0].startswith("Red Seven"))
    assert f"On order {ordered:,.1f} L Needed" in told


def test_what_runs_short_and_cannot_be_ordered_is_as_urgent_as_what_is_ordered_today(storekeeper):
    """Without a price there is no plan; that comes before what has to be ordered later, and before what lasts."""
    (fluid,) = (
        one for one in storekeeper.operator.get("/v1/fluids").json()["fluids"] if one["fluid"] == "Red Seven"
    )
    free = {"packs": [{"litres": one["litres"]} for one in fluid["packs"]]}
    assert storekeeper.operator.patch(f"/v1/fluids/{fluid['id']}", free).status_code == 200
    assert storekeeper.operator.post("/v1/fluids", {"fluid": "Amber One", "kind": "cvt"}).status_code == 201
    first, *_, last = summary_of(storekeeper.get("/stock").text)
    assert (first[0][0].split(" On")[0], first[0][2]) == ("Red Seven", "no order helps")
    assert last[0][0].startswith("Amber One")


def test_a_viewer_only_looks(workshop, fleet):
    workshop.come_in("vera", Role.VIEWER)
    page = workshop.get("/stock").text
    assert 'action="/orders"' not in page
    assert 'action="/stock/movements"' not in page
    hidden = hidden_in(page, "/sign-out")
    refused = workshop.send("/stock/movements", hidden | {"item": "fluid:Red Seven", "litres": "5"})
    assert refused.status_code == 403


def test_another_organisations_order_is_not_there(storekeeper, join):
    fields = hidden_in(storekeeper.get("/stock").text, "/orders")
    storekeeper.send("/orders", fields)
    (order,) = storekeeper.operator.get("/v1/purchase-orders").json()["orders"]
    storekeeper.come_in("eve", organisation_id=join("Other Invented Haulage").organisation_id)
    own = hidden_in(storekeeper.get("/stock").text, "/sign-out")
    assert storekeeper.send(f"/orders/{order['id']}", own | {"do": "cancel"}).status_code == 404


@pytest.fixture
def south(fleet):
    """The depot where five litres of coolant were drained today."""
    work = {"compartment": "coolant", "rounds": [{"drained_litres": 5.0, "filled_litres": 5.0}]}
    service = {"vehicle": "TRUCK-1", "done_at": "2026-05-01T06:00:00Z", "compartments": [work]}
    made = fleet.post("/v1/services", service)
    assert made.status_code == 201, made.text
    return next(one for one in fleet.get("/v1/depots").json()["depots"] if one["depot"] == "South")


def test_a_depot_that_holds_more_than_it_has_room_for_is_marked(workshop, fleet, south):
    workshop.come_in()
    for room, is_full in ((500, False), (3, True)):
        changed = fleet.patch(f"/v1/depots/{south['id']}", {"used_fluid_capacity_litres": room})
        assert changed.status_code == 200, changed.text
        assert (">full<" in workshop.get("/stock").text) is is_full


def test_a_container_whose_size_is_known_is_fetched_by_a_day(workshop, fleet, south):
    """The day is the one that the API gives; without a size there is none."""
    workshop.come_in()
    for size, day in ({}, "–"), ({"coolant": 4}, "01/05/2026"):
        changed = fleet.patch(f"/v1/depots/{south['id']}", {"used_fluid_capacity_by_stream": size})
        assert changed.status_code == 200, changed.text
        row = re.search(r"South</th>(?:(?!</tr>).)*Coolant.*?</tr>", workshop.get("/stock").text)[0]
        assert f'<span class="date">{day}</span>' in row
    (planned,) = (
        one
        for one in fleet.get("/v1/used-fluid").json()["containers"]
        if (one["depot"], one["stream"]) == ("South", "coolant")
    )
    assert planned["fetch_by"] == "2026-05-01", "today, since it holds more already"


def test_a_receipt_that_makes_up_what_was_missing_says_so(storekeeper):
    """3.5 litres too many were drawn; of 20 that came 16.5 are left (bookkeeping, derived)."""
    work = {"compartment": "gearbox", "method": "drain_and_fill", "fluid": "Red Seven", "level_celsius": 40}
    work |= {"rounds": [{"drained_litres": 3.5, "filled_litres": 3.5}], "old_fluid_grade": "brown"}
    work |= {"seals_renewed": True, "counter_reset": True}
    done = {"vehicle": "VAN-02", "done_at": "2026-04-20T09:00:00Z", "compartments": [work]}
    assert storekeeper.operator.post("/v1/services", done).status_code == 201
    typed = {"item": "fluid:Red Seven", "kind": "receipt", "litres": "20"}
    where = storekeeper.fill("/stock", "/stock/movements", **typed).headers["location"]
    page = storekeeper.get(where).text.replace("\u00a0", " ")
    assert "drawn beyond the ledger came out of it first" in page
    assert "16.5 L" in page
    where = storekeeper.fill("/stock", "/stock/movements", **typed).headers["location"]
    assert where == "/stock?told=movement"
