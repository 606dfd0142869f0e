"""The shelf as a page."""

import re

import pytest

from service.domain.roles import Role
from tests.web.conftest import hidden_in


@pytest.fixture
def storekeeper(workshop, fleet):
    return workshop.come_in("sam", Role.MECHANIC)


def test_what_came_is_written_down_and_shown(storekeeper):
    typed = {"fluid": "Red Seven", "kind": "receipt", "litres": "40,5", "expires_on": "2028-01-31"}
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
        ({"fluid": "Blue"}, "aria-invalid"),
        ({"kind": "drawn"}, "record the service"),
        ({"expires_on": "9999-12-31"}, "Must be a date from"),
    ],
)
def test_what_cannot_be_right_is_told_in_place(storekeeper, typed, told):
    fields = {"fluid": "Red Seven", "kind": "receipt", "litres": "5", "note": "typed before"} | typed
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


def test_a_viewer_only_looks(workshop, fleet):
    workshop.come_in("vera", Role.VIEWER)
    page = workshop.get("/stock").text
    assert 'action="/orders"' not in page
    assert 'action="/stock/movements"' not in page
    hidden = hidden_in(page, "/sign-out")
    refused = workshop.send("/stock/movements", hidden | {"fluid": "Red Seven", "litres": "5"})
    assert refused.status_code == 403


def test_another_organisations_order_is_not_there(storekeeper, join):
    fields = hidden_in(storekeeper.get("/stock").text, "/orders")
    storekeeper.send("/orders", fields)
    (order,) = storekeeper.operator.get("/v1/purchase-orders").json()["orders"]
    storekeeper.come_in("eve", organisation_id=join("Other Invented Haulage").organisation_id)
    own = hidden_in(storekeeper.get("/stock").text, "/sign-out")
    assert storekeeper.send(f"/orders/{order['id']}", own | {"do": "cancel"}).status_code == 404
