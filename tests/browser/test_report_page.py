"""The year report in a real browser: on phone, tablet and desk, in the dark, by keyboard, printed.

One browser and two reports serve the whole module: a metric one of four zones, and one in US units
of eight zones with long names and figures over many grounds.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import axe_playwright_python
import pytest
from playwright.sync_api import Browser, Page

from evenclay.controller.plan import HubPart, Plan, RowPart, ZonePart
from evenclay.sim.house.house import House
from evenclay.sim.report.page import write_report
from evenclay.tools.property.plan_ranges import RANGES
from tests.unit.test_report import change_summary, cut, house, write_year

AXE = Path(axe_playwright_python.__file__).with_name("axe.min.js")  # axe-core, kept in the package
# Width and height of a phone, a tablet and a desk.
SCREENS = {"phone": (390, 844), "tablet": (820, 1180), "desk": (1440, 900)}

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
# What lies beyond the right edge of the page's column, or scrolls in a box of its own.
BEYOND = """() => {
  const column = document.querySelector("nav") || document.querySelector("main > *");
  const edge = column.getBoundingClientRect().right + 1;
  return [...document.querySelectorAll("main *")].filter(one => {
    const style = getComputedStyle(one);
    const scrolls = !one.closest("thead, svg") && style.display != "inline"
      && style.overflowX != "visible" && one.scrollWidth > one.clientWidth + 1;
    return one.getBoundingClientRect().right > edge || scrolls;
  }).map(one => one.outerHTML.slice(0, 80));
}"""
# The size that the words of a shown picture have on the screen, in pixels.
WORDS = """() => [...document.querySelectorAll("svg")].filter(svg => svg.clientWidth).map(svg =>
  Math.min(...[...svg.querySelectorAll("text")].filter(text => text.textContent.trim())
    .map(text => text.getBoundingClientRect().height)))"""


def _part(kind: Any, **values: int) -> Any:
    return kind({name: least for name, (least, _) in RANGES[kind].items()} | values)


def _planned(names: tuple[str, ...]) -> Plan:
    """Two seasons, the second closed."""
    zones = [_part(ZonePart, share_pct=90 + 10 * z, flow_ml_min=1500) for z in range(len(names))]
    open_row = _part(RowPart, month=5, day=1, cycles=2, run_s=600, start_min=1260, length_min=600)
    rows = [open_row, _part(RowPart, month=11, day=1)]
    for each in rows:
        each.starts_min = ()
    return Plan(_part(HubPart), [], zones, rows, [])


def _many_grounds(summary: dict[str, Any]) -> None:
    summary["grounds"] = 16
    for found in (*summary["zones"].values(), *summary["policies"].values()):
        for name, value in found.items():
            if isinstance(value, int | float) and not name.startswith("hose"):
                found[name] = {"p10": 0.5 * value, "p50": value, "p90": 2.0 * value}


@pytest.fixture(scope="module")
def reports(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    made = {}
    names: tuple[str, ...] = ("north", "east", "south wall", "west & <b>")
    for units in ("metric", "us"):
        out = tmp_path_factory.mktemp(units)
        if units == "us":
            names += ("porch", "a long name.", "garage side", "$8")
        write_year(out, names)
        rest: dict[str, Any] = {"units": units, "water_price_m3": 2.4, "currency": "USD"}
        if units == "us":
            change_summary(out, _many_grounds)
        own: House = house(names, plan=_planned(names), **rest)
        made[units] = write_report(out, own, cut())
    return made


@dataclass
class Opened:
    """A report in the browser, and all that it asked for and complained of."""

    page: Page
    file: Path
    asked: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    def listen(self) -> None:
        self.page.on("request", lambda sent: self.asked.append(sent.url))
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))


@pytest.fixture(scope="module")
def opened(browser: Browser, reports: dict[str, Path]) -> Iterator[dict[str, Opened]]:
    """Both reports, each in a page that is given another size by every test."""
    found = {}
    for units, file in reports.items():
        one = found[units] = Opened(browser.new_page(), file)
        one.page.set_default_timeout(0)
        one.listen()
        one.page.goto(file.as_uri())
    yield found
    for one in found.values():
        one.page.close()


@pytest.fixture(params=["metric", "us"])
def report(request: pytest.FixtureRequest, opened: dict[str, Opened]) -> Opened:
    return opened[request.param]


@pytest.fixture(params=list(SCREENS))
def page(request: pytest.FixtureRequest, report: Opened) -> Page:
    """The page on one screen, scrolled to its top."""
    width, height = SCREENS[request.param]
    report.page.emulate_media(color_scheme="light")
    report.page.set_viewport_size({"width": width, "height": height})
    report.page.evaluate("scrollTo(0, 0)")
    return report.page


def test_nothing_is_swiped_sideways(page: Page) -> None:
    width, room = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert width <= room
    assert page.evaluate(BEYOND) == []


def test_pictures_have_size_and_hold_their_texts(page: Page) -> None:
    """One paper of each of the six is shown, and its words are large enough to be read."""
    assert page.evaluate("document.querySelectorAll('svg').length") == 12
    heights = page.evaluate(WORDS)
    assert len(heights) == 6 and min(heights) >= 8.0
    assert page.evaluate("document.querySelectorAll('svg text').length") > 200
    assert page.evaluate(OUTSIDE) == []
    assert page.evaluate(COVERED) == []


def test_first_screen_tells_what_to_do(page: Page) -> None:
    """Verdict, numbers, worst side and a next step; where there is more room, the seasons too."""
    height = page.evaluate("innerHeight")

    def bottom(selector: str) -> float:
        assert page.locator(selector).first.inner_text().strip()
        box = page.locator(selector).first.bounding_box()
        assert box is not None
        return box["y"] + box["height"]

    wanted = [".verdict", ".numbers", ".worst", ".steps li"]
    if page.evaluate("innerWidth") > 500:
        wanted += [".steps", ".seasons"]
    assert {one: bottom(one) for one in wanted if bottom(one) > height} == {}
    assert len(page.locator(".numbers .value").all()) == 3


def test_no_label_is_lost_where_a_table_is_stacked(page: Page) -> None:
    """Every cell is under its head, or has that head written beside it."""
    unnamed = page.evaluate(
        """() => [...document.querySelectorAll("table")].flatMap(table => {
          const stacked = getComputedStyle(table).display == "block";
          const heads = [...table.tHead.rows[0].cells].map(one => one.textContent);
          return [...table.querySelectorAll("tbody td")].filter(cell => {
            const head = heads[cell.cellIndex];
            const beside = getComputedStyle(cell, "::before").content;
            return cell.textContent && stacked != beside.includes(head);
          }).map(cell => cell.outerHTML);
        })"""
    )
    assert unnamed == []
    stacked = page.evaluate(
        """[...document.querySelectorAll("table")].filter(table =>
             getComputedStyle(table).display == "block").length"""
    )
    assert stacked >= 3 if page.evaluate("innerWidth") < 500 else stacked < 4


def test_every_zone_is_written_out(report: Opened) -> None:
    heads = report.page.locator(".seasons thead th").all_text_contents()[3:-1]
    titles = report.page.locator("svg.wide text").all_text_contents()
    assert len(heads) >= 4
    for zone in heads:
        assert sum(title.split(" (")[0] == zone for title in titles) >= 2


@pytest.mark.parametrize(
    ("units", "screen", "scheme"), [("us", "phone", "light"), ("metric", "desk", "dark")]
)
def test_axe_finds_nothing_serious(
    browser: Browser, reports: dict[str, Path], units: str, screen: str, scheme: Any
) -> None:
    """axe-core's own rules; what it calls serious or critical keeps somebody from reading.

    What is drawn inside a picture is left out: a picture is one image with a label to a reader of
    screens, and axe takes a quarter of a minute for the thousands of lines.
    """
    width, height = SCREENS[screen]
    page = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
    text = reports[units].read_text("utf-8")
    page.set_content(re.sub(r"(<svg [^>]*>).*?</svg>", r"\1</svg>", text, flags=re.DOTALL))
    page.evaluate(AXE.read_text("utf-8"))
    found = page.evaluate("axe.run()")
    page.close()
    assert len(found["passes"]) >= 15
    serious = [
        (one["id"], one["nodes"][0]["html"])
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
    ]
    assert serious == []


def test_keyboard_reaches_every_link_in_order(report: Opened) -> None:
    page = report.page
    page.evaluate("document.activeElement.blur(); scrollTo(0, 0)")
    links = page.evaluate("[...document.querySelectorAll('a')].map(one => one.hash)")
    reached = []
    for _ in links:
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.hash"))
        assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    assert reached == links and len(links) >= 5
    page.keyboard.press("Enter")  # the last: the method
    assert page.evaluate(f"document.querySelector({links[-1]!r}).getBoundingClientRect().top") < 900


def test_dark_page_has_dark_pictures(report: Opened) -> None:
    report.page.emulate_media(color_scheme="dark")
    light = report.page.evaluate(
        """[...document.querySelectorAll("svg.wide > g > g:first-child > path, .numbers, body")]
             .map(one => getComputedStyle(one))
             .filter(style => style.fill == "rgb(255, 255, 255)").length"""
    )
    assert light == 0


def test_prints_in_few_pages(report: Opened) -> None:
    for paper in ("A4", "Letter"):
        printed = report.page.pdf(format=paper)
        pages = len(re.findall(rb"/Type\s*/Page\b", printed))
        assert 2 <= pages <= 8


def test_page_neither_fetches_nor_complains(report: Opened) -> None:
    """Opened anew, and after whatever the other tests did with it."""
    report.page.goto(report.file.as_uri())
    assert set(report.asked) == {report.file.as_uri()}
    assert report.said == []
