"""Scheduled pulls of fleet documents: page after page, later and later after failures, never to a private address."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any

import numpy as np
import pytest

from service.clients.addresses import parse_networks
from service.clients.fleet_pages import PageFetcher
from service.clients.targets import TargetRules
from service.jobs.machine_pulls import MachinePulls
from tests.service_fixtures import START

LOOPBACK = TargetRules(parse_networks("127.0.0.0/8"))


def page(number: int, following: str | None) -> str:
    link = "" if following is None else f"<Links><rel>next</rel><href>{following}</href></Links>"
    return (
        f"<Fleet xmlns='http://standards.iso.org/iso/15143/-3'>{link}<Equipment><EquipmentHeader>"
        f"<EquipmentID>M-{number}</EquipmentID></EquipmentHeader><Distance datetime='2026-05-01T07:30:00Z'>"
        f"<OdometerKilometre>{1000 + number}</OdometerKilometre></Distance></Equipment></Fleet>"
    )


@pytest.fixture
def portal():
    """A maker's portal: answers by path, and what it was asked."""
    answers: dict[str, tuple[int, dict[str, str], bytes]] = {}
    asked: list[tuple[str, str | None]] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append((self.path, self.headers.get("Authorization")))
            status, headers, body = answers.get(self.path, (404, {}, b""))
            self.send_response(status)
            for name, value in {"Content-Type": "application/xml", **headers}.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}", answers, asked
    server.shutdown()
    server.server_close()


@pytest.fixture
def pulls(database, clock) -> MachinePulls:
    return MachinePulls(database, clock, PageFetcher(LOOPBACK, timeout_seconds=5), np.random.default_rng(1))


@pytest.fixture
def pulled(client, operator, portal) -> Callable[..., dict[str, Any]]:
    """Make a source that is pulled from the portal; look at it again."""
    client.app.state.target_rules = LOOPBACK

    def look() -> dict[str, Any]:
        found = operator.get("/v1/machine-sources").json()["machine_sources"]
        if not found:
            pull = {"url": f"{portal[0]}/fleet/1?key=hidden", "minutes": 30, "authorization": "Bearer abc"}
            assert operator.post("/v1/machine-sources", {"name": "portal", "pull": pull}).status_code == 201
            return look()
        return dict(found[0])

    return look


def n_machines(operator, source: dict[str, Any]) -> int:
    return len(operator.get(f"/v1/machine-sources/{source['id']}/equipment").json()["equipment"])


def test_every_page_is_taken_and_the_next_pull_comes_after_the_usual_time(
    operator, portal, pulls, pulled, clock
):
    _, answers, asked = portal
    source = pulled()
    answers["/fleet/1?key=hidden"] = (200, {}, page(1, "/fleet/2").encode())
    answers["/fleet/2"] = (200, {}, page(2, "/fleet/3").encode())
    answers["/fleet/3"] = (200, {}, page(3, "/fleet/3").encode())
    pulls.finish_due()
    assert [path for path, _ in asked] == ["/fleet/1?key=hidden", "/fleet/2", "/fleet/3"], (
        "a link to itself ends it"
    )
    assert {header for _, header in asked} == {"Bearer abc"}
    assert n_machines(operator, source) == 3
    shown = pulled()
    assert (shown["failures"], shown["last_error"]) == (0, None)
    assert datetime.fromisoformat(shown["next_pull_at"]) == START + timedelta(minutes=30)
    assert "hidden" not in shown["pull_url"]
    pulls.finish_due()
    assert len(asked) == 3
    clock.advance(timedelta(minutes=31))
    pulls.finish_due()
    assert len(asked) == 6


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        ((500, {}, b""), "500"),
        ((302, {"Location": "http://127.0.0.1:1/"}, b""), "redirects are not followed"),
        ((200, {}, b"<html>sign in</html>"), "no fleet snapshot"),
        ((200, {}, b"<!DOCTYPE x><Fleet/>"), "document type"),
        ((200, {}, page(1, "http://127.0.0.2/fleet/2").encode()), "another server"),
        ((200, {"Content-Encoding": "gzip"}, b"\x1f\x8b"), "compressed"),
    ],
)
def test_a_pull_that_fails_is_told_and_tried_again_later_each_time(
    portal, pulls, pulled, clock, answer, told
):
    pulled()
    portal[1]["/fleet/1?key=hidden"] = answer
    waits = []
    for n_failures in (1, 2, 3):
        pulls.finish_due()
        shown = pulled()
        assert shown["failures"] == n_failures
        assert told in shown["last_error"]
        waits.append(datetime.fromisoformat(shown["next_pull_at"]) - clock.now())
        clock.advance(waits[-1])
    assert waits[0] < waits[1] < waits[2]


def test_a_busy_portal_says_when_to_come_back(portal, pulls, pulled, clock):
    pulled()
    portal[1]["/fleet/1?key=hidden"] = (429, {"Retry-After": "7200"}, b"")
    pulls.finish_due()
    assert datetime.fromisoformat(pulled()["next_pull_at"]) == START + timedelta(hours=2)


def test_pages_that_were_taken_before_a_failure_stay(operator, portal, pulls, pulled, clock):
    source = pulled()
    portal[1]["/fleet/1?key=hidden"] = (200, {}, page(1, "/fleet/2").encode())
    pulls.finish_due()
    assert (n_machines(operator, source), pulled()["failures"]) == (1, 1)
    portal[1]["/fleet/2"] = (200, {}, page(2, None).encode())
    clock.advance(timedelta(hours=1))
    pulls.finish_due()
    assert (n_machines(operator, source), pulled()["failures"]) == (2, 0)


def test_where_an_address_leads_is_checked_again_at_each_pull(database, clock, portal, pulled):
    """OWASP API7: a name that led elsewhere when it was registered reaches nothing private later."""
    pulled()
    strict = MachinePulls(database, clock, PageFetcher(TargetRules()), np.random.default_rng(1))
    strict.finish_due()
    assert portal[2] == []
    assert "private address" in pulled()["last_error"]


def test_a_source_that_another_node_is_pulling_is_left_alone(database, portal, pulls, pulled, clock):
    from service.store.repositories import due_pulls
    from service.usecases.machines.pull_source import LEASE

    pulled()
    with database.transaction() as session:
        assert due_pulls.claim_due(session, clock.now(), LEASE) is not None
    pulls.finish_due()
    assert portal[2] == []
    clock.advance(LEASE)
    pulls.finish_due()
    assert len(portal[2]) == 1, "a node that was killed loses its lease"


def test_asking_for_a_pull_makes_it_due_whatever_went_wrong(operator, portal, pulls, pulled):
    source = pulled()
    pulls.finish_due()
    pulls.finish_due()
    assert len(portal[2]) == 1
    assert operator.post(f"/v1/machine-sources/{source['id']}/pull").status_code == 200
    pulls.finish_due()
    assert len(portal[2]) == 2


def test_a_size_without_an_end_is_cut_off(portal, pulls, pulled):
    pulled()
    portal[1]["/fleet/1?key=hidden"] = (200, {}, b"<Fleet>" + b" " * (17 * 1024 * 1024))
    pulls.finish_due()
    assert "larger than" in pulled()["last_error"]
    assert datetime.fromisoformat(pulled()["next_pull_at"]) > datetime(2026, 5, 4, tzinfo=UTC)
