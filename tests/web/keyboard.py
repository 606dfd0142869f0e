"""Hands on a keyboard and nothing else: Tab, Enter, Space, arrows and typing, with a look at the focus at each stop."""

from tests.web.open_browser import OpenBrowser

STOPS = 250
"""No page has as many; whoever needs more is in a trap."""

HERE = """() => {
    const e = document.activeElement, s = getComputedStyle(e), r = e.getBoundingClientRect();
    return {
        name: e.name || '',
        value: e.tagName === 'BUTTON' ? e.value : '',
        label: (e.getAttribute('aria-label') || e.innerText || '').trim(),
        isButton: e.tagName === 'BUTTON' || e.tagName === 'A' || e.tagName === 'SUMMARY',
        isNowhere: e === document.body || e === document.documentElement,
        isSeen: s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2
            && r.bottom > 0 && r.top < innerHeight && r.width > 0,
        place: [...document.querySelectorAll('*')].indexOf(e),
    };
}"""


class Keyboard:
    """A person who works a page without a mouse."""

    def __init__(self, window: OpenBrowser) -> None:
        self.window, self.keys = window, window.page.keyboard

    def go(self, path: str) -> None:
        self.window.go(path)

    def to(self, name: str = "", *, value: str = "", label: str = "") -> None:
        """Press Tab until a field or a button has the focus, which must be seen at every stop."""
        for _ in range(STOPS):
            self.keys.press("Tab")
            here = self.window.page.evaluate(HERE)
            if here["isNowhere"]:
                continue
            assert here["isSeen"], f"the focus is not seen at {here}"
            is_it = here["name"] == name if name else here["isButton"]
            if is_it and (not value or here["value"] == value) and here["label"].startswith(label):
                return
        raise AssertionError(f"the keyboard does not reach {name or label}")

    def fill(self, **fields: str) -> None:
        """Type into fields in the order in which Tab comes to them; what stands there is replaced."""
        for name, text in fields.items():
            self.to(name.replace("__", "-"))
            self.keys.press("Control+a")
            self.keys.type(text)

    def choose(self, name: str, typed: str) -> None:
        """Choose of a list by typing how its entry begins."""
        self.to(name)
        self.keys.type(typed)
        self.keys.press("Tab")
        self.keys.press("Shift+Tab")

    def next_of(self, name: str, n_steps: int) -> None:
        """Choose of a list by pressing the arrow."""
        self.to(name)
        for _ in range(n_steps):
            self.keys.press("ArrowDown")

    def tick(self, *names: str) -> None:
        for name in names:
            self.to(name)
            self.keys.press("Space")

    def press(self, label: str = "", *, name: str = "", value: str = "", key: str = "Enter") -> None:
        """Come to a button and press it; the page that follows is there afterwards."""
        self.to(name, value=value, label=label)
        with self.window.page.expect_navigation(wait_until="load"):
            self.keys.press(key)

    def text(self) -> str:
        return self.window.page.inner_text("main")

    def round_trip(self) -> int:
        """Tab once around the page: every stop is seen and comes once; gives how many there are."""
        first, places = None, []
        for _ in range(STOPS):
            self.keys.press("Tab")
            here = self.window.page.evaluate(HERE)
            if here["isNowhere"]:
                continue
            assert here["isSeen"], f"the focus is not seen at {here}"
            if here["place"] == first:
                return len(places)
            if places and here["place"] == places[-1]:
                continue  # the parts of a date
            first = here["place"] if first is None else first
            assert here["place"] not in places, f"the focus goes in a circle at {here}"
            places.append(here["place"])
        raise AssertionError("the focus never comes back to the beginning")
