"""`evenclay check --html`: the page says what the text says, in the house's own units."""

import re
from pathlib import Path

import pytest

from evenclay.tools.handover.calendar import of_year
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.property import parse
from tests.unit.test_units import ODD, PLAIN, house, own_units_only, run, words

LEAST_WORDS = 300


def page_and_text(folder: Path, units: str, text: str, **parts: str) -> tuple[str, str]:
    page = folder / "new" / "check.html"
    status, told = run("check", str(house(folder, units, text, **parts)), "--html", str(page))
    assert status == 0 and f"The page: {page}" in told
    return page.read_text("utf-8"), told


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_page_says_what_the_text_says(units: str, tmp_path: Path) -> None:
    html, told = page_and_text(tmp_path, units, ODD)
    said = words(html)
    own_units_only(said, units, LEAST_WORDS)
    flat = " ".join(said.split())
    cautions = re.findall(r"^ *\d+\. (.*)$", told, flags=re.MULTILINE)
    assert len(cautions) > 10
    for caution in cautions:
        assert caution[:1].upper() + caution[1:] in flat
    places = [flat.index(caution[1:]) for caution in cautions]
    assert places == sorted(places)  # the most serious first
    cells = re.findall(r"[│┃]([^│┃\n]*)", told)
    numbers = {cell.strip() for cell in cells if re.fullmatch(r"\s*[\d,]+\.?\d*\s*", cell)}
    assert len(numbers) > 25
    assert not [number for number in numbers if number not in flat.split()]
    assert (
        "It comes from a rough guess from latitude" in flat
        and "The hub gives what the table says" in flat
    )


def test_a_calm_house_has_no_cautions_and_names_are_no_markup(tmp_path: Path) -> None:
    text = PLAIN.replace('"Either house"', '"<b>Either</b> & other"')
    html, _ = page_and_text(tmp_path, "metric", text)
    assert "&lt;b&gt;Either&lt;/b&gt; &amp; other" in html and "<b>Either" not in html
    assert "http" not in html and "<script" not in html


RULES = '[lockouts.quiet]\nallowed_weekdays = ["mon"]\n'
FROST = "[lockouts.frost]\nthermometer = true\n"
NO_GAUGE = ('[lockouts.rain]\nsensor = "gauge"\n', "")


@pytest.mark.parametrize(
    ("change", "held"),
    [
        (("", ""), "; rain may hold it back."),
        (NO_GAUGE, "by season. Demand is"),
        (("[water]", f"{RULES}{FROST}[water]"), "; rain, frost and local rules may hold it back."),
        (("{west}", "probe = true\n{west}"), "; rain and wet soil may hold it back."),
    ],
)
def test_only_what_the_house_has_holds_water_back(
    change: tuple[str, str], held: str, tmp_path: Path
) -> None:
    """The page says it of the seasons, and the calendar of each cycle."""
    html, _ = page_and_text(tmp_path, "metric", PLAIN.replace(*change) if change[0] else PLAIN)
    assert "The most that is given, season by season" in (said := " ".join(words(html).split()))
    assert held in said
    parts = {"west": "", "east": "", "season": "", "units": "metric"}
    plan = compile_house(parse((PLAIN.replace(*change)).format(**parts), "house"))
    told = {str(event["description"]) for event in of_year(plan, 2027, cycles=True).events}
    (cycle,) = [text for text in told if text.startswith("Planned.")]
    assert cycle.lower() == f"planned. {held[2:]}" if held[:1] == ";" else cycle == "Planned."


@pytest.mark.parametrize("priced", [True, False])
def test_a_house_without_a_price_has_no_column_of_it(priced: bool, tmp_path: Path) -> None:
    text = PLAIN if priced else PLAIN.replace('[water]\nprice = 5\nper = "ccf"\n', "")
    html, told = page_and_text(tmp_path, "us", text)
    said = " ".join(words(html).split())
    for one in (said, told):
        assert ("Cost, " in one or "cost (" in one) == priced
    assert said.count("no price") == (not priced) and told.count("no price") == 0


def test_the_evenness_of_a_hose_is_explained_and_what_is_typed_stands_apart(tmp_path: Path) -> None:
    html, told = page_and_text(tmp_path, "us", PLAIN)
    for one in (html, told):
        flat = " ".join(one.split()).lower()
        assert "evenness: what the weakest spot along a hose gives, in percent of the" in flat
    assert "with <code>--weather FILE</code>, from" in html
    assert "<code>evenclay propose</code> works" in html


def test_a_bad_file_leaves_no_page(tmp_path: Path) -> None:
    page = tmp_path / "check.html"
    bad = house(tmp_path, "us", PLAIN.replace("minutes = 14", "minutes = -1"))
    status, told = run("check", str(bad), "--html", str(page))
    assert (status, told) == (2, "") and not page.exists()
