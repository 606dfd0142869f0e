"""A page in a real browser, with what went wrong on it."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn
from axe_playwright_python.base import AXE_SCRIPT
from fastapi import FastAPI
from playwright.sync_api import Browser, Page

SIZES = [(390, 844), (1280, 900)]
SCHEMES = ["light", "dark"]


@contextmanager
def served(app: FastAPI) -> Iterator[str]:
    """Serve an application on a free port of this machine; gives its address."""
    config = uvicorn.Config(app, host="127.0.0.1", port=0, log_config=None, access_log=False, lifespan="off")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(timeout=10)


BROKEN_WORDS = """() => {
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT)
  const found = [], range = document.createRange()
  while (texts.nextNode()) {
    const node = texts.currentNode
    const around = node.parentElement
    if (!around.checkVisibility() || around.closest('.for-readers, svg, textarea')) continue
    if (around.closest('thead')?.offsetWidth <= 1) continue
    for (const word of node.data.matchAll(/[^\\s\\-\\/]{2,16}(?=[\\s\\-\\/]|$)/g)) {
      range.setStart(node, word.index); range.setEnd(node, word.index + word[0].length)
      const lines = new Set([...range.getClientRects()].map(one => Math.round(one.top)))
      if (lines.size > 1) found.push(word[0])
    }
  }
  return found
}"""


class OpenBrowser:
    """One window of a person who is signed in."""

    def __init__(self, browser: Browser, origin: str, size: tuple[int, int], scheme: str) -> None:
        self.origin = origin
        self.context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme=scheme,  # type: ignore[arg-type]
        )
        self.page: Page = self.context.new_page()
        self.messages: list[str] = []
        self.elsewhere: list[str] = []
        self.page.on("console", lambda message: self.messages.append(message.text))
        self.page.on("pageerror", lambda error: self.messages.append(str(error)))
        self.page.on("request", lambda request: self._note(request.url))

    def _note(self, url: str) -> None:
        if not url.startswith((self.origin, "data:")):
            self.elsewhere.append(url)

    def hold(self, name: str, secret: str) -> None:
        """Let the browser hold a session."""
        self.context.add_cookies([{"name": name, "value": secret, "url": self.origin}])

    def go(self, path: str) -> None:
        self.page.goto(f"{self.origin}{path}")

    def look(self, size: tuple[int, int], scheme: str) -> None:
        """Look at the page that is open on a screen of another size, or in the dark."""
        self.page.set_viewport_size({"width": size[0], "height": size[1]})
        self.page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]

    def open_details(self) -> None:
        self.page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")

    def broken_words(self) -> list[str]:
        """Words that are broken over two lines although they would fit one; those are read twice or not at all."""
        return list(self.page.evaluate(BROKEN_WORDS))

    def findings(self, only: str = "") -> list[object]:
        """Serious findings of axe, of all its rules or of one, and whether the page scrolls sideways."""
        if not self.page.evaluate("typeof axe === 'object'"):
            self.page.evaluate(AXE_SCRIPT)
        options = {"resultTypes": ["violations"]} | ({"runOnly": [only]} if only else {})
        violations = self.page.evaluate("options => axe.run(options).then(one => one.violations)", options)
        found: list[object] = [
            (one["id"], [node["target"] for node in one["nodes"]][:3])
            for one in violations
            if one["impact"] in {"serious", "critical"}
        ]
        width = self.page.evaluate("document.documentElement.scrollWidth - innerWidth")
        return [*found, ("scrolls sideways", width)] if width > 0 else found

    def close(self) -> None:
        self.context.close()
