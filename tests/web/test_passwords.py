"""Setting a password for the first time, changing it, and having forgotten it.

Numbers in brackets: OWASP Application Security Verification Standard 5.0.
"""

import re

import pytest

from service.domain.roles import Role
from service.usecases.access.caller import system_caller
from service.usecases.access.manage_people import add_person, invite_again
from tests.web.conftest import hidden_in, token_in

FIRST = "four invented words here"
SECOND = "other invented words there"


def set_password(workshop, password: str, **more: str):
    return workshop.fill("/password", "/password", password=password, **more)


def sign_in(workshop, password: str):
    hidden = hidden_in(workshop.get("/sign-in").text, "/sign-in")
    return workshop.send("/sign-in", hidden | {"login": "olga", "password": password})


def invite(workshop) -> str:
    """Another link for the first person there is."""
    caller = system_caller(workshop.operator.organisation_id, "test")
    with workshop.database.transaction() as session:
        return invite_again(session, caller, workshop.clock.now(), "per_1")[1]


def open_link(workshop, code: str) -> int:
    """Press the button behind a link."""
    token = token_in(workshop.get(f"/sign-in/{code}").text)
    return workshop.send(f"/sign-in/{code}", {"form_token": token}).status_code


@pytest.fixture
def owner(workshop):
    """Somebody who has a password and is signed in."""
    workshop.come_in()
    assert set_password(workshop, FIRST).status_code == 303
    return workshop


def test_a_first_password_needs_no_other(workshop):
    workshop.come_in()
    assert "present_password" not in workshop.get("/password").text
    assert set_password(workshop, FIRST).status_code == 303


@pytest.mark.parametrize("given", [{}, {"present_password": ""}, {"present_password": "words of somebody"}])
def test_a_password_is_changed_only_by_whoever_knows_it(owner, given):
    """[6.2.3]"""
    refused = set_password(owner, SECOND, **given)
    assert refused.status_code == 422
    (field,) = re.findall(r'<input id="present_password"[^>]*>', refused.text)
    assert 'aria-invalid="true"' in field
    assert 'aria-describedby="present_password-hint present_password-error"' in field
    assert "This is not your present password." in refused.text
    assert SECOND not in refused.text
    owner.client.cookies.clear()
    assert sign_in(owner, SECOND).status_code == 422
    assert sign_in(owner, FIRST).status_code == 303


def test_with_the_present_password_it_is_changed(owner):
    (field,) = re.findall(r'<input id="present_password"[^>]*>', owner.get("/password").text)
    assert 'autocomplete="current-password"' in field
    assert set_password(owner, SECOND, present_password=FIRST).status_code == 303
    assert owner.get("/").status_code == 200
    owner.client.cookies.clear()
    assert sign_in(owner, FIRST).status_code == 422
    assert sign_in(owner, SECOND).status_code == 303


def test_guessing_the_present_password_counts_as_guessing_at_sign_in(owner):
    """[6.3.1]"""
    held = dict(owner.client.cookies)
    by_link = dict(owner.come_in("ben", Role.MECHANIC).client.cookies)
    owner.client.cookies.clear()
    owner.client.cookies.update(held)
    statuses = [set_password(owner, SECOND, present_password=f"guess {n}").status_code for n in range(20)]
    assert statuses[0] == 422
    assert statuses[-1] == 429
    assert set_password(owner, SECOND, present_password=FIRST).status_code == 429
    owner.client.cookies.clear()
    assert sign_in(owner, FIRST).status_code == 429
    owner.client.cookies.update(by_link)
    assert set_password(owner, SECOND).status_code == 303, "whoever has none to guess does not wait"


def test_a_link_for_whoever_forgot_it_ends_the_old_password_once_it_is_used(owner):
    held = dict(owner.client.cookies)
    code = invite(owner)
    assert owner.get(f"/sign-in/{code}").status_code == 200
    assert owner.get("/").status_code == 200, "making and looking at a link changes nothing"
    owner.client.cookies.clear()
    owner.enter(code)
    by_link = dict(owner.client.cookies)
    assert "You have no password now" in owner.get("/?told=no_password").text

    owner.client.cookies.clear()
    assert sign_in(owner, FIRST).status_code == 422
    owner.client.cookies.update(held)
    assert owner.get("/").headers["location"] == "/sign-in", "no older browser may set one without the old"

    owner.client.cookies.clear()
    owner.client.cookies.update(by_link)
    assert set_password(owner, SECOND).status_code == 303
    assert set_password(owner, FIRST).status_code == 422, "one is there again"
    owner.client.cookies.clear()
    assert sign_in(owner, SECOND).status_code == 303


def test_whoever_has_no_password_keeps_a_browser_when_a_link_opens_another(workshop):
    workshop.come_in()
    held = dict(workshop.client.cookies)
    workshop.client.cookies.clear()
    workshop.enter(invite(workshop))
    workshop.client.cookies.clear()
    workshop.client.cookies.update(held)
    assert workshop.get("/").status_code == 200


@pytest.mark.parametrize("used", ["another link", "a password"])
def test_a_link_that_nobody_used_ends_with_another_link_and_with_a_new_password(owner, used):
    """[6.4.1] Whoever finds an old link in a mailbox days later does not come in by it."""
    lying_about, another = invite(owner), invite(owner)
    if used == "another link":
        owner.client.cookies.clear()
        assert open_link(owner, another) == 303
    else:
        assert set_password(owner, SECOND, present_password=FIRST).status_code == 303
    owner.client.cookies.clear()
    assert open_link(owner, lying_about) == 401
    assert owner.get("/").status_code == 303


def test_links_of_others_stay_when_somebody_sets_a_password(owner):
    caller = system_caller(owner.operator.organisation_id, "test")
    with owner.database.transaction() as session:
        _, link = add_person(session, caller, owner.clock.now(), "paul", "Paul", Role.PLANNER)
    assert set_password(owner, SECOND, present_password=FIRST).status_code == 303
    owner.client.cookies.clear()
    assert open_link(owner, link) == 303
