import os
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from html import unescape
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Browser, sync_playwright

from service.domain.roles import Role
from service.store.schema import upgrade_schema
from service.store.session import Database
from service.usecases.access.caller import system_caller
from service.usecases.access.manage_people import add_person
from tests.service_fixtures import HandClock, Operator
from tests.web.small_fleet import fill

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-smooth-scrolling",
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A headless Chromium: named by CHROMIUM, else the first found on the path.

    For a file of tests, not for the whole run: as long as it is there, an event loop runs in this thread, and whatever
    starts one of its own, as the queue of the workers does, fails beside it.
    """
    names = ("chromium", "chromium-browser", "google-chrome")
    found = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, names)), None)
    assert found, "Browser tests need Chromium: install it or set CHROMIUM to its path."
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=found, args=list(FLAGS))
        yield launched
        launched.close()


@pytest.fixture(scope="session")
def screenshots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where screenshots go: SCREENSHOTS, so that a person can look at them, else a folder that pytest clears."""
    folder = Path(os.environ.get("SCREENSHOTS") or tmp_path_factory.mktemp("screenshots"))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@dataclass
class Workshop:
    """An organisation's people at their browsers: one client that keeps the cookies of whoever signed in last."""

    client: TestClient
    database: Database
    clock: HandClock
    operator: Operator

    def add(self, login: str = "olga", role: Role = Role.OWNER, organisation_id: int | None = None) -> str:
        """Make a person and give the one-time code that lets them in."""
        key = organisation_id or self.operator.organisation_id
        with self.database.transaction() as session:
            caller = system_caller(key, "test")
            return add_person(session, caller, self.clock.now(), login, f"{login.title()} Invented", role)[1]

    def come_in(self, login: str = "olga", role: Role = Role.OWNER, **options: object) -> "Workshop":
        """Sign a new person in by their link."""
        code = self.add(login, role, **options)
        self.enter(code)
        return self

    def enter(self, code: str) -> None:
        token = token_in(self.get(f"/sign-in/{code}").text)
        answer = self.send(f"/sign-in/{code}", {"form_token": token})
        assert answer.status_code == 303, answer.text

    def get(self, path: str, **options: object):
        return self.client.get(path, headers={"Accept": "text/html"}, follow_redirects=False, **options)

    def send(
        self, path: str, fields: dict[str, str], origin: str | None = "http://testserver", **options: object
    ):
        """Post a form as it stands."""
        headers = {"Accept": "text/html"} | ({"Origin": origin} if origin else {})
        return self.client.post(path, data=fields, headers=headers, follow_redirects=False, **options)

    def fill(self, page: str, action: str, **fields: str):
        """Open a page, fill in the form with this action and send it, hidden fields included."""
        return self.send(action, hidden_in(self.get(page).text, action) | fields)


def token_in(html: str) -> str:
    found = re.search(r'name="form_token" value="([^"]+)"', html)
    assert found, html
    return found[1]


def hidden_in(html: str, action: str) -> dict[str, str]:
    """Hidden fields of the first form with this action."""
    form = re.search(rf'<form[^>]*action="{re.escape(action)}"[^>]*>(.*?)</form>', html, re.DOTALL)
    assert form, f"no form for {action} in {html}"
    pairs = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form[1])
    return {name: unescape(value) for name, value in pairs}


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """Pages are tested on one kind of database; what they store through is tested on both."""
    database = Database(f"sqlite:///{tmp_path / 'test.sqlite'}", sqlite_synchronous="NORMAL")
    upgrade_schema(database)
    yield database
    database.close()


@pytest.fixture
def workshop(client: TestClient, database: Database, clock: HandClock, operator: Operator) -> Workshop:
    """A workshop where nobody is signed in yet."""
    return Workshop(client, database, clock, operator)


@pytest.fixture
def fleet(operator: Operator, clock: HandClock) -> Operator:
    """Two vans and a truck with fluids that are due about now; see `tests.web.small_fleet`."""
    fill(operator, clock)
    return operator
