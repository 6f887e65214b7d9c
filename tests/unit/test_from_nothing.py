"""From nothing to a plan, a report and a calendar, as somebody does who has only a ZIP code or an
airport: by options alone, and by answers at a terminal.

No unit but the house's own stands in anything that is told, written for people or drawn.
"""

import json
import os
import re
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import freezegun
import pytest

from evenclay.tools.property.property import load
from evenclay.tools.start.questions import QUESTIONS
from tests import calendars
from tests.unit.test_fetch import Service, run, serving
from tests.unit.test_propose import small_study
from tests.unit.test_units import drawn as drawn  # a fixture
from tests.unit.test_units import own_units_only, words

ROOT = Path(__file__).parents[2]
TODAY = "2027-03-05"


class Owner(NamedTuple):
    """Somebody with a house. answers: by question. days: of a summer in the record."""

    units: str
    answers: Mapping[str, str]
    days: tuple[str, ...]


OWNERS = {
    "us": Owner(
        "us",
        {
            "where": "76065",
            "name": "The house at Pecan Street",
            "clay": "black clay",
            "north": "40",
            "east": "30 ft",
            "south-cover": "planted, morning sun",
            "west-cover": "hot wall",
            "hose-flow": "3 gal in 10 min, north",
            "rain-sensor": "gauge",
            "probes": "west",
            "water-price": "$5 per 1000 gal",
        },
        ("--from", "2026-05-01", "--to", "2026-06-10"),
    ),
    "metric": Owner(
        "metric",
        {
            "where": "ADL",
            "name": "Wattle Road",
            "built": "2024-02",
            "clay": "unknown",
            "north": "12",
            "east": "9 m",
            "west-cover": "hot wall",
            "weekdays": "mon, wed, fri, sun",
            "banned-hours": "10:00-18:00",
            "thermometer": "yes",
            "water-price": "$2.4 per m3",
        },
        ("--from", "2026-12-01", "--to", "2027-01-10"),
    ),
}


def owners(quick: str) -> list[Any]:
    """Each owner as a parameter; all but one are slow."""
    slow = {name: [pytest.mark.slow] for name in OWNERS if name != quick}
    return [pytest.param(each, id=name, marks=slow.get(name, [])) for name, each in OWNERS.items()]


class Files(NamedTuple):
    """What the steps write."""

    mine: Path
    weather: Path
    page: Path
    plan: Path
    out: Path

    @property
    def planned(self) -> Path:
        return self.plan / "property.toml"


@pytest.fixture
def files(tmp_path: Path) -> Files:
    house = tmp_path / "house"
    names = ("property.toml", "weather.csv", "check.html", "plan", "out")
    return Files(*(house / name for name in names))


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Service]:
    with serving(monkeypatch, tmp_path) as found:
        yield found


def steps(files: Files, service: Service, owner: Owner) -> Iterator[tuple[str, ...]]:
    """What is typed after `start`."""
    weather = ("--weather", str(files.weather))
    yield "weather", str(files.mine), "--service", service.url, "--years", "1"
    yield "check", str(files.mine), *weather, "--html", str(files.page)
    plan = ("--grounds", "1", "--rows", "4", "--out", str(files.plan))
    yield "propose", str(files.mine), *weather, *plan
    yield "replay", str(files.planned), *weather, "--out", str(files.out), *owner.days
    yield "calendar", str(files.planned), "--year", "2027", "--cycles"


def look_at(files: Files, owner: Owner) -> None:
    """What lies in the folder at the end."""
    prop = load(files.planned)
    assert prop.site.name == owner.answers["name"] and prop.site.units == owner.units
    assert prop.reckons and load(files.mine).seasons != prop.seasons
    for page, least in ((files.page, 200), (files.out / "report.html", 1000)):
        own_units_only(words(page.read_text("utf-8")), owner.units, least)
    for file in (files.mine, files.planned):
        text = file.read_text("utf-8").replace("litres = ", "")  # the name of a key
        own_units_only(text, owner.units, 300)
    summary = json.loads((files.out / "summary.json").read_text("utf-8"))
    assert all(zone["litres"] > 0 for zone in summary["zones"].values())  # it is summer there
    look_at_calendar(files.planned.with_name("calendar.ics"), owner)


def look_at_calendar(file: Path, owner: Owner) -> None:
    text = file.read_text("utf-8")
    own_units_only(text.replace("\n ", ""), owner.units, 1000)  # a long line goes on behind a space
    assert len(calendars.read(text).events) > 100


@pytest.mark.parametrize("owner", owners(quick="us"))
def test_by_options_alone(owner: Owner, files: Files, service: Service, drawn: list[str]) -> None:
    begin = [part for key, answer in owner.answers.items() for part in (f"--{key}", answer)]
    told = ""
    with small_study(), freezegun.freeze_time(TODAY):
        for step in (("start", str(files.mine), *begin), *steps(files, service, owner)):
            status, text, errors = run(*step)
            assert status == 0, (step, text, errors)
            own_units_only(text + errors, owner.units, 10)
            told += text
    own_units_only(told, owner.units, 500)
    assert drawn  # plan.png
    for picture in drawn:
        own_units_only(picture, owner.units, 5)
    look_at(files, owner)


# The command as it is installed; `weather` on a given day, and `propose` on few grounds and years.
COMMANDS = {
    "weather": f"""
import freezegun, pandas  # it may not be imported while time stands still
from evenclay.tools.cli import main
with freezegun.freeze_time("{TODAY}", tick=True):
    main()
""",
    "propose": """
from evenclay.tools.cli import main
from tests.unit.test_propose import small_study
with small_study():
    main()
""",
}
TERMINAL = {"TERM": "xterm-256color", "PYTHONPATH": str(ROOT)}
ANSWERS_S = 600  # a terminal that says nothing for so long waits for an answer itself
ESCAPES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


def at_a_terminal(*args: str) -> Any:
    import pexpect

    own = COMMANDS.get(args[0])
    command = [*(["-c", own] if own else ["-m", "evenclay.tools.cli"]), *args]
    extra = {"env": os.environ | TERMINAL, "encoding": "utf-8", "dimensions": (40, 80)}
    return pexpect.spawn(sys.executable, command, timeout=ANSWERS_S, cwd=str(ROOT), **extra)


def answered(file: Path, owner: Owner) -> str:
    """What `start` says to somebody who answers its questions; Enter takes what is in brackets."""
    child = at_a_terminal("start", str(file))
    child.logfile_read = heard = Heard()
    spigots = [question.key for question in QUESTIONS if question.key.endswith("-spigot")]
    outline = ["first-side", "spigot-places", "paving"]
    for question in QUESTIONS:
        # There is one spigot, the house is a rectangle, and the file is new.
        if question.key not in (*spigots, *outline, "new-seasons"):
            child.expect_exact(question.asks.split("{")[0][:40])
            child.sendline(owner.answers.get(question.key, ""))
    ended(child)
    return heard.text


class Heard:
    """Keeps all that is shown."""

    def __init__(self) -> None:
        self.text = ""

    def write(self, text: str) -> None:
        self.text += text

    def flush(self) -> None:
        """Nothing is held back."""


def ended(child: Any) -> None:
    import pexpect

    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0, child.before


@pytest.mark.skipif(sys.platform == "win32", reason="found no terminals of this kind on Windows")
@pytest.mark.parametrize("owner", owners(quick="metric"))
@pytest.mark.parametrize(
    "planned", [False, pytest.param(True, marks=pytest.mark.slow)], ids=["begun", "planned"]
)
def test_by_answers_at_a_terminal(
    owner: Owner, planned: bool, files: Files, service: Service
) -> None:
    shown = {"start": answered(files.mine, owner)}
    for step in steps(files, service, owner):
        if not planned and step[0] in ("propose", "replay"):
            continue
        mine = step if planned else tuple(str(files.mine) if "plan" in x else x for x in step)
        child = at_a_terminal(*mine)
        child.logfile_read = heard = Heard()
        ended(child)
        shown[step[0]] = heard.text
    for name, text in shown.items():
        lines = [line.rpartition("\r")[2] for line in ESCAPES.sub("", text).split("\r\n")]
        tables = [line for line in lines if line[:1] in set("┏┃┡│├└")]
        assert max(map(len, tables), default=0) <= 80, name
        own_units_only("\n".join(lines), owner.units, 15)
    if planned:
        look_at(files, owner)
    else:
        look_at_calendar(files.mine.with_name("calendar.ics"), owner)
