"""Links for drivers: readings of one vehicle, and nothing else for anybody.

What a link must withstand follows OWASP ASVS 5.0: 7.2.3 and 11.5.1 (random secrets, stored as digests), 8.2.2
(objects of others), 7.4 (ending), 6.3.1 (guessing), 2.4.1 (rate).
"""

import re
from datetime import timedelta

import pytest
from sqlmodel import select

from service.domain.roles import Role, Scope
from service.store.repositories.access import hash_secret
from service.store.tables.access import AuditEntry, Token
from service.store.tables.operations import IdempotencyKey
from service.usecases.access.caller import system_caller
from service.usecases.access.manage_tokens import create_token
from tests.documents.pdf_reading import claims_pdf_ua, full_text
from tests.web.conftest import hidden_in, token_in

TYPED = {"odometer": "80 010", "engine_hours": "", "taken_at": ""}


@pytest.fixture
def planner(workshop, fleet):
    return workshop.come_in("petra", Role.PLANNER)


def make(workshop, vehicle: str = "VAN-01", days: str = "30") -> str:
    """Make a link on the page of a vehicle and give its path."""
    page = workshop.get(f"/vehicles/{vehicle}").text
    action = re.search(r'action="(/vehicles/veh_\d+/links)"', page)[1]
    answer = workshop.send(action, hidden_in(page, action) | {"link_name": "Sun visor", "link_days": days})
    assert answer.status_code == 200, answer.text
    assert answer.headers["cache-control"] == "no-store"
    assert "<svg" in answer.text
    return re.search(r"<code>http://[^/]+(/driver/[^<]+)</code>", answer.text)[1]


def post(workshop, path: str, **fields: str):
    return workshop.send(path, hidden_in(workshop.get(path).text, path) | TYPED | fields)


def latest(workshop, vehicle: str = "VAN-01") -> dict:
    rows = workshop.operator.get(f"/v1/vehicles/{vehicle}/readings?limit=200").json()["readings"]
    return max(rows, key=lambda row: row["taken_at"]) if rows else {}


def sign_out(workshop) -> None:
    workshop.client.cookies.clear()


def test_a_driver_who_is_not_signed_in_posts_a_reading_of_the_vehicle(planner, clock):
    path = make(planner)
    sign_out(planner)
    page = planner.get(path)
    assert "VAN-01" in page.text
    assert "VAN-02" not in page.text
    assert "/vehicles" not in page.text
    assert page.headers["cache-control"] == "no-store"
    assert post(planner, path).headers["location"] == f"{path}?told=driver_saved"
    assert "Saved. Thank you." in planner.get(f"{path}?told=driver_saved").text
    reading = latest(planner)
    assert reading["odometer"] == 80_010
    assert reading["source"] == "driver"


def test_a_mistake_is_told_at_its_field_and_nothing_typed_is_lost(planner):
    path = make(planner)
    sign_out(planner)
    answer = post(planner, path, odometer="80.0.10", engine_hours="12")
    assert answer.status_code == 422
    assert 'value="80.0.10"' in answer.text
    assert 'value="12"' in answer.text
    assert "Not a number" in answer.text
    assert post(planner, path, odometer="").status_code == 422
    assert post(planner, path, taken_at="2999-01-01T08:00").status_code == 422


def test_a_reading_that_does_not_fit_is_held_and_the_driver_is_told(planner):
    path = make(planner)
    held = post(planner, path, odometer="8001").headers["location"]
    assert held.endswith("told=driver_held")
    assert 'notice-draft" role="status">Saved, but' in planner.get(held).text


def test_a_button_that_is_pressed_twice_saves_once(planner):
    path = make(planner)
    fields = hidden_in(planner.get(path).text, path) | TYPED
    assert planner.send(path, fields).headers["location"].endswith("told=driver_saved")
    planner.clock.advance(timedelta(seconds=40))
    assert planner.send(path, fields).headers["location"].endswith("told=again")


def test_a_link_reaches_no_other_vehicle_whatever_is_sent(planner):
    path = make(planner)
    before = latest(planner, "VAN-02")
    post(planner, path, vehicle="VAN-02")
    assert latest(planner, "VAN-02") == before
    assert latest(planner)["odometer"] == 80_010


def test_the_secret_of_a_link_does_nothing_else_at_the_api(planner):
    secret = make(planner).removeprefix("/driver/")
    as_driver = {"Authorization": f"Bearer {secret}"}
    for path in ("/v1/vehicles", "/v1/vehicles/VAN-01", "/v1/due-lists/current", "/v1/stock", "/v1/readings"):
        assert planner.client.get(path, headers=as_driver).status_code == 403, path
    row = {"vehicle": "VAN-02", "taken_at": "2026-05-01T06:00:00Z", "odometer": 20_100.0}
    answer = planner.client.post("/v1/readings", json={"readings": [row]}, headers=as_driver)
    assert "no vehicle" in answer.text.lower()
    assert latest(planner, "VAN-02")["odometer"] != 20_100
    assert planner.client.post("/v1/vehicles", json={}, headers=as_driver).status_code in {403, 422}


def test_only_the_digest_of_a_secret_is_stored_anywhere(planner, database):
    path = make(planner)
    post(planner, path)
    secret = path.removeprefix("/driver/")
    with database.snapshot() as session:
        assert session.exec(select(Token).where(Token.secret_hash == hash_secret(secret))).one()
        for table in (Token, AuditEntry, IdempotencyKey):
            assert secret not in "".join(str(row.model_dump()) for row in session.exec(select(table)))


def test_a_link_ends_on_its_day(planner):
    path = make(planner, days="30")
    planner.clock.advance(timedelta(days=29))
    assert planner.get(path).status_code == 200
    planner.clock.advance(timedelta(days=2))
    assert planner.get(path).status_code == 404
    assert planner.get(f"{path}/card.pdf").status_code == 404


def test_a_link_that_somebody_ended_is_worthless_at_once(planner):
    path = make(planner)
    fields = hidden_in(planner.get(path).text, path) | TYPED
    page = planner.get("/vehicles/VAN-01").text
    (action,) = re.findall(r'action="(/vehicles/veh_\d+/links/tok_\d+)"', page)
    assert planner.fill("/vehicles/VAN-01", action).headers["location"].endswith("told=link_ended")
    assert planner.send(path, fields).status_code == 404
    assert planner.get(path).status_code == 404
    assert "tok_" not in planner.get("/vehicles/VAN-01").text


def test_a_link_of_another_vehicle_or_organisation_cannot_be_ended_here(planner, database, join):
    path = make(planner)
    link = re.search(r"links/(tok_\d+)", planner.get("/vehicles/VAN-01").text)[1]
    token = token_in(planner.get("/vehicles/VAN-02").text)
    assert planner.send(f"/vehicles/veh_2/links/{link}", {"form_token": token}).status_code == 404
    other = join("Other")
    planner.come_in("otto", Role.OWNER, organisation_id=other.organisation_id)
    token = token_in(planner.get("/settings").text)
    assert planner.send(f"/vehicles/veh_1/links/{link}", {"form_token": token}).status_code == 404
    assert planner.get(path).status_code == 200


@pytest.mark.parametrize(
    ("scopes", "vehicle", "days"),
    [
        ([Scope.READINGS], None, 30),
        ([Scope.READINGS], "VAN-01", None),
    ],
    ids=["for no vehicle", "never ends"],
)
def test_a_token_for_programs_opens_no_page(planner, database, clock, scopes, vehicle, days):
    with database.transaction() as session:
        caller = system_caller(planner.operator.organisation_id, "test")
        ends = None if days is None else clock.now() + timedelta(days=days)
        _, secret = create_token(
            session, caller, clock.now(), "program", scopes, expires_at=ends, vehicle=vehicle
        )
    assert planner.get(f"/driver/{secret}").status_code == 404


def test_a_vehicle_out_of_use_takes_no_readings(planner):
    path = make(planner)
    assert planner.operator.client.delete(
        "/v1/vehicles/VAN-01", headers=planner.operator.headers
    ).status_code in {200, 204}
    assert planner.get(path).status_code == 404


def test_guessing_is_slowed_down(planner):
    path = make(planner)
    sign_out(planner)
    tries = [planner.get(f"/driver/{'x' * 43}{n:02d}").status_code for n in range(17)]
    assert tries[:15] == [404] * 15
    assert tries[15:] == [429] * 2
    assert planner.get(path).status_code == 200, "a driver behind the same address goes on"
    planner.clock.advance(timedelta(minutes=2))
    assert planner.get(f"/driver/{'x' * 43}99").status_code == 404


def test_nobody_floods_a_vehicle_through_its_link(planner):
    path = make(planner)
    answers = [post(planner, path, odometer=str(80_000 + n)).status_code for n in range(22)]
    assert answers[:20] == [303] * 20
    assert answers[20:] == [429] * 2


def test_forms_of_other_sites_are_refused(planner):
    path = make(planner)
    fields = hidden_in(planner.get(path).text, path) | TYPED
    assert planner.send(path, fields, origin="https://elsewhere.example").status_code == 403
    assert planner.send(path, fields, origin=None).status_code == 403
    assert planner.send(path, fields | {"form_token": "0" * 64}).status_code == 403


@pytest.mark.parametrize("role", [Role.MECHANIC, Role.VIEWER])
def test_only_a_planner_makes_links(workshop, fleet, role):
    workshop.come_in("max", role)
    assert "/links" not in workshop.get("/vehicles/VAN-01").text
    token = token_in(workshop.get("/vehicles/VAN-01").text)
    fields = {"form_token": token, "link_name": "x", "link_days": "30"}
    assert workshop.send("/vehicles/veh_1/links", fields).status_code == 403


def test_the_card_says_what_to_do_and_carries_the_address(planner):
    path = make(planner)
    sign_out(planner)
    card = planner.get(f"{path}/card.pdf")
    assert card.headers["content-type"] == "application/pdf"
    assert card.headers["cache-control"] == "no-store"
    text = full_text(card.content)
    assert "VAN-01" in text
    assert "Never while driving." in text
    assert path in text.replace("\n", "")
    assert claims_pdf_ua(card.content)


def test_the_square_code_fills_its_place(planner):
    """A drawing with a size of its own stays as small as that, whatever box it is given (SVG 2, section 8.6)."""
    made = planner.fill("/vehicles/veh_1", "/vehicles/veh_1/links", link_name="Sun visor", link_days="30")
    drawn = re.search(r'<div class="qr"><svg([^>]*)>', made.text)[1]
    assert "viewBox" in drawn
    assert not re.search(r"\s(width|height)=", drawn)
