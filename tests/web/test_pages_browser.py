"""Every page in a real Chromium: phone and desk, light and dark.

Accessibility is judged by axe (WCAG 2.2 A and AA rules); the width of 390 px is that of a common phone.
"""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from service.jobs.weekly_run import run_weekly
from service.main import build_app
from service.settings import Settings
from tests.web.open_browser import SCHEMES, SIZES, OpenBrowser, served
from tests.web.page_examples import EXAMPLES, PAGES, driver_link, furnish, pages_of_the_application

pytestmark = pytest.mark.browser


OF_COLOURS = "color-contrast"
"""The one rule of axe whose answer depends on light and dark."""


@pytest.fixture
def address(workshop, fleet, database, clock) -> Iterator[str]:
    """The application with a published list, served to browsers; somebody is signed in."""
    furnish(workshop.operator)
    assert run_weekly(database, clock.now(), "node") == 1
    workshop.come_in()
    with served(build_app(Settings(environment="test", scheduler=False), database, clock)) as origin:
        yield origin


def test_every_page_of_the_application_has_an_example():
    assert set(pages_of_the_application()) == set(EXAMPLES)


def test_every_page_is_sound(browser: Browser, address, workshop, database, clock, screenshots: Path):
    """No serious finding of axe, no message, no request elsewhere, no scrolling sideways, no broken word."""
    link = driver_link(database, workshop.operator.organisation_id, clock)
    window = OpenBrowser(browser, address, SIZES[0], SCHEMES[0])
    window.hold("sumpwise", workshop.client.cookies["sumpwise"])
    found = {}
    for name, path in PAGES.items():
        window.go(path.format(link=link))
        for size in SIZES:
            for scheme in SCHEMES:
                window.look(size, scheme)
                window.page.screenshot(path=screenshots / f"{name}-{size[0]}-{scheme}.png", full_page=True)
        window.open_details()
        for size in SIZES:
            for scheme in SCHEMES:
                window.look(size, scheme)
                only = "" if scheme == SCHEMES[0] else OF_COLOURS
                found[name, size[0], scheme] = window.findings(only)
            found[name, size[0], "words"] = [*window.broken_words()]
    assert {case: one for case, one in found.items() if one} == {}
    assert [text for text in window.messages if not {"404", "422", "401"} & set(text.split())] == []
    assert window.elsewhere == []
    window.close()


def test_no_page_scrolls_sideways_for_a_name_of_one_long_word(browser: Browser, address, workshop):
    """Forty letters are the most that a vehicle's number, a depot or a compartment may have."""
    word = "W" * 40
    assert workshop.operator.patch("/v1/vehicles/VAN-01", {"vehicle": word, "depot": word}).status_code == 200
    fluid = {"fluid": word, "kind": "axle", "packs": [{"litres": 20, "price_minor": 9000}]}
    assert workshop.operator.post("/v1/fluids", fluid).status_code == 201
    facts = {"kind": "axle", "compartment": word, "fluid": word, "last_service_on": "2015-01-01"}
    assert workshop.operator.post(f"/v1/vehicles/{word}/compartments", facts).status_code == 201
    window = OpenBrowser(browser, address, SIZES[0], SCHEMES[0])
    window.hold("sumpwise", workshop.client.cookies["sumpwise"])
    wide = {}
    for name, path in PAGES.items():
        if "{link}" not in path:
            window.go(path.replace("VAN-01", word))
        wide[name] = window.page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert {name: width for name, width in wide.items() if width > 0} == {}
    window.close()
