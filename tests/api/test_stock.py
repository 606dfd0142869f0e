"""The stock ledger through the API."""

from datetime import date, timedelta

import pytest

from service.domain.roles import Scope
from tests.service_fixtures import START

ATF = {
    "fluid": "ATF-A",
    "kind": "automatic_transmission_car",
    "shelf_life_days": 1000,
    "packs": [{"litres": 20, "price_minor": 16500}],
}


@pytest.fixture
def shop(operator):
    assert operator.post("/v1/fluids", ATF).status_code == 201
    return operator


def move(shop, kind, litres, **facts):
    return shop.post("/v1/stock/movements", {"fluid": "ATF-A", "kind": kind, "litres": litres} | facts)


def on_hand(shop):
    (line,) = shop.get("/v1/stock").json()["fluids"]
    return line["litres"]


def test_the_stock_is_the_sum_of_its_entries_and_a_count_holds_the_difference(shop):
    assert move(shop, "receipt", 60).status_code == 201
    assert move(shop, "discarded", 2.5).json()["litres"] == -2.5
    counted = move(shop, "count", 55).json()
    assert (counted["litres"], counted["counted_litres"]) == (-2.5, 55)
    assert move(shop, "correction", -5).status_code == 201
    assert on_hand(shop) == 50
    listed = shop.get("/v1/stock/movements").json()["movements"]
    assert [entry["litres"] for entry in listed] == [60, -2.5, -2.5, -5]


def test_a_count_too_far_from_the_ledger_for_one_entry_is_told_so(shop):
    for _ in range(2):
        assert move(shop, "receipt", 1_000_000).status_code == 201
    answer = move(shop, "count", 55)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/litres"
    assert move(shop, "correction", -1_000_000).status_code == 201
    assert move(shop, "count", 55).status_code == 201
    assert on_hand(shop) == 55


def test_a_receipt_expires_after_the_fluid_s_shelf_life_unless_the_packs_say_otherwise(shop):
    reckoned = move(shop, "receipt", 20, at="2026-05-01T10:00:00Z").json()
    assert reckoned["expires_on"] == str(date(2026, 5, 1) + timedelta(days=1000))
    assert move(shop, "receipt", 20, expires_on="2027-01-31").json()["expires_on"] == "2027-01-31"


def test_what_expires_first_is_used_first_and_announced_when_a_fifth_of_its_life_is_left(shop):
    """Shelf life 1,000 days: nearly expired from 200 days before the end, expired the day after it."""
    today = START.date()
    for days, litres in ((300, 10), (200, 8), (-1, 4)):
        move(shop, "receipt", litres, expires_on=str(today + timedelta(days=days)))
    move(shop, "correction", -5)
    (line,) = shop.get("/v1/stock").json()["fluids"]
    assert [(lot["expires_on"], lot["litres"]) for lot in line["lots"]] == [
        (str(today + timedelta(days=200)), 7),
        (str(today + timedelta(days=300)), 10),
    ]
    assert line["next_expiry_on"] == str(today + timedelta(days=200))
    assert (line["expired_litres"], line["nearly_expired_litres"]) == (0, 7)
    assert "use them first" in line["warnings"][0]


def test_expired_litres_are_told_and_a_discard_that_names_the_day_takes_that_lot(shop):
    today = START.date()
    move(shop, "receipt", 4, expires_on=str(today - timedelta(days=1)))
    move(shop, "receipt", 9, expires_on=str(today + timedelta(days=900)))
    (line,) = shop.get("/v1/stock").json()["fluids"]
    assert line["expired_litres"] == 4
    move(shop, "discarded", 9, expires_on=str(today + timedelta(days=900)))
    (line,) = shop.get("/v1/stock").json()["fluids"]
    assert (line["litres"], line["expired_litres"]) == (4, 4)


def test_an_entry_from_before_a_count_does_not_change_what_was_found(shop):
    move(shop, "receipt", 60, at="2026-04-01T08:00:00Z")
    move(shop, "count", 50, at="2026-05-02T08:00:00Z")
    move(shop, "discarded", 4, at="2026-05-01T08:00:00Z")
    assert on_hand(shop) == 50
    assert len(shop.get("/v1/stock/movements").json()["movements"]) == 4


def test_a_service_recorded_late_does_not_change_what_was_counted_after_it(shop):
    shop.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    place = {"compartment": "gearbox", "kind": ATF["kind"], "fluid": "ATF-A", "total_litres": 9.0}
    shop.post("/v1/vehicles/VAN-07/compartments", place)
    move(shop, "receipt", 60, at="2026-04-01T08:00:00Z")
    move(shop, "count", 50, at="2026-05-02T08:00:00Z")
    work = {"compartment": "gearbox", "rounds": [{"drained_litres": 4.0, "filled_litres": 4.0}]}
    for day, left in (("2026-05-01", 50), ("2026-05-03", 46)):
        done = {"vehicle": "VAN-07", "done_at": f"{day}T08:00:00Z", "compartments": [work]}
        answer = shop.post("/v1/services", done)
        assert answer.status_code == 201, answer.text
        assert on_hand(shop) == left


def test_an_entry_s_reference_is_used_once(shop):
    assert move(shop, "receipt", 20, reference="delivery 1").status_code == 201
    again = move(shop, "receipt", 20, reference="delivery 1")
    assert (again.status_code, again.json()["type"]) == (409, "/problems/duplicate")
    assert on_hand(shop) == 20


def test_the_same_keyed_entry_is_written_once(shop):
    key = {"Idempotency-Key": "r-1"}
    body = {"fluid": "ATF-A", "kind": "receipt", "litres": 5}
    answers = [shop.post("/v1/stock/movements", body, headers=key) for _ in range(2)]
    assert answers[0].json() == answers[1].json()
    assert on_hand(shop) == 5


BAD_ENTRIES = [
    ({"litres": -1}, "/litres", "correction"),
    ({"litres": 0}, "/litres", "how many litres"),
    ({"litres": 2_000_000}, "/litres", "1000000"),
    ({"kind": "count", "litres": -1}, "/litres", "count again"),
    ({"kind": "correction", "litres": -1}, "/litres", "record the count"),
    ({"kind": "drawn", "litres": 1}, "/kind", "receipt"),
    ({"fluid": "unknown"}, "/fluid", "/v1/fluids"),
    ({"at": "2026-05-05T08:00:00Z"}, "/at", "future"),
    ({"at": "2026-05-01T08:00:00"}, "/at", "offset"),
    ({"colour": "red"}, "/colour", "no such field"),
]


def test_an_entry_that_cannot_be_right_is_refused_with_the_field_and_what_to_do(shop):
    for body, pointer, advice in BAD_ENTRIES:
        answer = shop.post("/v1/stock/movements", {"fluid": "ATF-A", "kind": "receipt", "litres": 1} | body)
        assert answer.status_code == 422, body
        (error,) = answer.json()["errors"]
        assert error["pointer"] == pointer
        assert advice in error["detail"]
    assert shop.get("/v1/stock/movements").json()["movements"] == []


def test_another_organisation_s_fluid_is_unknown(shop, join):
    stranger = join("Another Invented Operator")
    answer = move(stranger, "receipt", 20)
    assert answer.json()["errors"][0]["pointer"] == "/fluid"
    assert stranger.get("/v1/stock/movements?fluid=ATF-A").status_code == 404
    assert stranger.get("/v1/stock").json()["fluids"] == []


def test_the_ledger_is_listed_a_page_at_a_time_along_the_link_header(shop):
    for litres in range(1, 6):
        move(shop, "receipt", litres)
    seen, path = [], "/v1/stock/movements?limit=2&fluid=ATF-A"
    while path:
        page = shop.get(path)
        seen += [entry["litres"] for entry in page.json()["movements"]]
        path = page.links.get("next", {}).get("url")
    assert seen == [1, 2, 3, 4, 5]


def test_reading_needs_the_right_to_read_and_writing_the_right_to_the_stock(shop, join):
    viewer = join("Invented Viewers", frozenset({Scope.READ}))
    assert viewer.get("/v1/stock").status_code == 200
    assert move(viewer, "receipt", 1).status_code == 403
    sender = join("Invented Senders", frozenset({Scope.READINGS}))
    assert sender.get("/v1/stock").status_code == 403


def test_terms_that_nobody_can_order_on_are_refused(shop):
    dearer = [{"from_packs": 5, "price_minor": 9}]
    for change, pointer in [
        ({"packs": [{"litres": 0, "price_minor": 100}]}, "/packs/0/litres"),
        ({"lead_time_days": -1}, "/lead_time_days"),
        ({"packs": [{"litres": 20, "price_minor": -1}]}, "/packs/0/price_minor"),
        ({"packs": [{"litres": 20, "price_breaks": dearer}]}, "/packs/0/price_minor"),
        ({"packs": [{"litres": 20, "price_minor": 8, "price_breaks": dearer}]}, "/packs/0/price_breaks"),
    ]:
        answer = shop.patch("/v1/fluids/ATF-A", change)
        assert answer.status_code == 422, change
        assert answer.json()["errors"][0]["pointer"] == pointer


def test_used_fluid_that_was_fetched_is_written_down_once(shop):
    shop.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van", "depot": "North"})
    body = {"depot": "North", "stream": "lubricating_oil", "litres": 400, "reference": "transfer 17"}
    assert shop.post("/v1/used-fluid/collections", body).status_code == 201
    assert shop.post("/v1/used-fluid/collections", body).status_code == 409
    (level,) = shop.get("/v1/stock").json()["used_fluid"]
    assert (level["stream"], level["litres"], level["last_emptied_at"][:10]) == (
        "lubricating_oil",
        0,
        "2026-05-04",
    )
    lost = shop.post("/v1/used-fluid/collections", body | {"depot": "nowhere", "reference": "transfer 18"})
    assert lost.json()["errors"][0]["pointer"] == "/depot"


def test_what_was_fetched_is_listed_page_by_page_and_by_nobody_else(shop, join):
    shop.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van", "depot": "North"})
    body = {"depot": "North", "stream": "lubricating_oil", "litres": 400}
    for number in range(3):
        made = shop.post("/v1/used-fluid/collections", body | {"reference": f"transfer {number}"})
        assert made.status_code == 201
    first = shop.get("/v1/used-fluid/collections?limit=2")
    assert [one["reference"] for one in first.json()["collections"]] == ["transfer 2", "transfer 1"]
    assert first.json()["collections"][0] == made.json()
    rest = shop.get(first.links["next"]["url"])
    assert [one["reference"] for one in rest.json()["collections"]] == ["transfer 0"]
    assert "next" not in rest.links
    other = join("Other Invented")
    assert other.get("/v1/used-fluid/collections").json() == {"collections": []}
