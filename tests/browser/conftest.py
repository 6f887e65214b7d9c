"""The browser of this machine, which all pages are opened in."""

import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A browser of this machine; skips where there is none."""
    found = next((path for path in map(shutil.which, NAMES) if path), None)
    if found is None:
        pytest.skip("no browser: none of " + ", ".join(NAMES) + " is on the path")
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=found, args=["--no-sandbox"], timeout=0
        )
        yield started
        started.close()
