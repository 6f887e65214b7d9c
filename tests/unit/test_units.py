"""A US property is told of in US units alone and a metric one in metric: text, page and pictures.

One file serves both, since a property takes any unit; so nothing but the words may differ.
"""

import datetime
import io
import json
import re
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from functools import partial
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from matplotlib.figure import Figure
from typer.testing import CliRunner

from evenclay.sim.units import METRIC, UNITS, US
from evenclay.tools.cli.commands import app
from evenclay.tools.plan import compare as comparing
from evenclay.tools.plan import workers
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.property import load

WEATHER = Path(__file__).parents[2] / "sim" / "demo" / "weather.csv"
# As words of their own, or behind a number.
FOREIGN = {
    "us": re.compile(
        r"\b(?:mm|cm|m|km|L|kPa|m\^?[23]|degC|[Ll]it(?:re|er)s?|(?:milli|centi)?metres?|"
        r"(?:milli|centi)meters?|centibars?|Celsius)\b|\d\s*meters?\b|°C"
    ),
    "metric": re.compile(
        r"\d\s*foot\b|\b(?:ft|feet|inch|inches|gal|gallons?|gpm|gph|psi|degF|Fahrenheit)\b|°F|"
        r"\bin(?: a (?:day|cycle|month|year)|/d|\^[23])\b|\bdemand in\s*┃"
    ),
}
PLAIN = """
[site]
name = "Either house"
timezone = "America/Chicago"
latitude = 32.4
units = "{units}"
[supplies.tap]
flow = "4 gal/min"
pressure = "11 psi"
[zones.west]
supply = "tap"
side = "west"
length = "72 ft"
hose = {{ kind = "soaker", flow = "0.32 gal/h/ft", pressure = "11 psi" }}
{west}
[zones.east]
supply = "tap"
side = "east"
length = "60 ft"
hose = {{ kind = "soaker", flow = "0.32 gal/h/ft", pressure = "11 psi" }}
{east}
[lockouts.rain]
sensor = "gauge"
[water]
price = 5
per = "ccf"
[[seasons]]
from = "April 1"
cycles = 2
minutes = 14
window = "9 pm-8 am"
[[seasons]]
from = "June 1"
cycles = 3
minutes = 14
window = "9 pm-9 am"
{season}
[[seasons]]
from = "November 1"
cycles = 0
"""
# Whatever a caution with a quantity in it is about.
ODD = (
    PLAIN.replace(
        'units = "{units}"',
        'units = "{units}"\nfall = "4 in"\ndownspouts = [{{ side = "west", distance = "3 ft" }}]\n'
        'trees = [{{ side = "east", height = "30 ft", distance = "20 ft" }}]',
    )
    .replace('length = "60 ft"', 'length = "250 ft"\nrise = "3 ft"')
    .replace("{east}", 'slab_distance = "8 in"\ndownspout_roof = "300 ft2"')
    .replace('pressure = "11 psi" }}\n{west}', 'pressure = "15 psi", restrictor = "1/16 in" }}')
    .replace("{season}", 'demand = "0.02 in/d"')
    .replace('flow = "0.32', 'years = 5, flow = "0.9')
    .replace('flow = "4 gal/min"', 'flow = "4.2 gal/min"')
    .replace("minutes = 14", "minutes = 2", 1)
)
SAID = (
    "the ground falls",
    "a downspout ends",
    "a tree on the east side",
    "the hose lies",
    "too much for porous hose",
    "a restrictor",
    "water unevenly",
    "where its rating means",
    "of the .* that supply tap gives",
    "to fill",
    "a cycle than the ground takes",
    "a day far from what the strips lose",
)


def house(folder: Path, units: str, text: str = PLAIN, **parts: str) -> Path:
    file = folder / f"{units}.toml"
    known = {"west": "", "east": "", "season": ""} | parts
    file.write_text(text.format(units=units, **known), "utf-8")
    return file


def shorter(folder: Path, years: int) -> Path:
    """The first years of the demo's record."""
    file = folder / "short.csv"
    lines = WEATHER.read_text("utf-8").splitlines()
    file.write_text("\n".join(lines[: 1 + 365 * years]), "utf-8")
    return file


def run(*args: str) -> tuple[int, str]:
    """Exit status, and all that was printed."""
    result = CliRunner().invoke(app, list(args))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout


def words(page: str) -> str:
    """What a reader sees or hears of a page or a picture: text and labels, no styles or shapes."""
    page = re.sub(r"<(style|defs)\b.*?</\1>|<!--.*?-->", " ", page, flags=re.DOTALL)
    heard = re.findall(r'(?:aria-label|title)="([^"]*)"', page)
    return unescape(" ".join([re.sub(r"<[^>]+>", " ", page), *heard]))


def own_units_only(text: str, units: str, least: int) -> None:
    """No unit of the other system, and at least so many words in all."""
    assert len(text.split()) >= least
    found = [text[max(0, m.start() - 40) : m.end() + 20] for m in FOREIGN[units].finditer(text)]
    assert not found, found


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The words of each picture that is saved, from an SVG of it."""
    found: list[str] = []
    save = Figure.savefig

    def savefig(figure: Figure, target: Any, **options: Any) -> None:
        save(figure, target, **options)
        svg = target
        if options.get("format") != "svg":
            svg = io.StringIO()
            save(figure, svg, format="svg")
        found.append(words(svg.getvalue()))

    monkeypatch.setattr(Figure, "savefig", savefig)
    return found


both = pytest.mark.parametrize("units", ["us", "metric"])


def test_what_is_foreign_is_found() -> None:
    """The greps themselves."""
    for text in ("3 mm", "litres a year", "at 75 kPa", "20 m of hose", "m3", "a metre or two"):
        assert FOREIGN["us"].search(text) and not FOREIGN["metric"].search(text)
    for text in ("0.1 in a day", "12 ft", "gallons a year", "demand in ┃", "5 psi", "2 ft^2"):
        assert FOREIGN["metric"].search(text) and not FOREIGN["us"].search(text)
    assert not FOREIGN["metric"].search("days in band, in a word")


@pytest.mark.parametrize(
    ("kind", "value", "metric", "us"),
    [
        ("length", 22.86, "22.86 m", "75 ft"),
        ("near", 0.4064, "0.41 m", "16 inches"),
        ("fall", 0.1524, "152 mm", "6.0 inches"),
        ("bore", 12.7, "12.7 mm", "0.5 inches"),
        ("area", 27.870912, "27.87 m^2", "300 ft^2"),
        ("volume", 3785.411784, "3,785 L", "1,000 gal"),
        ("metered", 3785.411784, "3.79 m3", "1,000 gal"),
        ("supply flow", 15.141647136, "15.14 L/min", "4 gal/min"),
        ("hose flow", 37.85411784, "38 L/h", "10.0 gal/h"),
        ("pressure", 172.36893, "172 kPa", "25 psi"),
        ("temperature", 20.0, "20 C", "68 F"),
        ("depth", 5.08, "5.1 mm", "0.20 inches"),
        ("total", 254.0, "254 mm", "10.0 inches"),
        ("total", -0.01, "0 mm", "0.0 inches"),
    ],
)
def test_one_quantity_two_ways(kind: str, value: float, metric: str, us: str) -> None:
    """Exact by definition: inch 25.4 mm, US gallon 231 cubic inches; pound-force per sq in."""
    assert (METRIC.shown(value, kind), US.shown(value, kind)) == (metric, us)
    for units in UNITS.values():
        number, unit = units.shown(value, kind).split(" ")
        assert number == units.number(value, kind)
        assert unit in (units.unit(kind), units.word(kind))


@pytest.mark.parametrize(
    ("minute", "us", "metric"),
    [
        (0, "12 am", "00:00"),
        (45, "12:45 am", "00:45"),
        (720, "12 pm", "12:00"),
        (1290, "9:30 pm", "21:30"),
        (1440, "12 am", "00:00"),
    ],
)
def test_the_clock_of_the_house(minute: int, us: str, metric: str) -> None:
    assert (US.time(minute), METRIC.time(minute)) == (us, metric)


def test_dates_of_the_house() -> None:
    assert (US.day(3, 15), METRIC.day(3, 15)) == ("Mar 15", "15 Mar")
    day = datetime.date(2024, 12, 1)
    assert (US.date(day), METRIC.date(day)) == ("Dec 1, 2024", "1 Dec 2024")


@both
def test_check(units: str, tmp_path: Path) -> None:
    file = str(house(tmp_path, units, ODD))
    status, text = run("check", file)
    assert status == 0
    own_units_only(text, units, 200)
    told = " ".join(text.split())
    missing = [said for said in SAID if not re.search(said, told)]
    assert not missing


def test_figures_for_programs_are_the_same_in_any_units(tmp_path: Path) -> None:
    found = []
    for units in UNITS:
        status, text = run("check", str(house(tmp_path, units, ODD)), "--json")
        assert status == 0
        plain = json.loads(text)
        assert plain.pop("units") == units and plain.pop("cautions")
        found.append(plain)
    assert found[0] == found[1]
    plans = [compile_house(load(tmp_path / f"{units}.toml")).plan.pack() for units in UNITS]
    assert plans[0] == plans[1]


@both
def test_replay(units: str, tmp_path: Path) -> None:
    file, out = house(tmp_path, units, ODD, west="probe = true"), tmp_path / "out"
    dates = ("--from", "2018-05-01", "--to", "2018-06-30")
    status, text = run("replay", str(file), "--weather", str(WEATHER), "--out", str(out), *dates)
    assert status == 0
    own_units_only(text, units, 60)
    page = (out / "report.html").read_text("utf-8")
    assert page.count("<svg") == 12  # six, on wide and on narrow paper
    own_units_only(words(page), units, 1500)
    summary = json.loads((out / "summary.json").read_text("utf-8"))
    own_units_only(" ".join(summary["notes"]), units, 10)
    assert summary["weather"]["rain_mm"] > 20  # SI in any case


class Inline(Executor):
    """Does each task at once."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> "Future[Any]":
        future: Future[Any] = Future()
        future.set_result(fn(*args, **kwargs))
        return future


@contextmanager
def here(_: int) -> Iterator[tuple[Executor, int]]:
    yield Inline(), 1


@pytest.mark.parametrize("units", ["us", pytest.param("metric", marks=pytest.mark.slow)])
def test_compare(
    units: str, tmp_path: Path, drawn: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workers, "processes", here)
    monkeypatch.setattr(comparing, "jobs_of", partial(comparing.jobs_of, years=2))
    weather = shorter(tmp_path, 2)
    out = tmp_path / "out"
    file = str(house(tmp_path, units))
    args = ("--weather", str(weather), "--grounds", "1", "--out", str(out))
    status, text = run("compare", file, *args)
    assert status == 0, text
    assert "informed" in text and "breaks limits" in text
    own_units_only(text, units, 100)
    (picture,) = drawn
    own_units_only(picture, units, 40)
    for said in ("Either house", "short.csv, ", "one ground"):
        assert said in picture
    assert re.search(r"Water by \"|Leave it alone\.", picture)
    found = json.loads((out / "compare.json").read_text("utf-8"))
    ways = found["weathers"][0]["ways"]
    assert ways["hub_checked"]["litres_a_year"]["p90"] > 3000  # SI in any case
