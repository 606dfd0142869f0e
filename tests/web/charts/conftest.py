import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless Chromium: named by CHROMIUM, else the first found on the path."""
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
