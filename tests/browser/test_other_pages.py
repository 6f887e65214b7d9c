"""The pages beside the report, in a browser: nothing clipped, nothing fetched, no complaint."""

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser
from typer.testing import CliRunner

from evenclay.tools.cli.commands import app
from evenclay.tools.plan.before_after import page
from tests.browser.test_report_page import AXE, BEYOND, COVERED, OUTSIDE, Opened
from tests.unit.test_before_after import found_of
from tests.unit.test_card import us_text
from tests.unit.test_units import ODD, house

PAGES = ("check", "check of two spigots", "before and after")
# What an owner types, and dates and names that end in a number, on more than one line.
TORN = """() => [...document.querySelectorAll('code, tbody th')].filter(one => {
  const range = document.createRange();
  range.selectNodeContents(one);
  const tops = new Set([...range.getClientRects()].map(rect => Math.round(rect.top)));
  return tops.size > 1 && (one.tagName === 'CODE' || /[a-z]\\u00a0\\d+$/.test(one.textContent));
}).map(one => one.textContent)"""


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A house with all there is to warn of, and a change on sixteen grounds."""
    folder = tmp_path_factory.mktemp("pages")
    check, change = folder / "check.html", folder / "before_after.html"
    args = ["check", str(house(folder, "us", ODD)), "--html", str(check)]
    assert CliRunner().invoke(app, args).exit_code == 0
    own, two = folder / "two.toml", folder / "two.html"
    text = us_text().partition("[outline]")[0].replace("price =", "# price =")
    for side, name in (("front", '"east 2"'), ("north", "conservatory")):
        text = text.replace(f"[zones.{side}]", f"[zones.{name}]")
    own.write_text(text, "utf-8")
    assert CliRunner().invoke(app, ["check", str(own), "--html", str(two)]).exit_code == 0
    change.write_text(page.page_of(found_of()), "utf-8")
    return dict(zip(PAGES, (check, two, change), strict=True))


@pytest.fixture(scope="module")
def opened(browser: Browser) -> Opened:
    """One page of the browser, for each of ours in turn: to open another takes longer."""
    one = Opened(browser.new_page(), Path())
    one.page.set_default_timeout(0)
    one.listen()
    return one


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("width", [390, 840, 1440])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_fits(name: str, width: int, scheme: Any, opened: Opened, pages: dict[str, Path]) -> None:
    opened.asked.clear()
    opened.said.clear()
    shown = opened.page
    shown.emulate_media(color_scheme=scheme)
    shown.set_viewport_size({"width": width, "height": 900})
    address = pages[name].as_uri()
    shown.goto(address)
    assert shown.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert shown.evaluate(BEYOND) == []
    assert shown.evaluate(TORN) == []
    assert shown.evaluate(OUTSIDE) == [] and shown.evaluate(COVERED) == []
    ink, paper = shown.evaluate(
        """() => { const style = getComputedStyle(document.body);
          return [style.color, style.backgroundColor].map(rgb => parseInt(rgb.match(/\\d+/)[0]));
        }"""
    )
    assert (ink > paper + 100) if scheme == "dark" else (paper > ink + 100)
    if width < 400:
        shown.add_script_tag(path=AXE)
        found = shown.evaluate("axe.run()")["violations"]
        serious = [one for one in found if one["impact"] in ("serious", "critical")]
        assert not serious, [(one["id"], one["nodes"][0]["html"]) for one in serious]
    assert opened.asked == [address] and opened.said == []
