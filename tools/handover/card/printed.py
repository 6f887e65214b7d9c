"""A page as PDF, by a browser of the Chromium family that the machine has."""

import shutil
import subprocess
import tempfile
from pathlib import Path

import typer

# Names on the path, and where such browsers stand on macOS and Windows.
BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "msedge",
    "microsoft-edge",
    "brave-browser",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    r"C:\Program Files\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
)
FLAGS = (
    "--headless",
    "--no-sandbox",  # a page of our own, without scripts or anything from outside
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-pdf-header-footer",
)
WAITS_S = 120


def browser() -> str | None:
    """The browser that is taken; None where there is none."""
    return next((found for found in map(shutil.which, BROWSERS) if found), None)


def printed(page: str) -> bytes:
    """The page as PDF. Raises: typer.BadParameter where no browser makes it."""
    found = browser()
    if found is None:
        _refuse("found no browser of the Chromium family")
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder, "card.html"), Path(folder, "card.pdf")
        source.write_text(page, "utf-8")
        own = f"--user-data-dir={Path(folder, 'browser')}"
        command = [str(found), *FLAGS, own, f"--print-to-pdf={target}", source.as_uri()]
        try:
            subprocess.run(command, capture_output=True, timeout=WAITS_S, check=True)
            return target.read_bytes()
        except (OSError, subprocess.SubprocessError):
            _refuse(f"{Path(str(found)).name} made no PDF")
    raise AssertionError("it refused above")


def _refuse(why: str) -> None:
    message = (
        f"{why}, allowed without it: open the page in a browser and print it at full size, "
        "without headers"
    )
    raise typer.BadParameter(message, param_hint="--pdf")
