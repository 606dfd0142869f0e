"""Two administrators at the same moment: what the second one decides on is what the first one left."""

import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import Session

from service.domain.events import Event
from service.domain.external_ids import IdKind, format_id
from service.domain.roles import Role
from service.errors import ServiceError
from service.store.repositories import outbox
from service.usecases.access.caller import Caller, system_caller
from service.usecases.access.manage_people import add_person, disable_person
from service.usecases.access.sign_in import authenticate_browser, open_session
from service.usecases.deliveries.subscribe import retry_delivery, subscribe
from service.usecases.fleet.change_settings import change_depot, change_organisation
from service.usecases.machines.manage_sources import MOST_SOURCES, Pull, add_source, change_pull
from service.usecases.orders.change_planning import change_planning
from tests.faults.test_same_moment import at_once, decided
from tests.service_fixtures import START

Change = Callable[[Session, Caller], Any]
PULL = {"url": "https://203.0.113.9/fleet", "minutes": 60}


def test_of_two_owners_who_are_signed_in_one_stays(operator, database):
    """Each was read, as an owner, when their browser was known, before it was their turn to shut the other out."""
    caller = system_caller(operator.organisation_id, "test")
    with database.transaction() as session:
        logins = ("a@example.org", "b@example.org")
        owners = [add_person(session, caller, START, one, "An Owner", Role.OWNER)[0] for one in logins]
        browsers = [open_session(session, START, person) for person in owners]
        ids = [format_id(IdKind.PERSON, person.id) for person in owners]

    def shut_out(session: Session, browser: str, other: str) -> str:
        signed_in = authenticate_browser(session, browser, START)
        disable_person(session, signed_in.caller, START, other)
        return "shut out"

    both = [
        lambda session, browser=browser, other=other: shut_out(session, browser, other)
        for browser, other in zip(browsers, reversed(ids), strict=True)
    ]
    assert decided(database, *both).count("shut out") == 1


def test_terms_that_two_change_at_once_are_both_kept(operator, database):
    caller = system_caller(operator.organisation_id, "test")

    def change(session: Session, name: str) -> str:
        change_planning(session, caller, START, {name: 4_200.0})
        return "changed"

    names = ("visit_minor", "labour_minor_an_hour")
    decided(database, *[lambda session, name=name: change(session, name) for name in names])
    terms = {one["name"]: one["value"] for one in operator.get("/v1/planning-terms").json()["terms"]}
    assert [terms[name] for name in names] == [4_200.0, 4_200.0]


def test_what_is_being_sent_is_not_sent_again_by_hand(operator, database):
    caller = system_caller(operator.organisation_id, "test")
    with database.transaction() as session:
        receiver = subscribe(session, caller, START, "mail", "kim@example.org", list(Event))
        message = {
            "organisation_id": caller.organisation_id,
            "subscription_id": receiver.id,
            "channel": "mail",
        }
        message |= {
            "event": str(next(iter(Event))),
            "message_key": "a",
            "target": receiver.target,
            "payload": {},
        }
        outbox.add_message(session, message | {"state": "waiting", "next_try_at": START, "created_at": START})

    def send() -> str:
        with database.transaction() as session:
            claimed = outbox.claim_due(session, START, timedelta(minutes=2))
            time.sleep(0.4)
        return "nothing" if claimed is None else claimed.state

    def try_again() -> str:
        time.sleep(0.15)
        try:
            with database.transaction() as session:
                retry_delivery(session, caller, START, "dlv_1")
        except ServiceError as error:
            return error.code
        return "tried again"

    assert at_once([send, try_again]) == ["sending", "state-transition"]


def test_machine_sources_stay_within_their_number(operator, database):
    caller = system_caller(operator.organisation_id, "test")
    with database.transaction() as session:
        for number in range(MOST_SOURCES - 1):
            add_source(session, caller, START, f"portal {number}", None)

    def add(session: Session, name: str) -> str:
        add_source(session, caller, START, name, None)
        return "made"

    both = [lambda session, name=name: add(session, name) for name in ("first", "second")]
    assert sorted(decided(database, *both)) == ["invalid-input", "made"]


@pytest.mark.parametrize(
    ("path", "body", "change"),
    [
        (
            "/v1/organisation",
            {"publishing_time": "05:00"},
            lambda session, caller: change_organisation(session, caller, START, {"publishing_minute": 420}),
        ),
        (
            "/v1/depots/North",
            {"bay_minutes": [60] * 7},
            lambda session, caller: change_depot(session, caller, START, "North", {"bay_minutes": [90] * 7}),
        ),
        (
            "/v1/planning-terms",
            {"terms": {"visit_minor": 100.0}},
            lambda session, caller: change_planning(session, caller, START, {"visit_minor": 200.0}),
        ),
        (
            "/v1/machine-sources/src_1",
            {"pull": None},
            lambda session, caller: change_pull(
                session, caller, START, "src_1", Pull(url=PULL["url"], minutes=30, authorization=None)
            ),
        ),
    ],
)
def test_an_edit_of_what_somebody_is_changing_is_refused(operator, database, path, body, change: Change):
    caller = system_caller(operator.organisation_id, "test")
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van", "depot": "North"})
    with database.transaction() as session:
        add_source(session, caller, START, "portal", None)
    tag = {"If-Match": operator.get(path).headers["ETag"]}

    def be_first() -> str:
        with database.transaction() as session:
            change(session, caller)
            session.flush()
            time.sleep(0.4)
        return "changed"

    def come_second() -> int:
        time.sleep(0.15)
        return operator.patch(path, body, headers=tag).status_code

    assert at_once([be_first, come_second]) == ["changed", 412]
