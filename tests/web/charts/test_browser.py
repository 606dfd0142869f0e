"""The style sheet and the charts in a real browser: phone and desk, light and dark, screen and paper.

Accessibility is judged by axe (WCAG 2.2 A and AA rules); target size by WCAG 2.2 success criterion 2.5.5 (44 px).
"""

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Route

from tests.web.charts.demo_page import demo_page

pytestmark = pytest.mark.browser

ORIGIN = "http://sumpwise.example"
STYLE_SHEET = Path(__file__).parents[3] / "service/web/static/sumpwise.css"
SIZES = [(390, 844), (1280, 900)]


class OpenedPage:
    """A page with what went wrong on it: messages of the console and requests to elsewhere."""

    def __init__(self, browser: Browser, width: int, height: int, scheme: str) -> None:
        self.context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)  # type: ignore[arg-type]
        self.page: Page = self.context.new_page()
        self.messages: list[str] = []
        self.elsewhere: list[str] = []
        self.page.on("console", lambda message: self.messages.append(message.text))
        self.page.on("pageerror", lambda error: self.messages.append(str(error)))
        self.page.route("**/*", self._answer)
        self.page.goto(f"{ORIGIN}/")

    def _answer(self, route: Route) -> None:
        url = route.request.url
        if url == f"{ORIGIN}/":
            route.fulfill(body=demo_page(), content_type="text/html; charset=utf-8")
        elif url == f"{ORIGIN}/static/sumpwise.css":
            route.fulfill(body=STYLE_SHEET.read_text(), content_type="text/css")
        elif url == f"{ORIGIN}/favicon.ico":
            route.fulfill(status=204)
        else:
            self.elsewhere.append(url)
            route.abort()


@pytest.fixture(
    scope="module", params=[(size, scheme) for size in SIZES for scheme in ("light", "dark")], ids=str
)
def opened(request: pytest.FixtureRequest, browser: Browser, screenshots: Path) -> Iterator[OpenedPage]:
    (width, height), scheme = request.param
    opened = OpenedPage(browser, width, height, scheme)
    opened.page.screenshot(path=screenshots / f"demo-{width}-{scheme}.png", full_page=True)
    yield opened
    opened.context.close()


def test_axe_finds_nothing_serious(opened: OpenedPage) -> None:
    opened.page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    violations = Axe().run(opened.page).response["violations"]
    assert [(v["id"], [n["target"] for n in v["nodes"]]) for v in violations] == []


def test_nothing_is_blocked_and_no_request_leaves_the_origin(opened: OpenedPage) -> None:
    assert opened.messages == []
    assert opened.elsewhere == []


def test_the_page_never_scrolls_sideways(opened: OpenedPage) -> None:
    assert opened.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_everything_to_press_is_large_enough(opened: OpenedPage) -> None:
    script = """() => [...document.querySelectorAll(
        '.page-nav a, .page-name, .button, summary, .choice, .pagination a, select, textarea, #day, #odometer'
    )].filter(element => element.getBoundingClientRect().height < 44).map(element => element.outerHTML)"""
    assert opened.page.evaluate(script) == []


def test_chart_colours_follow_the_scheme(opened: OpenedPage) -> None:
    ink = opened.page.evaluate("getComputedStyle(document.querySelector('.chart text')).fill")
    page_ink = opened.page.evaluate("getComputedStyle(document.body).color")
    assert ink == page_ink


def test_chart_text_stays_legible(opened: OpenedPage) -> None:
    """12 px in the drawing may shrink on a phone, but not below 9 px on screen (our own limit)."""
    script = """[...document.querySelectorAll('.chart')].flatMap(svg => [...svg.querySelectorAll('text')].map(
        text => parseFloat(getComputedStyle(text).fontSize)
            * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width))"""
    sizes = opened.page.evaluate(script)
    assert len(sizes) > 50
    assert min(sizes) >= 9


def test_no_chart_text_is_cut_off(opened: OpenedPage) -> None:
    script = """() => [...document.querySelectorAll('.chart')].flatMap(svg => {
        const frame = svg.getBoundingClientRect();
        return [...svg.querySelectorAll('text')].filter(text => {
            const box = text.getBoundingClientRect();
            return box.left < frame.left - 1 || box.right > frame.right + 1
                || box.top < frame.top - 1 || box.bottom > frame.bottom + 1;
        }).map(text => text.textContent);
    })"""
    assert opened.page.evaluate(script) == []


def test_no_two_texts_of_a_chart_overlap(opened: OpenedPage) -> None:
    """Half a pixel is left to rounding."""
    script = """() => [...document.querySelectorAll('.chart')].flatMap(svg => {
        const texts = [...svg.querySelectorAll('text')].map(text => [text.textContent, text.getBoundingClientRect()]);
        return texts.flatMap(([one, a], index) => texts.slice(index + 1).filter(([_, b]) =>
            a.left + .5 < b.right && b.left + .5 < a.right && a.top + .5 < b.bottom && b.top + .5 < a.bottom
        ).map(([other]) => one + ' / ' + other));
    })"""
    assert opened.page.evaluate(script) == []


def test_the_keyboard_reaches_everything_with_a_visible_mark(browser: Browser) -> None:
    opened = OpenedPage(browser, 1280, 900, "light")
    seen: list[str] = []
    for _ in range(60):
        opened.page.keyboard.press("Tab")
        script = """() => {
            const e = document.activeElement;
            return [e.textContent.trim() || e.id, getComputedStyle(e).outlineStyle];
        }"""
        name, outline = opened.page.evaluate(script)
        if name and opened.page.evaluate("document.activeElement !== document.body"):
            assert outline != "none", name
            seen.append(name)
    opened.context.close()
    assert {"To the content", "This week", "odometer", "Save", "Discard", "Next", "As a table"} <= set(seen)


def test_paper_is_light_and_without_navigation(browser: Browser, screenshots: Path) -> None:
    opened = OpenedPage(browser, 1280, 900, "dark")
    opened.page.emulate_media(media="print", color_scheme="dark")
    assert not opened.page.locator(".page-nav").is_visible()
    assert opened.page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    assert opened.page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    opened.page.pdf(path=screenshots / "demo-print.pdf", format="A4")
    opened.context.close()
