"""The pages in a real Chromium: phone and desk, light and dark, and with the keyboard alone.

Accessibility is judged by axe (WCAG 2.2 A and AA rules); the width of 390 px is that of a common phone.
"""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from service.jobs.weekly_run import run_weekly
from service.main import build_app
from service.settings import Settings
from service.usecases.access.caller import system_caller
from service.usecases.fleet.driver_links import make_link
from tests.web.open_browser import SCHEMES, SIZES, OpenBrowser, served

pytestmark = pytest.mark.browser

PAGES = {
    "week": "/due-lists/2026-W19",
    "line": "/lines/lin_1",
    "draft": "/due-lists/2026-W21",
    "day": "/vehicles/VAN-01/day?week=2026-W21",
    "vehicles": "/vehicles",
    "vehicle-new": "/vehicles/new",
    "vehicle-change": "/vehicles/VAN-01/change",
    "compartment-new": "/vehicles/VAN-01/compartments/new",
    "compartment-change": "/compartments/cmp_1/change",
    "sample": "/vehicles/VAN-01/sample",
    "driver": "/driver/{link}",
    "vehicle": "/vehicles/VAN-01",
    "reading": "/vehicles/VAN-01/reading",
    "job-sheet": "/vehicles/VAN-01/job-sheet",
    "stock": "/stock",
    "article-new": "/stock/new",
    "accuracy": "/accuracy",
    "settings": "/settings",
    "people": "/settings/people",
    "tokens": "/settings/tokens",
    "start": "/start",
    "no-page": "/no-such-page",
    "password": "/password",
}


@pytest.fixture
def address(workshop, fleet, database, clock) -> Iterator[str]:
    """The application with a published list, served to browsers; somebody is signed in."""
    assert run_weekly(database, clock.now(), "node") == 1
    workshop.come_in()
    with served(build_app(Settings(environment="test", scheduler=False), database, clock)) as origin:
        yield origin


@pytest.fixture
def link(workshop, address, database, clock) -> str:
    """Secret of a driver's link for a van."""
    with database.transaction() as session:
        caller = system_caller(workshop.operator.organisation_id, "test")
        ends = clock.now() + timedelta(days=30)
        return make_link(session, caller, clock.now(), "VAN-01", "Sun visor", ends)[1]


def opened(browser: Browser, address: str, workshop, size: tuple[int, int], scheme: str) -> OpenBrowser:
    window = OpenBrowser(browser, address, size, scheme)
    window.hold("sumpwise", workshop.client.cookies["sumpwise"])
    return window


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES, ids=str)
def test_every_page_is_sound(browser, address, workshop, link, screenshots: Path, size, scheme):
    """No serious finding of axe, no message, no request elsewhere, no scrolling sideways."""
    window = opened(browser, address, workshop, size, scheme)
    found = {}
    for name, path in PAGES.items():
        window.go(path.format(link=link))
        window.page.screenshot(path=screenshots / f"{name}-{size[0]}-{scheme}.png", full_page=True)
        window.page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        violations = Axe().run(window.page).response["violations"]
        found[name] = [
            (one["id"], [node["target"] for node in one["nodes"]][:3])
            for one in violations
            if one["impact"] in {"serious", "critical"}
        ]
        width = window.page.evaluate("document.documentElement.scrollWidth")
        if width > size[0]:
            found[name].append(("scrolls sideways", width))
    assert {name: one for name, one in found.items() if one} == {}
    assert [text for text in window.messages if "404" not in text] == []
    assert window.elsewhere == []
    window.close()


def test_signing_in_and_moving_a_visit_need_no_mouse(browser, address, workshop, database):
    workshop.fill("/password", "/password", password="four invented words")
    window = OpenBrowser(browser, address, SIZES[1], "light")
    keyboard = window.page.keyboard
    window.go("/sign-in?next=/lines/lin_1")
    _tab_to(window, "login")
    keyboard.type("olga")
    keyboard.press("Tab")
    keyboard.type("four invented words")
    keyboard.press("Enter")
    window.page.wait_for_url(f"{address}/lines/lin_1", wait_until="load")
    _tab_to(window, "moved_to_on")
    keyboard.type("05072026")
    keyboard.press("Enter")
    window.page.wait_for_url(f"{address}/due-lists/2026-W19?told=moved", wait_until="load")
    assert "Thursday 07/05/2026" in window.page.inner_text("main")
    window.close()


def _tab_to(window: OpenBrowser, name: str) -> None:
    """Press Tab until the field of this name has the focus, which must be visible on the way."""
    for _ in range(60):
        window.page.keyboard.press("Tab")
        here, outline = window.page.evaluate(
            """() => { const e = document.activeElement;
                return [e.name || '', e === document.body ? 'left' : getComputedStyle(e).outlineStyle]; }"""
        )
        assert outline != "none"
        if here == name:
            return
    raise AssertionError(f"the keyboard does not reach {name}")
