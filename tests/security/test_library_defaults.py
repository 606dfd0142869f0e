"""What frameworks and drivers do unless told otherwise, and must not do here."""

import pytest
from sqlalchemy import text
from sqlalchemy.exc import OperationalError
from sqlmodel import Session
from structlog.testing import capture_logs

from service.main import build_database
from service.settings import Settings
from tests.security.operations import OPENED_BY_A_SIGNATURE, OPENED_BY_THEIR_ADDRESS
from tests.security.world import found_world, send


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_nothing_is_acknowledged_whose_commit_fails(operator, operations, monkeypatch):
    """A dependency's end is done after the answer has left, unless it is told to be done before."""
    world = found_world(operator, operations)
    limit = operations["set_limit"]  # so that there is one to be reset
    assert send(operator, limit, world, body=world.body(limit, "application/json")).status_code < 300

    def fail(_session: Session) -> None:
        raise OperationalError("COMMIT", {}, OSError("the disk is gone"))

    monkeypatch.setattr(Session, "commit", fail)
    acknowledged = {}
    for name, operation in operations.items():
        if not operation.is_write or name in OPENED_BY_A_SIGNATURE | OPENED_BY_THEIR_ADDRESS:
            continue
        for kind in operation.bodies or ["application/json"]:
            body = world.body(operation, kind) if operation.bodies else None
            with capture_logs():  # writing down each failure takes a second
                answer = send(operator, operation, world, body=body, kind=kind)
            if answer.status_code != 503 or "Retry-After" not in answer.headers:
                acknowledged[name, kind] = answer.status_code
    assert acknowledged == {}


def test_what_is_committed_is_on_disk_whatever_the_database_is_set_to(database):
    """SQLite in WAL mode syncs each commit at FULL only; a server's default may be `synchronous_commit = off`."""
    url = database.engine.url
    if not database.is_sqlite:
        with database.engine.connect() as connection:
            connection.execution_options(isolation_level="AUTOCOMMIT")
            connection.execute(text(f"ALTER DATABASE {url.database} SET synchronous_commit = off"))
    opened = build_database(Settings(database_url=url.render_as_string(hide_password=False)))
    with opened.transaction() as session:
        asked = {
            name: session.execute(text(f"PRAGMA {name}" if opened.is_sqlite else f"SHOW {name}")).scalar_one()
            for name in (
                ("synchronous", "journal_mode", "foreign_keys")
                if opened.is_sqlite
                else ("synchronous_commit", "TimeZone")
            )
        }
    opened.close()
    if opened.is_sqlite:
        assert asked == {"synchronous": 2, "journal_mode": "wal", "foreign_keys": 1}
    else:
        assert asked == {"synchronous_commit": "on", "TimeZone": "UTC"}


SECRET = "sump_é😀".encode()
DOORS = [
    ("GET", "/v1/vehicles", {"Authorization": b"Bearer " + SECRET}, 401),
    ("GET", "/v1/vehicles", {"Authorization": b"Bearer \xff\xfe"}, 401),
    ("GET", "/v1/calendar/%C3%A9%F0%9F%98%80.ics", {}, 422),
    ("GET", "/v1/calendar/%FF.ics", {}, 422),
    ("POST", "/v1/unsubscribe/%C3%A9", {}, 422),
    ("GET", "/driver/" + 43 * "%C3%A9", {}, 404),
    (
        "POST",
        "/v1/inbound/src_1",
        {
            "webhook-id": b"msg_1",
            "webhook-timestamp": b"1777550400",
            "webhook-signature": b"v1," + SECRET,
        },
        401,
    ),
]


@pytest.mark.parametrize(("method", "path", "headers", "status"), DOORS)
def test_a_secret_that_is_not_ascii_is_a_wrong_one(client, method, path, headers, status):
    """The standard library compares texts in constant time only if they are ASCII, and fails on others."""
    answer = client.request(method, path, headers=headers, content=b"{}" if method == "POST" else None)
    assert answer.status_code == status, answer.text


def test_a_cookie_that_is_not_ascii_signs_nobody_in(client):
    cookie = b"; ".join(name + b"=" + SECRET for name in (b"sumpwise", b"sumpwise_form"))
    headers = {"Cookie": cookie, "Accept": "text/html"}
    assert client.get("/sign-in", headers=headers).status_code == 200
    asked = client.get("/vehicles", headers=headers, follow_redirects=False)
    assert asked.headers["Location"].startswith("/sign-in")
    form = {"email": "kim@example.org", "password": "x", "form_token": "é"}
    assert client.post("/sign-in", data=form, headers=headers).status_code == 403
