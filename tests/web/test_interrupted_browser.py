"""The job sheet in a real Chromium when things go wrong half-way: no connection, no session, going back."""

from collections.abc import Iterator

import pytest

from service.jobs.weekly_run import run_weekly
from service.main import build_app
from service.settings import Settings
from tests.web.open_browser import SIZES, OpenBrowser, served

pytestmark = pytest.mark.browser

SHEET = "/vehicles/VAN-01/job-sheet"
PASSWORD = "four invented words"


@pytest.fixture
def window(workshop, fleet, database, clock, browser) -> Iterator[OpenBrowser]:
    """A mechanic's phone with the sheet open and something typed into it."""
    assert run_weekly(database, clock.now(), "node") == 1
    workshop.come_in()
    workshop.fill("/password", "/password", password=PASSWORD)
    with served(build_app(Settings(environment="test", scheduler=False), database, clock)) as origin:
        window = OpenBrowser(browser, origin, SIZES[0], "light")
        window.hold("sumpwise", workshop.client.cookies["sumpwise"])
        window.go(SHEET)
        window.page.fill("[name=cmp_1-drained-1]", "3.41")
        window.page.fill("[name=note]", "plug was tight\nsecond line")
        window.page.check("[name=cmp_1-step_specification_checked]")
        yield window
        window.close()


def typed(window: OpenBrowser) -> tuple[str, str, bool]:
    page = window.page
    return (
        page.input_value("[name=cmp_1-drained-1]"),
        page.input_value("[name=note]"),
        page.is_checked("[name=cmp_1-step_specification_checked]"),
    )


WHOLE = ("3.41", "plug was tight\nsecond line", True)


def save(window: OpenBrowser) -> None:
    window.page.click("button[value=save]", no_wait_after=True)


def test_what_was_typed_is_still_there_after_the_connection_came_back(window):
    window.context.set_offline(True)
    with window.page.expect_event("requestfailed"):
        save(window)
    window.page.wait_for_function("location.href.startsWith('chrome-error')")
    window.context.set_offline(False)
    window.page.go_back()
    assert typed(window) == WHOLE
    save(window)
    window.page.wait_for_url("**told=job_saved")
    assert typed(window) == WHOLE


def test_what_was_typed_survives_a_session_that_ended(window):
    window.context.clear_cookies()
    save(window)
    window.page.wait_for_selector("[name=password]")
    assert "what you typed is kept" in window.page.inner_text("main")
    window.page.fill("[name=login]", "olga")
    window.page.fill("[name=password]", PASSWORD)
    window.page.keyboard.press("Enter")
    window.page.wait_for_selector("text=What you had typed is kept")
    window.page.click("main form button")
    window.page.wait_for_url("**told=job_saved")
    assert typed(window) == WHOLE


def test_a_sheet_that_was_saved_goes_on_at_another_device(window, browser):
    save(window)
    window.page.wait_for_url("**told=job_saved")
    desk = OpenBrowser(browser, window.origin, SIZES[1], "dark")
    desk.hold("sumpwise", window.context.cookies()[0]["value"])
    desk.go(SHEET)
    assert typed(desk) == WHOLE
    assert "Begun already" in desk.page.inner_text("main")
    desk.close()


def test_going_back_and_pressing_again_does_the_work_once(window):
    save(window)
    window.page.wait_for_url("**told=job_saved")
    window.page.go_back()
    save(window)
    window.page.wait_for_url("**told=*")
    assert typed(window) == WHOLE
