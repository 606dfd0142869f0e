"""What each role finds: whatever a page offers, the person may do; nobody is led to a refusal."""

import re
from html import unescape
from urllib.parse import urlsplit

import pytest

from service.domain.roles import Role
from service.jobs.weekly_run import run_weekly
from tests.web.conftest import token_in

NAMES = {
    Role.OWNER: ["This week", "Vehicles", "Stock", "Accuracy", "Settings"],
    Role.PLANNER: ["This week", "Vehicles", "Stock", "Accuracy"],
    Role.MECHANIC: ["This week", "Vehicles", "Stock", "Accuracy"],
    Role.VIEWER: ["This week", "Vehicles", "Stock", "Accuracy"],
    Role.DRIVER: ["Reading"],
}
REFUSED = {
    Role.OWNER: [],
    Role.PLANNER: ["/settings", "/settings/people", "/settings/tokens"],
    Role.MECHANIC: ["/settings", "/start", "/vehicles/new", "/vehicles/VAN-01/change", "/stock/new"],
    Role.VIEWER: ["/settings", "/vehicles/VAN-01/reading", "/vehicles/VAN-01/day", "/stock/new"],
    Role.DRIVER: [
        "/vehicles",
        "/vehicles/VAN-01",
        "/stock",
        "/accuracy",
        "/due-lists/2026-W19",
        "/lines/lin_1",
    ],
}


@pytest.fixture
def listed(workshop, fleet, database, clock):
    assert run_weekly(database, clock.now(), "node") == 1
    return workshop


def links_of(html: str) -> set[str]:
    return {
        unescape(found)
        for found in re.findall(r'(?:href|src)="(/[^"]*)"', html)
        if not urlsplit(found).path.endswith((".css", ".svg", ".pdf", ".xlsx", ".csv", ".ics"))
    }


def kind_of(link: str) -> str:
    """One page of a kind is enough: its path without numbers, and which questions it was asked."""
    parts = urlsplit(link)
    return re.sub(r"[0-9]+", "#", parts.path) + re.sub(r"=[^&]*", "", parts.query)


def forms_of(html: str) -> set[str]:
    return {unescape(found) for found in re.findall(r'method="post" action="(/[^"]*)"', html)}


@pytest.mark.parametrize("role", list(Role))
def test_nothing_that_a_page_offers_is_refused(listed, role):
    """Follow every link from the first page, then send every form empty: none may answer 403 or fail."""
    listed.come_in("rita", role)
    waiting, seen, forms = ["/"], {"/"}, set()
    while waiting:
        path = waiting.pop(0)
        page = listed.get(path)
        assert page.status_code in {200, 303}, (role, path, page.text)
        forms |= forms_of(page.text)
        for link in sorted(links_of(page.text)):
            if kind_of(link) not in seen:
                seen.add(kind_of(link))
                waiting.append(link)
    token = token_in(listed.get("/password").text)
    for number, path in enumerate(sorted(forms - {"/sign-out"})):
        answer = listed.send(path, {"form_token": token, "form_id": f"empty{number}"})
        assert answer.status_code in {200, 303, 404, 409, 422}, (role, path, answer.text)


@pytest.mark.parametrize("role", list(Role))
def test_the_way_in_shows_what_the_role_may_see(listed, role):
    listed.come_in("rita", role)
    head = listed.get("/").text.partition("</nav>")[0]
    assert re.findall(r'<li><a href="[^"]*"[^>]*>([^<]+)</a>', head) == NAMES[role]


@pytest.mark.parametrize("role", list(Role))
def test_what_a_role_may_not_is_refused_on_a_page(listed, role):
    listed.come_in("rita", role)
    for path in REFUSED[role]:
        page = listed.get(path)
        assert page.status_code == 403, (path, page.text)
        assert "This is not allowed" in page.text


def test_a_driver_who_signs_in_sends_a_reading(listed):
    listed.come_in("rita", Role.DRIVER)
    first = listed.get("/")
    assert "Number of the vehicle" in first.text
    assert "VAN-01" not in first.text
    onward = listed.get("/reading?vehicle=van-01 ")
    wrong = listed.get("/reading?vehicle=VAN-99")
    assert wrong.status_code == 422
    assert "No vehicle has this number" in wrong.text
    assert 'value="VAN-99"' in wrong.text
    onward = listed.get("/reading?vehicle=VAN-01 ")
    assert onward.headers["location"] == "/vehicles/VAN-01/reading"
    form = "/vehicles/veh_1/reading"
    answer = listed.fill(
        "/vehicles/VAN-01/reading", form, odometer="80 320", unit="km", taken_at="2026-05-01T06:00"
    )
    assert answer.status_code == 303, answer.text
    done = listed.get(answer.headers["location"])
    assert done.status_code == 200
    assert "The reading is saved." in done.text
    assert 'href="/reading"' in done.text
