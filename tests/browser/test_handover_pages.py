"""Drawings and cards in a real browser: nothing covered or clipped, and the pages counted."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Request
from pypdf import PdfReader

from evenclay.tools.handover.card import printed
from evenclay.tools.handover.card.card import Paper, card_of
from evenclay.tools.handover.layout.drawing import Sheet, figure_of, svg_file
from evenclay.tools.handover.layout.layout import lay_out
from evenclay.tools.handover.layout.written import written
from evenclay.tools.property.property import Property, load, parse
from tests.browser.test_report_page import COVERED, OUTSIDE
from tests.outlines import OUTLINES, house_of
from tests.unit.test_card import eight_zones, us_text

DEMO = Path(__file__).parents[2] / "sim" / "demo" / "property.toml"
POINTS = {"a4": (595, 842), "letter": (612, 792)}  # ISO 216 A4 and 8.5 x 11 in, at 72 to an inch
# Texts over a hose, a feed or a wall; a mark at the text's middle line is enough to be in the way.
OVER = """() => [...document.querySelectorAll("svg")].flatMap(svg => {
  const texts = [...svg.querySelectorAll("text")].filter(text => text.ownerSVGElement === svg);
  const boxes = texts.map(text => text.getBoundingClientRect());
  const lines = [...svg.querySelectorAll(
    '[id^="hose-"] path, [id^="feed-"] path, [id^="link-"] path, [id^="wall-"] path,' +
    '[id*="-hose-"] path, [id*="-feed-"] path, [id*="-link-"] path, [id*="-wall-"] path')];
  return lines.flatMap(line => {
    const length = line.getTotalLength(), matrix = line.getScreenCTM(), points = [];
    for (let at = 0; at <= length; at += 2)
      points.push(line.getPointAtLength(at).matrixTransform(matrix));
    return texts.filter((_, i) => points.some(point =>
      point.x > boxes[i].left + 1 && point.x < boxes[i].right - 1
        && point.y > boxes[i].top + 2 && point.y < boxes[i].bottom - 2)
    ).map(text => text.textContent + " / " + line.parentElement.id);
  });
})"""
# Texts of a page that are cut off at its side, or smaller than nine points (12 px).
SMALL = """() => [...document.querySelectorAll("body *")].filter(one =>
  [...one.childNodes].some(node => node.nodeType === 3 && node.textContent.trim())
  && parseFloat(getComputedStyle(one).fontSize) < (one.closest("svg[viewBox]") ? 9 : 11.99)
).map(one => one.textContent)"""
WIDE = """() => [...document.querySelectorAll("table, figure, p")].filter(one =>
  one.scrollWidth > one.clientWidth + 1).map(one => one.textContent)"""


@pytest.fixture(scope="module")
def page(browser: Browser) -> Page:
    """One that is given each drawing and card in turn: to open another takes longer."""
    return browser.new_page()


def looked_at(page: Page, html: str, *scripts: str, width: int = 900) -> list[Any]:
    """What scripts find on a page, which may fetch nothing."""
    asked: list[str] = []

    def keep(sent: Request) -> None:
        asked.append(sent.url)

    page.on("request", keep)
    page.set_viewport_size({"width": width, "height": 1200})
    page.set_content(html)
    found = [page.evaluate(script) for script in scripts]
    page.remove_listener("request", keep)
    assert asked == []
    return found


@pytest.mark.parametrize("name", OUTLINES)
def test_no_text_of_a_drawing_covers_another_or_a_hose(name: str, page: Page) -> None:
    layout = lay_out(house_of(OUTLINES[name]))
    for paper in ((190.0, 240.0, True), (92.0, 78.0, False)):
        svg = svg_file(figure_of(Sheet(layout, *paper)))
        count, covered, outside, over = looked_at(
            page,
            svg[svg.index("<svg") :],
            '() => document.querySelectorAll("svg text").length',
            COVERED,
            OUTSIDE,
            OVER,
        )
        assert count >= len(layout.laid) + 3
        assert (covered, outside, over) == ([], [], [])


def pages_of(page: Page, html: str) -> list[tuple[float, float]]:
    """The size of each page that a card prints on."""
    page.set_content(html)
    data = page.pdf(prefer_css_page_size=True, print_background=True)
    boxes = [each.mediabox for each in PdfReader(io.BytesIO(data)).pages]
    return [(float(box.width), float(box.height)) for box in boxes]


# Tables of figures whose rows do not stand below each other.
TORN = """() => [...document.querySelectorAll("table.counts")].filter(table =>
  new Set([...table.rows].map(row => Math.round(row.getBoundingClientRect().left))).size > 1
).map(table => table.rows[0].textContent)"""
PAGED = ("open_at_once = 2", 'open_at_once = 2\npage = "http://hub.local/"')
LEAVE = ("[estimate]", '[estimate]\nverdict = "leave"')
# Properties, and how many sides of paper each card takes.
CARDS: dict[str, tuple[Callable[[str], Property], int]] = {
    "demo": (lambda text: parse(text, "demo"), 1),
    "demo in US units": (lambda text: parse(us_text(), "us"), 1),
    "demo with a page, both checks": (
        lambda text: parse(
            text.replace(*PAGED).replace('check = "sample"', 'check = "both"'), "paged"
        ),
        1,
    ),
    "demo with a verdict to leave it": (
        lambda text: parse(text.replace(*LEAVE), "left"),
        1,
    ),
    "eight zones": (lambda text: eight_zones(), 2),
}


@pytest.mark.parametrize("paper", POINTS)
@pytest.mark.parametrize("name", CARDS)
def test_a_card_takes_one_side_and_two_beyond_four_zones(
    name: str, paper: Paper, page: Page
) -> None:
    prop_of, sides = CARDS[name]
    html = card_of(prop_of(DEMO.read_text("utf-8")), paper)
    sizes = pages_of(page, html)
    assert len(sizes) == sides
    assert all(size == pytest.approx(POINTS[paper], abs=1.5) for size in sizes)
    covered, outside, over, small, wide = looked_at(
        page, html, COVERED, OUTSIDE, OVER, SMALL, WIDE, width=720
    )
    assert (covered, outside, over, small, wide) == ([], [], [], [], [])


def printed_at(page: Page, html: str) -> dict[str, set[int]]:
    """Where each text of a printed page begins, points from its left side."""
    page.set_content(html)
    data = page.pdf(prefer_css_page_size=True, print_background=True)
    (side,) = PdfReader(io.BytesIO(data)).pages
    found: dict[str, set[int]] = {}

    def keep(text: str, at: list[float], place: list[float], *_: object) -> None:
        found.setdefault(text.strip(), set()).add(round(at[4] * place[0] + place[4]))

    side.extract_text(visitor_text=keep)
    return found


@pytest.mark.parametrize(
    ("name", "paper", "days"),
    [
        ("demo", "a4", ("15 Mar to 30 Apr", "1 Oct to 31 Oct", "1 Nov to 14 Mar")),
        ("demo in US units", "letter", ("Mar 15 to Apr 30", "Oct 1 to Oct 31", "Nov 1 to Mar 14")),
        ("demo", "letter", ("1 Oct to 31 Oct", "1 Nov to 14 Mar")),
    ],
)
def test_seasons_stand_in_one_column_and_none_alone(
    name: str, paper: Paper, days: tuple[str, ...], page: Page
) -> None:
    """Of the demo on Letter in metric units two seasons find no room; they stay together."""
    found = printed_at(page, card_of(CARDS[name][0](DEMO.read_text("utf-8")), paper))
    columns = [found[each] for each in days]
    assert columns[0] and all(column == columns[0] for column in columns)


@pytest.mark.parametrize("paper", POINTS)
def test_parts_of_a_card_of_two_sides_stand_in_one_column(paper: Paper, page: Page) -> None:
    """On paper; on a screen there is room enough."""
    five = house_of(OUTLINES["L"].partition("paving")[0])
    prop = parse(written(lay_out(five)), "five")
    assert 4 < len(prop.zones) < 8
    html = card_of(prop, paper)
    page.emulate_media(media="print")
    try:
        assert looked_at(page, html, TORN, width=730 if paper == "a4" else 750) == [[]]
    finally:
        page.emulate_media(media="null")  # paper is paper again


def test_the_scale_is_told_on_paper_alone(page: Page) -> None:
    """A screen shows a drawing at any size."""
    page.set_content(card_of(load(DEMO)))
    scale = page.locator("[id$='-scale-words']")
    assert scale.count() == 1 and not scale.is_visible()
    page.emulate_media(media="print")
    try:
        assert scale.is_visible() and "scale 1:" in str(scale.text_content())
    finally:
        page.emulate_media(media="null")  # paper is paper again


def test_the_command_s_own_pdf(browser: Browser) -> None:
    """The way by the browser's command line gives the same page."""
    data = printed.printed(card_of(load(DEMO), "a4"))
    (page,) = PdfReader(io.BytesIO(data)).pages
    text = page.extract_text()
    assert "Cotter house" in text and "Stop, and ask an engineer" in text
