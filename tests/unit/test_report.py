"""The year report, built from made-up files: what stands on the page is what the files say."""

import csv
import json
import math
import random
import re
from collections import defaultdict
from collections.abc import Callable
from datetime import date, datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from evenclay.controller import events
from evenclay.controller.plan import HubPart, Plan
from evenclay.controller.words import WHY
from evenclay.sim.house.house import House, Strip
from evenclay.sim.judge.measures import Record
from evenclay.sim.report import page as report_page
from evenclay.sim.report.outputs import COLUMNS
from evenclay.sim.report.page import write_report
from evenclay.sim.report.pictures.drawing import NARROW, WIDE
from evenclay.sim.report.pictures.moisture import Cut, sides
from evenclay.sim.report.pictures.openings import openings
from evenclay.sim.report.sentences import (
    dash_sentence,
    first_sentence,
    limit_sentences,
    result_sentences,
    trust_sentence,
)
from evenclay.sim.report.tables import ALARMS
from evenclay.sim.report.year import ReportError, Run, read, runs_of
from evenclay.sim.section.layout import LAYOUT
from evenclay.sim.units import METRIC
from evenclay.tools.property.plan_ranges import RANGES

FIRST, DAYS = date(2023, 1, 1), 365
NBSP = "\N{NO-BREAK SPACE}"
ZONE = ZoneInfo("America/Chicago")
NAMES = ("north", "east", "south wall", "west & <b>", "porch")
REASONS = (
    "frost",
    "quiet",
    "rain",
    "wet_soil",
    "hold",
    "closed_season",
    "lost_clock",
    "low_battery",
    "fault",
)


def house(names: tuple[str, ...] = NAMES, **changes: Any) -> House:
    """Strips on two supplies; the report never reads the plan, so it is empty."""
    hub = HubPart({name: least for name, (least, _) in RANGES[HubPart].items()})
    strips = tuple(
        Strip(name, z % 2, 18.0 + 2 * z, 0.6, 90.0, 0.8, 1.0) for z, name in enumerate(names)
    )
    values: dict[str, Any] = {
        "name": "Corner house <on clay>",
        "timezone": "America/Chicago",
        "latitude_deg": 32.0,
        "units": "metric",
        "plan": Plan(hub, [], [], [], []),
        "strips": strips,
        "supplies": ("front", "back"),
        "cautions": ("A live oak stands nearer to the east side than its height.",),
    }
    return House(**(values | changes))


def write_year(
    out: Path, names: tuple[str, ...] = NAMES, cycles: int = 2, days: int = DAYS
) -> dict[str, Any]:
    """Write a year's three files as a replay would, and return the summary.

    Two 10-minute cycles a day from May to October; the last zone of five never opens.
    """
    chance = random.Random(7)
    weather = _weather(chance, days)
    lines, rows = _plan_line(names), []
    totals: dict[str, dict[str, Any]] = {
        name: {"runs": 0, "minutes": 0.0, "litres": 0.0, "skipped": {}} for name in names
    }
    for d in range(days):
        day, rain_mm, et0_mm = FIRST + timedelta(d), *weather[d]
        summer, frost = day.month in range(5, 11), day.month in (1, 2, 12) and d % 5 == 0
        for z, name in enumerate(names):
            wet = rain_mm > (6 if z < 2 else 9)
            minutes = 0.0
            for cycle in range(cycles if summer and z != 4 else 0):
                at = datetime(day.year, day.month, day.day, 5, 0, tzinfo=ZONE)
                at += timedelta(minutes=150 * cycle + 12 * z)
                minutes += _run(lines, totals[name], at, name, wet, cut=d % 40 == 3 and not cycle)
            litres = minutes * 1.5
            totals[name]["litres"] += litres
            unwatered = 3.6 - 0.4 * math.cos((d - 20) / 365 * 2 * math.pi) + 0.1 * (z - 2)
            strip = unwatered - (0.6 if summer and z != 4 else 0.0) + 0.1 * chance.random()
            edge = 3.6 + 0.5 * (unwatered - 3.6)
            pf = (strip, unwatered, edge - 0.1 * summer, edge, 3.6, 3.61, 3.3)
            held = {f"{reason}_h": 0.0 for reason in REASONS}
            held.update(
                frost_h=9.0 * frost,
                quiet_h=4.0,
                rain_h=min(24.0, 2.0 * rain_mm) * wet,
                wet_soil_h=12.0 * (z == 3 and d % 9 == 0),
                closed_season_h=0.0 if summer else 24.0,
            )
            row = (day, name, rain_mm, et0_mm, minutes, litres, *pf, int(abs(strip - 3.3) < 0.4))
            rows.append([*row, *held.values()])
    lines += _alarms(names)
    header = list(COLUMNS)
    with (out / "daily.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([header + [f"{reason}_h" for reason in REASONS], *rows])
    lines[1:] = sorted(lines[1:], key=lambda line: datetime.fromisoformat(str(line["at"])))
    (out / "decisions.jsonl").write_text("".join(json.dumps(line) + "\n" for line in lines))
    summary = _summary(weather, totals)
    (out / "summary.json").write_text(json.dumps(summary))
    return summary


def _weather(chance: random.Random, days: int) -> list[tuple[float, float]]:
    found = []
    for d in range(days):
        wet = chance.random() < 0.22
        et0_mm = 4.0 - 3.0 * math.cos((d - 20) / 365 * 2 * math.pi) + chance.random()
        found.append((round(chance.expovariate(1 / 9), 1) if wet else 0.0, round(et0_mm, 2)))
    return found


def _plan_line(names: tuple[str, ...]) -> list[dict[str, Any]]:
    zones = {name: {"supply": z % 2, "cap_s": 7200, "gap_s": 30} for z, name in enumerate(names)}
    return [{"what": "plan", "zones": zones}]


def _run(
    lines: list[dict[str, Any]],
    total: dict[str, Any],
    at: datetime,
    name: str,
    wet: bool,
    cut: bool,
) -> float:
    """Add a run's lines, or its skip; return the minutes given."""

    def say(when: datetime, what: str, why: str, seconds: int) -> None:
        litres = seconds / 60 * 1.5 if what in ("closed", "cut_short") else 0.0
        lines.append(
            {
                "at": when.isoformat(),
                "zone": name,
                "what": what,
                "why": why,
                "seconds": seconds,
                "litres": litres,
            }
        )

    if wet:
        say(at, "skipped", "rain", 0)
        total["skipped"]["rain"] = total["skipped"].get("rain", 0) + 1
        return 0.0
    seconds = 240 if cut else 600
    say(at, "opened", "planned", 600)
    say(
        at + timedelta(seconds=seconds),
        "cut_short" if cut else "closed",
        "quiet" if cut else "done",
        seconds,
    )
    total["runs"] += 1
    total["minutes"] += seconds / 60
    return seconds / 60


def _alarms(names: tuple[str, ...]) -> list[dict[str, Any]]:
    raised = datetime(2023, 7, 2, 6, 1, tzinfo=ZONE)
    rest = {"seconds": 0, "litres": 0.0}
    boot = {"at": datetime(2023, 1, 1, tzinfo=ZONE).isoformat(), "zone": None, "what": "boot"}
    supply = {"zone": None, "supply": "back", "what": "alarm", "why": "supply_no_flow"}
    return [
        boot | {"why": "power"} | rest,
        {"at": raised.isoformat()} | supply | rest,
        {"at": raised.isoformat(), "zone": names[0], "what": "alarm", "why": "no_flow"} | rest,
        {"at": (raised + timedelta(1)).isoformat(), "zone": names[0], "what": "cleared"}
        | {"why": "no_flow"}
        | rest,
        {"at": raised.isoformat(), "zone": None, "what": "alarm", "why": "store"} | rest,
    ]


def _summary(
    weather: list[tuple[float, float]], totals: dict[str, dict[str, Any]]
) -> dict[str, Any]:
    litres = sum(total["litres"] for total in totals.values())
    years = int(len(weather) / 365)

    def policy(share: float, unrest: float) -> dict[str, Any]:
        return {
            "litres": litres * share,
            "minutes": litres * share / 1.5,
            "days_on_target": 201.5,
            "movement_pct": unrest - 5,
            "tilt_pct": unrest + 7,
            "tilt_added_pct": unrest - 100,
            "unrest_pct": unrest,
            "unrest_worst_year_pct": unrest + 4,
            "unrest_record_pct": unrest + 11,
            "shift_pct": 41.0,
            "shift_year": 1,
            "shift_between_pct": 12.0,
            "shift_between_year": 1,
            "shift_inside_pct": -41.0,
            "shift_inside_year": 1,
            "excursion_pct": 33.0,
            "days_soaked": 3.0,
        }

    rest = {
        "runoff_litres": 12.5,
        "runoff_rain_litres": 3.0,
        "level_pf": 3.712,
        "target_pf": 3.312,
        "days_on_target": 212.0,
        "days_dry": 100.0,
        "days_wet": 53.0,
        "days_soaked": 2.0,
        "movement_pct": 71.0,
        "hose_l_h": 90.0,
        "hose_evenness": 0.97,
    }
    return {
        "schema": 2,
        "weather": {
            "rain_mm": sum(rain for rain, _ in weather),
            "et0_mm": sum(et0 for _, et0 in weather),
            "tmi": -17.3,
            "first_day": FIRST.isoformat(),
            "last_day": (FIRST + timedelta(len(weather) - 1)).isoformat(),
        },
        "grounds": None,
        "years": years,
        "relief_pf": 0.4,
        "hub": {"wakes": 10432, "saves": 2100, "most_open_at_once": 1, "boots": 1},
        "zones": {name: total | rest for name, total in totals.items()},
        "policies": {
            "none": policy(0.0, 100.0),
            "calendar": policy(1.43, 93.0),
            "hub_alone": policy(1.2, 131.0),
            "hub": policy(1.0, 76.0),
        },
        "mass_balance_error_mm": 3.1e-12,
    }


def cut(days: int = DAYS) -> Cut:
    """Ground that dries and wets from above, under the last of three zones or more."""
    season = np.cos((np.arange(days) - 20) / 365 * 2 * np.pi)[:, None, None]
    deep = np.exp(-np.array(LAYOUT.middles_m))
    places = [3.6 - reach * season * deep for reach in (0.3, 0.05, 0.8)]
    return Cut(0, LAYOUT.edges_m, 0.4, Record(*(0.9 * pf for pf in places)), Record(*places))


def change_summary(out: Path, change: Callable[[dict[str, Any]], None]) -> None:
    path = out / "summary.json"
    summary = json.loads(path.read_text())
    change(summary)
    path.write_text(json.dumps(summary))


def visible(page: str) -> str:
    """The page's text without marks, styles and pictures."""
    page = re.sub(r"<(style|svg)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A folder with a year's files, and its page."""
    out = tmp_path_factory.mktemp("year")
    write_year(out)
    return out, write_report(out, house(), cut()).read_text(encoding="utf-8")


def test_same_files_give_the_same_bytes(built: tuple[Path, str]) -> None:
    out, page = built
    assert write_report(out, house(), cut()).read_text(encoding="utf-8") == page


def test_page_stands_alone(built: tuple[Path, str]) -> None:
    _, page = built
    assert not re.search(r"https?:|//[a-z]|<script|<link|<img|@import|src=", page)
    assert set(re.findall(r"url\((.)", page)) <= {"#"}
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'(?:url\(|href=")#([^")]+)', page)) <= set(ids)


def test_six_pictures_each_told_in_words(built: tuple[Path, str]) -> None:
    """Each on both papers, of which the page shows one."""
    _, page = built
    wide, narrow = (
        re.findall(rf'<svg class="{paper}" role="img" aria-label="([^"]+)"', page)
        for paper in ("wide", "narrow")
    )
    assert sorted(wide) == sorted(narrow) and len(set(wide)) == page.count("<svg") / 2 == 6
    labels = wide
    assert all(len(label) > 40 for label in labels)


def test_the_key_of_shades_says_what_it_counts_and_that_its_steps_are_uneven(
    built: tuple[Path, str],
) -> None:
    """On either paper."""
    _, page = built
    for words in (
        "pF: how hard roots must pull for water",
        "steps are small where this ground lies",
    ):
        assert page.count(words) == 2


def numbers(text: str) -> list[float]:
    """All numbers of a sentence."""
    return [float(found.replace(",", "")) for found in re.findall(r"\d[\d,]*", text)]


def test_sentences_agree_with_the_summary(built: tuple[Path, str]) -> None:
    out, page = built
    policies = json.loads((out / "summary.json").read_text())["policies"]
    hub, year = policies["hub"], read(out, house())
    first, trust = first_sentence(year.summary), trust_sentence(year.summary)
    moves, shift = result_sentences(year)
    assert numbers(first) == [76, 100] and first.startswith("Calmer on one guess at this ground: ")
    assert numbers(moves) == [hub["movement_pct"], hub["tilt_pct"]]
    assert "between an edge and the inside" in shift and numbers(shift) == [41]
    assert "one year, on one guess" in trust and numbers(trust) == [25]
    for sentence in (first, moves, shift, trust):
        shown = visible(page).replace(NBSP, " ").replace("ground : ", "ground: ")
        assert sentence.replace(NBSP, " ") in shown


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"unrest_pct": 112.0}, "Harm: watered by the hub, the ground that carries the house has "
         "an unrest of 112, where leaving it alone is 100."),
        ({"unrest_pct": 92.0}, "Hardly calmer: "),
        ({"unrest_pct": 92.0, "days_soaked": 31.0}, "Harm: "),
        ({"days_soaked": 31.0}, "of 76, where leaving it alone is 100, but the watering breaks a "
         "limit."),
        ({"days_soaked": 31.0}, "At south wall, the wettest side, clay is soaked, and soft, on 31 "
         "days a year more"),
        ({"excursion_pct": 61.0}, "61 % of a year's movement beyond what they ever were without "
         "water: begin slowly, and ask an engineer"),
        ({"excursion_pct": 161.0}, "161 % of a year's movement beyond what they ever were without "
         "water; more than 100 is harm"),
        ({"tilt_added_pct": 22.0}, "by 22 % of a year's movement; more than 15 is harm"),
        ({"shift_between_pct": 41.0}, "lasting shift, between two sides, is 41 %"),
        ({"tilt_pct": None, "tilt_added_pct": 8.4}, "Left alone the sides move alike, so there is "
         "no tilt to compare with; watered by the hub they part by 8 % of one year's movement"),
        ({"tilt_pct": None, "tilt_added_pct": 0.4}, "watered by the hub they move alike as well."),
        ({"tilt_pct": 110.0}, "where leaving it alone is 100, but it tilts more: 110."),
        ({"tilt_pct": 100.4}, "where leaving it alone is 100. "),
        ({"unrest_pct": 92.0, "tilt_pct": 110.0}, "is 100, but it tilts more: 110."),
        ({"tilt_pct": None, "shift_between_pct": None}, "Its edge moves 71 % as much within a "
         "year as left alone."),
        ({"unrest_pct": None, "movement_pct": None}, "the notes say why"),
        ({"unrest_pct": {"p10": 61.2, "p50": 79.9, "p90": 104.4}},
         "Not sure to help: watered by the hub, the ground that carries the house has an unrest "
         "of 80 (61 to 104 on eight of ten plausible grounds)"),
        ({"unrest_pct": {"p10": 61.2, "p50": 79.9, "p90": 84.4}}, "Calmer: "),
    ],
)  # fmt: skip
def test_sentences_are_honest(tmp_path: Path, changes: dict[str, Any], words: str) -> None:
    write_year(tmp_path)

    def change(summary: dict[str, Any]) -> None:
        summary["policies"]["hub"].update(changes)
        summary["zones"]["south wall"]["days_soaked"] = 31.0

    change_summary(tmp_path, change)
    year = read(tmp_path, house())
    limits = limit_sentences(year.summary)
    said = " ".join([first_sentence(year.summary), *limits, *result_sentences(year)])
    assert words in said.replace(NBSP, " ")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"tilt_pct": 90.0}, ""),
        ({"tilt_pct": None, "tilt_added_pct": 8.4}, "under tilt. Left alone the sides move alike"),
        ({"tilt_pct": None, "shift_between_pct": None}, "takes two sides: all zones lie on one."),
        ({"unrest_pct": None, "tilt_pct": None}, "where there is nothing to compare with."),
    ],
)
def test_a_dash_is_explained_by_what_it_stands_for(
    tmp_path: Path, changes: dict[str, Any], words: str
) -> None:
    write_year(tmp_path)
    change_summary(tmp_path, lambda summary: summary["policies"]["hub"].update(changes))
    dash = dash_sentence(read(tmp_path, house()))
    assert dash.startswith("A dash stands") == bool(words) and words in dash


def test_the_year_of_a_shift_is_told_where_there_are_several(tmp_path: Path) -> None:
    write_year(tmp_path)

    def change(summary: dict[str, Any]) -> None:
        summary["years"], summary["grounds"] = 25, 16
        summary["policies"]["hub"]["shift_year"] = 7

    change_summary(tmp_path, change)
    year = read(tmp_path, house())
    assert "and comes in year 7 of 25." in " ".join(result_sentences(year))
    said = "This is a look at 25 years, on 16 guesses at the ground."
    assert trust_sentence(year.summary) == said


@pytest.mark.parametrize("pf", [0.01, 0.05, 0.06, 0.09, 0.13, 0.19, 0.21, 0.3, 0.7, 1.3])
def test_steps_of_the_sides_are_what_their_digits_say(pf: float) -> None:
    """Between two numbers of the axis lies the same step everywhere: none of them is rounded."""
    days = np.arange(np.datetime64("2022-01-01"), np.datetime64("2023-01-01"))
    year = np.sin(2 * np.pi * np.arange(365) / 365)[:, None]
    edges = (3.5 + pf * year, 3.5 + pf * year)
    for paper in (WIDE, NARROW):
        drawn = sides(paper, days, ("west",), edges, edges, "words")
        axis = re.findall(r">([+-]\d\.\d+|0)</text>", drawn)
        hundredths = [round(100 * float(number)) for number in axis[: len(axis) // 2]]
        steps = set(np.diff(hundredths).tolist())
        assert len(steps) == 1 and len(hundredths) >= 3, axis
        places = {len(number.partition(".")[2]) for number in axis} - {0}
        assert len(places) == 1


def test_zones_are_named_in_every_picture_and_escaped(built: tuple[Path, str]) -> None:
    _, page = built
    named = [f"{name}-{paper}" for name in ("sides", "openings") for paper in ("wide", "narrow")]
    for picture in [f"{name}-figure_1" for name in named]:
        drawn = page[page.index(f'id="{picture}"') :].split("</svg>")[0]
        for name in ("north", "east", "south wall", "west &amp; &lt;b&gt;", "porch"):
            assert f">{name}" in drawn
    assert "west & <b>" not in page and "<on clay>" not in page
    assert "Corner house &lt;on clay&gt;" in page


def test_runs_are_the_openings_with_their_lengths(built: tuple[Path, str]) -> None:
    out, _ = built
    runs = runs_of(read(out, house()))
    summary = json.loads((out / "summary.json").read_text())
    for z, name in enumerate(NAMES):
        own = [run for run in runs if run.zone == z]
        assert len(own) == summary["zones"][name]["runs"]
        assert sum(run.seconds for run in own) == pytest.approx(
            60 * summary["zones"][name]["minutes"]
        )
    assert sum(run.cut_short for run in runs) > 4
    assert {run.start.hour for run in runs} == {5, 7, 8}


def test_zone_table_and_reasons(built: tuple[Path, str]) -> None:
    out, page = built
    summary = json.loads((out / "summary.json").read_text())
    skipped = sum(zone["skipped"].get("rain", 0) for zone in summary["zones"].values())
    text = visible(page)
    assert skipped > 100 and f"rain {skipped} 0" in text
    for key, words in (("runs", "Runs"), ("days_wet", "wetter"), ("days_soaked", "left alone")):
        values = [f"{summary['zones'][name][key]:,.0f}" for name in NAMES]
        assert f"{words} {' '.join(values)}" in text
    assert "Never in this time: owner's hold, clock not set, fault." in text


def test_alarms_in_words(built: tuple[Path, str]) -> None:
    text = visible(built[1])
    assert "2 Jul 2023, 06:01 north No water came while the valve was open" in text
    assert "3 Jul 2023, 06:01" in text
    assert "back No zone of this supply had flow" in text
    told = "hub The hub could not write its record, or found no good copy of it."
    assert f"{told} still standing at the end" in text


def test_cautions_of_the_house_come_first(built: tuple[Path, str]) -> None:
    page = built[1]
    own = house().cautions[0]
    assert page.index(own) < page.index("The ground under the house")
    assert page.rindex(own) < page.index("Ask an engineer first")


@pytest.fixture
def words_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """The page without its pictures, which take seconds to draw, for tests of its words."""
    monkeypatch.setattr(report_page, "_pictures", lambda *_: defaultdict(str))


@pytest.mark.usefixtures("words_alone")
def test_us_units(tmp_path: Path) -> None:
    summary = write_year(tmp_path)
    text = visible(write_report(tmp_path, house(units="us"), cut()).read_text(encoding="utf-8"))
    gallons = round(summary["policies"]["hub"]["litres"] / 3.785411784)
    assert f"Water a year {gallons:,} gallons" in text
    assert f"{summary['weather']['rain_mm'] / 25.4:,.1f} inches of rain" in text
    assert "litres" not in text and "Monthly sums, inches" in text


@pytest.mark.usefixtures("words_alone")
def test_cost_only_with_a_price(built: tuple[Path, str], tmp_path: Path) -> None:
    summary = write_year(tmp_path)
    priced = house(water_price_m3=3.0, currency="USD")
    text = visible(write_report(tmp_path, priced, cut()).read_text(encoding="utf-8"))
    assert f"USD {summary['policies']['hub']['litres'] * 0.003:,.0f}" in text
    free = visible(built[1])
    assert "Cost a year" in text and "Cost a year" not in free
    assert "Cost of water a year – the property file names no price" in free


def test_null_measures_are_dashes(tmp_path: Path) -> None:
    """As of less than a year, or in ground that hardly moves."""
    write_year(tmp_path, days=200)

    def change(summary: dict[str, Any]) -> None:
        for found in (*summary["zones"].values(), *summary["policies"].values()):
            given = (
                "litres",
                "minutes",
                "runoff_litres",
                "runs",
                "level_pf",
                "target_pf",
                "skipped",
            )
            found.update({name: None for name in found if name not in given})

    change_summary(tmp_path, change)
    page = write_report(tmp_path, house(), cut(200)).read_text(encoding="utf-8")
    rows = re.findall(r"<tr.*?</tr>", page, re.DOTALL)
    assert sum("–" in row for row in rows) >= 9  # four ways, and five rows of the zones
    assert "None" not in page and "nan" not in page.lower().replace("nance", "")
    assert "nothing can be said of it here" in page


@pytest.mark.usefixtures("words_alone")
def test_many_grounds_stand_with_their_range(tmp_path: Path) -> None:
    """Zones and ways of watering have the middle of them, and what eight of ten lie between."""
    write_year(tmp_path)

    def change(summary: dict[str, Any]) -> None:
        summary["grounds"] = 16
        for found in (*summary["zones"].values(), *summary["policies"].values()):
            for name, value in found.items():
                if isinstance(value, int | float) and not name.startswith("hose"):
                    found[name] = {"p10": 0.5 * value, "p50": value, "p90": 2.0 * value}

    change_summary(tmp_path, change)
    text = visible(write_report(tmp_path, house(), cut()).read_text(encoding="utf-8"))
    assert "The hub 76 (38 to 152) 71 (36 to 142)" in text
    assert "Movement, % of left alone 71 (36 to 142)" in text
    assert "Each figure is the middle of 16 plausible grounds" in text


def test_no_word_of_days_in_a_band_is_left(built: tuple[Path, str]) -> None:
    text = visible(built[1]).lower()
    assert not re.search(r"\bband\b|unevenness|swing|season days|too dry|too wet|bypass", text)


def test_bar_stands_at_its_true_time_and_length() -> None:
    days = np.array(["2023-06-01", "2023-06-02"], dtype="datetime64[D]")
    run = Run(0, datetime(2023, 6, 2, 7, 30), 5400.0, "planned", False)
    svg = openings(WIDE, days, ["a"], [run], np.zeros((2, 1), dtype=np.bool_), "", METRIC)
    left, right, top, bottom = _extent(svg, 'style="fill: var(--paper)"', last=True)
    assert ">07:00<" in svg and ">13:00<" in svg and ">06:00<" not in svg
    x0, x1, y0, y1 = _extent(svg, "fill: var(--blue)")
    assert (y0 - top) / (bottom - top) == pytest.approx(0.5 / 6, abs=0.002)
    assert (y1 - top) / (bottom - top) == pytest.approx(2 / 6, abs=0.002)
    middle = (left + right) / 2  # the second of two days
    assert middle < x0 < x1 < right


def _extent(svg: str, style: str, last: bool = False) -> tuple[float, float, float, float]:
    """Left, right, top and bottom of the first path (or the last) drawn in a style."""
    paths = [path for path in re.findall(r"<path [^>]*>", svg) if style in path]
    data = re.findall(r"[ML] (\S+) (\S+)", paths[-1 if last else 0])
    x, y = ([float(pair[axis]) for pair in data] for axis in (0, 1))
    return min(x), max(x), min(y), max(y)


@pytest.mark.parametrize(
    ("hours", "shown"),
    [
        ((6, 8), "06:00 12:00"),
        ((22, 2), "22:00 02:00"),
        ((23,), "18:00 24:00"),
        ((), "00:00 24:00"),
    ],
)
def test_hours_without_any_run_are_left_out(hours: tuple[int, ...], shown: str) -> None:
    days = np.array(["2023-06-01", "2023-06-02"], dtype="datetime64[D]")
    runs = [Run(0, datetime(2023, 6, 1, hour, 30), 600.0, "planned", False) for hour in hours]
    svg = openings(WIDE, days, ["a"], runs, np.zeros((2, 1), dtype=np.bool_), "", METRIC)
    labels = re.findall(r">(\d\d:00)<", svg)
    assert f"{labels[0]} {labels[-1]}" == shown
    assert (">midnight<" in svg) == (hours == (22, 2))


def test_run_without_an_end_keeps_what_is_known_of_it(tmp_path: Path) -> None:
    write_year(tmp_path, cycles=0)
    rest = {"zone": "east", "litres": None}
    lines = [
        rest
        | {"at": "2023-06-01T06:00:00-05:00", "what": "opened", "why": "manual", "seconds": 900},
        rest
        | {"at": "2023-06-02T06:00:00-05:00", "what": "opened", "why": "planned", "seconds": 600},
        rest | {"at": "2023-06-02T06:02:00-05:00", "what": "end", "why": "ok", "seconds": 120},
    ]
    with (tmp_path / "decisions.jsonl").open("a") as file:
        file.writelines(json.dumps(line) + "\n" for line in lines)
    found = [(run.why, run.seconds) for run in runs_of(read(tmp_path, house()))]
    assert found == [("manual", 900), ("planned", 120)]


def test_year_without_a_run(tmp_path: Path) -> None:
    write_year(tmp_path, cycles=0)
    page = write_report(tmp_path, house(), cut()).read_text(encoding="utf-8")
    assert page.count("(never opened)") == 2 * len(NAMES)  # on either paper
    assert "None: every planned run was given in full." in visible(page)


@pytest.mark.parametrize(("days", "zones"), [(1, 1), (20, 8), (800, 2)])
def test_other_lengths_and_counts(tmp_path: Path, days: int, zones: int) -> None:
    names = tuple(f"zone {z}" for z in range(zones))
    write_year(tmp_path, names, days=days)
    text = visible(write_report(tmp_path, house(names), cut(days)).read_text(encoding="utf-8"))
    assert ("The replay is longer than a year." in text) == (days > 366)


def test_files_of_another_house_are_refused(tmp_path: Path) -> None:
    write_year(tmp_path)
    with pytest.raises(ReportError, match=r"daily\.csv has zones"):
        write_report(tmp_path, house(("north", "east")), cut())


def test_every_alarm_that_a_hub_raises_has_its_sentence() -> None:
    """All that `Lockouts.set`, the hub's faults and the runner raise as alarms."""
    names = "LOW_BATTERY NO_FLOW BURST LEAK DRIVER STORE BROKEN PROBE STALE STUCK"
    names += " SUPPLY_NO_FLOW TROUBLE RAIN_STALE"
    missing = {WHY[getattr(events, name)] for name in names.split()} - ALARMS.keys()
    assert not missing
    assert all(words.endswith(".") for why, words in ALARMS.items() if why != "fault")
