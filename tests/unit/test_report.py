"""The year report, built from made-up files: what stands on the page is what the files say."""

import csv
import json
import math
import random
import re
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
from evenclay.sim.report.openings import Run, openings
from evenclay.sim.report.page import write_report
from evenclay.sim.report.sentences import result_sentences
from evenclay.sim.report.tables import ALARMS
from evenclay.sim.report.year import ReportError, read, runs_of
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
STATES = {
    "in_band": "days_in_band",
    "dry": "days_dry",
    "wet": "days_wet",
    "rain_wet": "days_rain_wet",
    "rewetting": "days_rewetting",
}


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
    counts = {name: dict.fromkeys(STATES.values(), 0) for name in names}
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
            unwatered = 2.9 - 0.9 * math.cos((d - 20) / 365 * 2 * math.pi) + 0.1 * (z - 2)
            pf = unwatered - (0.75 if summer and z != 4 else 0.0) + 0.1 * chance.random()
            state = "in_band" if 2.5 <= pf <= 3.3 else "dry" if pf > 3.3 else "rain_wet"
            if state == "rain_wet" and d % 50 < 9:
                state = "wet"
            if z == 2 and 121 <= d < 149:
                pf, state = pf + 0.9 - (d - 121) / 40, "rewetting"
            season = 105 <= d < 320
            if season:
                counts[name][STATES[state]] += 1
            held = {f"{reason}_h": 0.0 for reason in REASONS}
            held.update(
                frost_h=9.0 * frost,
                quiet_h=4.0,
                rain_h=min(24.0, 2.0 * rain_mm) * wet,
                wet_soil_h=12.0 * (z == 3 and d % 9 == 0),
                closed_season_h=0.0 if summer else 24.0,
            )
            row = (
                day,
                name,
                rain_mm,
                et0_mm,
                minutes,
                litres,
                pf,
                pf,
                unwatered,
                state,
                int(season),
            )
            rows.append([*row, *held.values()])
    lines += _alarms(names)
    header = ["date", "zone", "rain_mm", "et0_mm", "minutes", "litres"]
    header += ["pf", "pf_end", "pf_unwatered", "state", "season"]
    with (out / "daily.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([header + [f"{reason}_h" for reason in REASONS], *rows])
    lines[1:] = sorted(lines[1:], key=lambda line: datetime.fromisoformat(str(line["at"])))
    (out / "decisions.jsonl").write_text("".join(json.dumps(line) + "\n" for line in lines))
    summary = _summary(weather, totals, counts)
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
    weather: list[tuple[float, float]],
    totals: dict[str, dict[str, Any]],
    counts: dict[str, dict[str, int]],
) -> dict[str, Any]:
    litres = sum(total["litres"] for total in totals.values())
    days = {key: sum(count[key] for count in counts.values()) for key in STATES.values()}

    def policy(share: float, in_band: int, dry: int, wet: int) -> dict[str, Any]:
        found = {"days_in_band": in_band, "days_dry": dry, "days_wet": wet, "unevenness_pf": 0.41}
        return {"litres": litres * share} | found

    rest = {
        "runoff_litres": 12.5,
        "bypass_litres": 3.0,
        "swing_pf": 0.61,
        "movement_index_pct": 58.0,
        "under_slab": [
            {"m": 0.125, "change_pct": 41.0, "unwatered_change_pct": 55.0},
            {"m": 3.0, "change_pct": 2.0, "unwatered_change_pct": 3.0},
        ],
    }
    return {
        "schema": 1,
        "weather": {
            "rain_mm": sum(rain for rain, _ in weather),
            "et0_mm": sum(et0 for _, et0 in weather),
            "first_day": FIRST.isoformat(),
            "last_day": (FIRST + timedelta(len(weather) - 1)).isoformat(),
        },
        "hub": {"wakes": 10432, "saves": 2100, "most_open_at_once": 1, "boots": 1},
        "zones": {name: total | counts[name] | rest for name, total in totals.items()},
        "policies": {
            "none": policy(0.0, 310, 700, 0),
            "calendar": policy(1.43, days["days_in_band"] - 31, 90, 160),
            "calendar_checked": policy(1.2, days["days_in_band"] - 12, 80, 100),
            "hub": policy(1.0, days["days_in_band"], days["days_dry"], days["days_wet"]),
        },
        "mass_balance_error_mm": 3.1e-12,
    }


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
    return out, write_report(out, house()).read_text(encoding="utf-8")


def test_same_files_give_the_same_bytes(built: tuple[Path, str]) -> None:
    out, page = built
    assert write_report(out, house()).read_text(encoding="utf-8") == page


def test_page_stands_alone(built: tuple[Path, str]) -> None:
    _, page = built
    assert not re.search(r"https?:|//[a-z]|<script|<link|<img|@import|src=", page)
    assert set(re.findall(r"url\((.)", page)) <= {"#"}
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'(?:url\(|href=")#([^")]+)', page)) <= set(ids)


def test_five_pictures_each_told_in_words(built: tuple[Path, str]) -> None:
    _, page = built
    labels = re.findall(r'<svg role="img" aria-label="([^"]+)"', page)
    assert len(labels) == 5 and len(set(labels)) == 5
    assert all(len(label) > 40 for label in labels)


def test_sentence_agrees_with_the_summary(built: tuple[Path, str]) -> None:
    out, page = built
    summary = json.loads((out / "summary.json").read_text())
    said, verdict, *rest = result_sentences(read(out, house()))
    hub, calendar = summary["policies"]["hub"], summary["policies"]["calendar"]
    counted = sum(zone[key] for zone in summary["zones"].values() for key in STATES.values())
    assert [int(number.replace(",", "")) for number in re.findall(r"\d[\d,]*", said)] == [
        round(hub["litres"]),
        hub["days_in_band"],
        counted,
        round(calendar["litres"]),
        calendar["days_in_band"],
        summary["policies"]["none"]["days_in_band"],
    ]
    assert f"30{NBSP}% less water and 31 days more in band" in verdict  # 1 / 1.43 = 0.70
    checked = summary["policies"]["calendar_checked"]
    more = hub["days_in_band"] - checked["days_in_band"]
    assert "checked by hand" in rest[0] and f"{abs(more):,} day" in rest[0]
    numbers = [int(number.replace(",", "")) for number in re.findall(r"\d[\d,]*", rest[1])]
    assert numbers == [
        hub["days_dry"],
        calendar["days_dry"],
        hub["days_wet"],
        calendar["days_wet"],
    ]
    assert f"{said} {verdict}".replace(NBSP, " ") in visible(page).replace(NBSP, " ")


@pytest.mark.parametrize(
    ("litres", "days", "words"),
    [
        (1.2, -40, "the hub did worse than the bare calendar: 20 % more water, 40 days fewer"),
        (0.8, -1, "20 % less water, but the hub did worse on moisture: 1 day fewer in band"),
        (1.5, 9, "9 days more in band, at the price of 50 % more water"),
        (1.0, 0, "the same water and as many days"),
        (0.9, 0, "10 % less water and as many days"),
    ],
)
def test_verdict_is_honest(tmp_path: Path, litres: float, days: int, words: str) -> None:
    write_year(tmp_path)

    def change(summary: dict[str, Any]) -> None:
        summary["policies"]["calendar"].update(litres=1000.0, days_in_band=500)
        summary["policies"]["hub"].update(litres=1000.0 * litres, days_in_band=500 + days)

    change_summary(tmp_path, change)
    assert words in result_sentences(read(tmp_path, house()))[1].replace(NBSP, " ")


@pytest.mark.parametrize(("dry", "wet", "said"), [(41, 40, True), (40, 40, False)])
def test_a_table_that_gives_too_little_is_named_as_such(
    tmp_path: Path, dry: int, wet: int, said: bool
) -> None:
    write_year(tmp_path)

    def change(summary: dict[str, Any]) -> None:
        summary["policies"]["calendar"] |= {"days_dry": dry, "days_wet": wet}

    change_summary(tmp_path, change)
    sentences = " ".join(result_sentences(read(tmp_path, house())))
    assert ("only a trim or a probe can add" in sentences) is said


def test_zones_are_named_in_every_picture_and_escaped(built: tuple[Path, str]) -> None:
    _, page = built
    for picture in ("moisture-figure_1", "openings-figure_1"):
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
    for key, words in (("runs", "Runs"), ("days_wet", "too wet, by watering")):
        values = [f"{summary['zones'][name][key]:,}" for name in NAMES]
        assert f"{words} {' '.join(values)}" in text
    assert "Never in this time: owner's hold, clock not set, low battery, fault." in text


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
    assert page.index(own) < page.index("Moisture of the clay")
    assert page.rindex(own) < page.index("Ask an engineer first")


def test_us_units(tmp_path: Path) -> None:
    summary = write_year(tmp_path)
    text = visible(write_report(tmp_path, house(units="us")).read_text(encoding="utf-8"))
    gallons = round(summary["policies"]["hub"]["litres"] / 3.785411784)
    assert f"The hub used {gallons:,} gallons" in text
    assert f"{summary['weather']['rain_mm'] / 25.4:,.1f} inches of rain" in text
    assert "litres" not in text and "Monthly sums, inches" in text


def test_cost_only_with_a_price(tmp_path: Path) -> None:
    summary = write_year(tmp_path)
    priced = house(water_price_m3=3.0, currency="USD")
    text = visible(write_report(tmp_path, priced).read_text(encoding="utf-8"))
    assert f"USD {summary['policies']['hub']['litres'] * 0.003:,.0f}" in text
    assert "Water cost" not in visible(write_report(tmp_path, house()).read_text(encoding="utf-8"))


def test_null_measures_are_dashes(tmp_path: Path) -> None:
    """As of less than a year, or without a season day or a slab."""
    write_year(tmp_path)

    def change(summary: dict[str, Any]) -> None:
        for zone in summary["zones"].values():
            zone.update(movement_index_pct=None, under_slab=None)
        for policy in summary["policies"].values():
            policy["unevenness_pf"] = None

    change_summary(tmp_path, change)
    page = write_report(tmp_path, house()).read_text(encoding="utf-8")
    rows = re.findall(r"<tr.*?</tr>", page, re.DOTALL)
    assert sum("–" in row for row in rows) >= 5  # four policies, and a row of the zones
    assert "None" not in page and "nan" not in page.lower().replace("nance", "")


def test_bar_stands_at_its_true_time_and_length() -> None:
    days = np.array(["2023-06-01", "2023-06-02"], dtype="datetime64[D]")
    run = Run(0, datetime(2023, 6, 2, 7, 30), 5400.0, "planned", False)
    svg = openings(days, ["a"], [run], np.zeros((2, 1), dtype=np.bool_), "")
    left, right, top, bottom = _extent(svg, 'style="fill: #ffffff"', last=True)  # 07:00 to 13:00
    assert ">07:00<" in svg and ">13:00<" in svg and ">06:00<" not in svg
    x0, x1, y0, y1 = _extent(svg, "fill: #0072b2")
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
    svg = openings(days, ["a"], runs, np.zeros((2, 1), dtype=np.bool_), "")
    labels = re.findall(r">(\d\d:00)<", svg)
    assert f"{labels[0]} {labels[-1]}" == shown
    assert (">midnight<" in svg) == (hours == (22, 2))


def test_no_season_day_is_said(tmp_path: Path) -> None:
    write_year(tmp_path)

    def change(summary: dict[str, Any]) -> None:
        for found in (*summary["zones"].values(), *summary["policies"].values()):
            found.update({key: 0 for key in found if key.startswith("days_")})

    change_summary(tmp_path, change)
    assert "no day counts as season" in result_sentences(read(tmp_path, house()))[0]


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
    page = write_report(tmp_path, house()).read_text(encoding="utf-8")
    assert page.count("(never opened)") == len(NAMES)
    assert "None: every planned run was given in full." in visible(page)


@pytest.mark.parametrize(("days", "zones"), [(1, 1), (20, 8), (800, 2)])
def test_other_lengths_and_counts(tmp_path: Path, days: int, zones: int) -> None:
    names = tuple(f"zone {z}" for z in range(zones))
    write_year(tmp_path, names, days=days)
    text = visible(write_report(tmp_path, house(names)).read_text(encoding="utf-8"))
    assert ("The replay is longer than a year." in text) == (days > 366)


def test_files_of_another_house_are_refused(tmp_path: Path) -> None:
    write_year(tmp_path)
    with pytest.raises(ReportError, match=r"daily\.csv has zones"):
        write_report(tmp_path, house(("north", "east")))


def test_every_alarm_that_a_hub_raises_has_its_sentence() -> None:
    """All that `Lockouts.set`, the hub's faults, the trim and the runner raise as alarms."""
    names = "LOW_BATTERY NO_FLOW BURST LEAK DRIVER STORE BROKEN PROBE STALE DRY_AT_FULL"
    names += " SUPPLY_NO_FLOW TROUBLE CONTACT_STALE"
    missing = {WHY[getattr(events, name)] for name in names.split()} - ALARMS.keys()
    assert not missing
    assert all(words.endswith(".") for why, words in ALARMS.items() if why != "fault")
