"""The year report in a real browser: nothing clipped, nothing fetched, and it prints."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from evenclay.sim.report.page import write_report
from tests.unit.test_report import cut, house, write_year

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")

# What lies more than two pixels outside the box of its own svg.
OUTSIDE = """() => [...document.querySelectorAll("svg")].flatMap(svg => {
  const box = svg.getBoundingClientRect();
  return [...svg.querySelectorAll("text")].filter(text => {
    const own = text.getBoundingClientRect();
    return own.width > 0 && (own.left < box.left - 2 || own.right > box.right + 2
      || own.top < box.top - 2 || own.bottom > box.bottom + 2);
  }).map(text => text.textContent);
})"""
# Pairs of texts of one svg that cover each other.
COVERED = """() => [...document.querySelectorAll("svg")].flatMap(svg => {
  const texts = [...svg.querySelectorAll("text")].filter(text => text.textContent.trim());
  const boxes = texts.map(text => text.getBoundingClientRect());
  const found = [];
  boxes.forEach((a, i) => boxes.slice(i + 1).forEach((b, j) => {
    const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (wide > 1 && high > 0.35 * Math.min(a.height, b.height))
      found.push(texts[i].textContent + " / " + texts[i + 1 + j].textContent);
  }));
  return found;
})"""


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


@pytest.fixture(scope="module", params=["metric", "us"])
def report(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page of five zones in metric units, and one of eight in US units."""
    out = tmp_path_factory.mktemp("page")
    names: tuple[str, ...] = ("north", "east", "south wall", "west & <b>", "porch")
    if request.param == "us":
        names += ("a long name.", "garage side", "$8")
    write_year(out, names)
    priced = house(names, units=request.param, water_price_m3=2.4, currency="USD")
    return write_report(out, priced, cut())


@pytest.fixture(params=[1200, 400])
def page(request: pytest.FixtureRequest, browser: Browser, report: Path) -> Iterator[Page]:
    """The page at a desktop's and at a phone's width; it may neither fetch nor complain."""
    opened = browser.new_page(viewport={"width": request.param, "height": 900})
    opened.set_default_timeout(0)
    asked: list[str] = []
    said: list[str] = []
    opened.on("request", lambda sent: asked.append(sent.url))
    opened.on("console", lambda message: said.append(message.text))
    opened.on("pageerror", lambda error: said.append(str(error)))
    opened.goto(report.as_uri())
    yield opened
    opened.close()
    assert asked == [report.as_uri()]
    assert said == []


def test_page_does_not_scroll_sideways(page: Page) -> None:
    width, room = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert width <= room
    # What is wider lies in a box of its own that scrolls.
    beyond = page.evaluate(
        """() => [...document.querySelectorAll("main *")].filter(one =>
          !one.closest(".wide") && one.getBoundingClientRect().right > innerWidth + 1
        ).map(one => one.outerHTML.slice(0, 80))"""
    )
    assert beyond == []


def test_pictures_have_size_and_hold_their_texts(page: Page) -> None:
    sizes = page.evaluate(
        """() => [...document.querySelectorAll("svg")].map(svg => {
          const box = svg.getBoundingClientRect(); return [box.width, box.height];
        })"""
    )
    assert len(sizes) == 6
    assert all(width >= 600 and height >= 100 for width, height in sizes)
    assert page.evaluate("document.querySelectorAll('svg text').length") > 100
    assert page.evaluate(OUTSIDE) == []
    assert page.evaluate(COVERED) == []


def test_every_zone_is_written_out(page: Page) -> None:
    heads = page.locator("table.zones thead th").all_inner_texts()[1:]
    titles = page.locator("svg text").all_text_contents()
    assert len(heads) >= 5
    for zone in heads:
        assert sum(title.split(" (")[0] == zone for title in titles) >= 2


def test_prints(browser: Browser, report: Path) -> None:
    opened = browser.new_page()
    opened.goto(report.as_uri())
    for paper in ("A4", "Letter"):
        printed = opened.pdf(format=paper)
        assert 2 <= len(re.findall(rb"/Type\s*/Page\b", printed)) <= 12
    opened.close()
