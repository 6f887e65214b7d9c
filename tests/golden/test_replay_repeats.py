"""A replay repeats byte for byte, wakes only when it must, and decides as one stepped all day."""

import json
import os
import subprocess
import sys
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from evenclay.controller import events
from evenclay.controller.civil import LocalTime, day_of
from evenclay.sim.ground.plausible import middle
from evenclay.sim.house.devices import Devices
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import SectionGround, sides_of, stand
from evenclay.sim.judge.policies import policies
from evenclay.sim.replay.life import Policy, Script
from evenclay.sim.replay.lived import Lived, live
from evenclay.sim.replay.stay import Stay, sky_of, stay_of
from evenclay.sim.report import outputs, results
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.hourly import hourly
from evenclay.sim.weather.record import read
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import means_of
from evenclay.tools.property.property import parse as property_of
from tests.decisions import parse, runs_of, verify

DEMO = Path(__file__).parents[2] / "sim" / "demo"
FILES = ("summary.json", "decisions.jsonl", "daily.csv", "report.html")
DAY_S = 86400
CLOCK_DAY = date(2022, 7, 20)


def demo() -> tuple[House, Weather]:
    text = (DEMO / "property.toml").read_text("utf-8")
    prop = property_of(text, "demo")
    weather = read(DEMO / "weather.csv", latitude_deg=prop.site.latitude)
    return compile_house(prop, means_of(weather, prop.site.latitude)), weather


def short_demo(out_dir: Path, seed: int) -> None:
    house, weather = demo()
    out_dir.mkdir(exist_ok=True)
    first, last = date(2022, 4, 20), date(2022, 6, 30)
    results.replay_house(house, weather, out_dir, seed=seed, first=first, last=last)


@pytest.fixture(scope="module")
def one(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A short replay."""
    out_dir = tmp_path_factory.mktemp("one")
    short_demo(out_dir, 3)
    return out_dir


def test_the_same_replay_twice_gives_the_same_bytes(
    one: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = (
        "import importlib.util, pathlib, sys\n"
        f"spec = importlib.util.spec_from_file_location('repeats', {__file__!r})\n"
        "module = importlib.util.module_from_spec(spec)\n"
        "spec.loader.exec_module(module)\n"
        f"module.short_demo(pathlib.Path({str(tmp_path / 'two')!r}), 3)\n"
    )
    environment = os.environ | {"PYTHONHASHSEED": "77", "TZ": "Pacific/Auckland"}
    folder = Path(__file__).parents[2]
    subprocess.run([sys.executable, "-c", program], check=True, env=environment, cwd=folder)
    for name in FILES:
        assert (one / name).stat().st_size > 1000
        assert (one / name).read_bytes() == (tmp_path / "two" / name).read_bytes(), name
    assert sorted(path.name for path in one.iterdir()) == sorted(FILES)
    monkeypatch.setattr(results, "page_of", lambda *_: "")  # of another seed nobody reads it
    short_demo(tmp_path / "three", 4)
    three = tmp_path / "three" / "daily.csv"
    assert three.read_bytes() != (one / "daily.csv").read_bytes()


def test_outputs_hold_together(one: Path) -> None:
    """Files against each other: decisions, daily rows and summary tell the same runs and water."""
    summary = json.loads((one / "summary.json").read_text("utf-8"))
    plan, lines = parse((one / "decisions.jsonl").read_text("utf-8").splitlines())
    runs = verify(plan, lines)
    assert len(runs) > 100
    rows = (one / "daily.csv").read_text("utf-8").splitlines()
    head = rows[0].split(",")
    assert rows[0] == (
        "date,zone,rain_mm,et0_mm,minutes,litres,strip_pf,strip_unwatered_pf,edge_pf,"
        "edge_unwatered_pf,inside_pf,inside_unwatered_pf,target_pf,on_target,frost_h,quiet_h,"
        "rain_h,wet_soil_h,hold_h,closed_season_h,lost_clock_h,low_battery_h,fault_h"
    )
    table = [dict(zip(head, row.split(","), strict=True)) for row in rows[1:]]
    assert len(table) == 72 * len(plan)
    assert summary["schema"] == 2
    for zone in plan:
        told = summary["zones"][zone]
        ran = [run for run in runs if run.zone == zone]
        assert told["runs"] == len(ran)
        litres = sum(run.line["litres"] for run in ran)
        assert told["litres"] == pytest.approx(litres, abs=0.1)
        assert told["minutes"] == pytest.approx(
            sum(run.line["seconds"] for run in ran) / 60, abs=0.1
        )
        mine = [row for row in table if row["zone"] == zone]
        assert sum(float(row["litres"]) for row in mine) == pytest.approx(litres, abs=1.0)
        assert {float(row["target_pf"]) for row in mine} == {told["target_pf"]}
        skipped = Counter(
            line["why"] for line in lines if line["what"] == "skipped" and line["zone"] == zone
        )
        assert told["skipped"] == dict(skipped)
    hub = summary["policies"]["hub"]
    assert hub["litres"] == pytest.approx(
        sum(zone["litres"] for zone in summary["zones"].values()), abs=0.5
    )
    assert set(summary["policies"]) == {"none", "calendar", "hub_alone", "hub"}
    assert summary["policies"]["none"]["litres"] == 0.0
    assert {found["unrest_pct"] for found in summary["policies"].values()} == {None}
    assert 0 < summary["mass_balance_error_mm"] <= 1e-6


def a_year() -> tuple[House, Stay]:
    house, weather = demo()
    return house, stay_of(weather.span(date(2022, 1, 1), date(2022, 12, 31)))


def utc_s(house: House, day: date) -> int:
    return LocalTime(house.plan.hub).wall_s(DAY_S * day_of(day.year, day.month, day.day))


def lived(house: House, stay: Stay, policy: Policy, script: Script) -> Lived[SectionGround]:
    sky, by_hour = sky_of(house, stay, 1)
    standing = stand(house, middle(sides_of(house), -15.0), by_hour)
    return live(SectionGround(standing, by_hour, sky.start_s), policy, sky, seed=1, script=script)


def lines_of(house: House, outcome: Lived[SectionGround]) -> list[str]:
    calendar = outputs.Calendar(LocalTime(house.plan.hub), 0)
    assert outcome.devices is not None
    found = outputs.decisions(house, calendar, outcome.devices)
    return [outputs.json_line(line) for line in found]


def clock_script(house: House) -> Script:
    """The clock jumps an hour back in a night of watering, and three hours ahead that evening."""
    night_s = utc_s(house, CLOCK_DAY) + 2 * 3600
    return Script(
        [
            (night_s, lambda devices: devices.step_clock(-3600)),
            (night_s + 19 * 3600, lambda devices: devices.step_clock(3 * 3600)),
            (night_s + 22 * 3600, lambda devices: devices.step_clock(-2 * 3600)),
        ]
    )


def rainiest(stay: Stay, first: date, last: date) -> date:
    rain_mm = stay.weather.span(first, last).rain_mm
    return first + timedelta(days=int(np.argmax(rain_mm)))


def test_seven_days_stepped_every_second_decide_the_same() -> None:
    house, stay = a_year()
    policy = policies(house)[-1]
    assert policy.name == "hub"
    rainy = rainiest(stay, date(2022, 4, 1), date(2022, 10, 31))
    days = [
        date(2022, 3, 13),  # the clocks go forward
        date(2022, 11, 6),  # and back
        rainy,
        CLOCK_DAY,
        rainy + timedelta(days=1),
        date(2022, 5, 1),  # a season opens
        date(2022, 7, 4),
    ]
    assert len(set(days)) == 7
    script = clock_script(house)
    stepped = [(utc_s(house, day), utc_s(house, day + timedelta(days=1))) for day in days]
    by_event = lived(house, stay, policy, script)
    by_second = lived(house, stay, policy, replace(script, stepped=stepped))
    assert by_second.wakes - by_event.wakes > 6 * DAY_S
    assert lines_of(house, by_second) == lines_of(house, by_event)
    told = [json.loads(line) for line in lines_of(house, by_event)[1:]]
    days_told = [line for line in on(rainy + timedelta(days=1), told) if line["what"] == "lacks"]
    assert len(days_told) == len(house.strips)
    assert any(line["what"] == "opened" for line in on(CLOCK_DAY, told))
    assert np.array_equal(by_second.ground.days.pf, by_event.ground.days.pf)


def on(day: date, told: Iterable[dict[str, str]]) -> list[dict[str, str]]:
    return [line for line in told if line["at"].startswith(day.isoformat())]


@cache
def year_of(number: int) -> tuple[House, Stay, Lived[SectionGround]]:
    """A year under a way of watering, to which nothing happens."""
    house, stay = a_year()
    return house, stay, lived(house, stay, policies(house)[number], Script())


@pytest.mark.parametrize("number", [1, 3], ids=["calendar", "hub"])
def test_the_hub_wakes_no_more_than_it_must(number: int) -> None:
    _, stay, outcome = year_of(number)
    what = Counter(heard.event[0] for heard in outcome.heard)
    edges = what[events.LOCKED] + what[events.RELEASED]
    days = stay.weather.days
    must = 2 * what[events.OPENED] + what[events.SKIPPED] + edges + days + outcome.polls
    assert what[events.OPENED] > 1000
    assert outcome.wakes <= 1.05 * must


def test_polls_are_no_more_than_the_plan_declares() -> None:
    """Else the bound on wakes above could be met by calling every wake a poll."""
    house, stay, outcome = year_of(3)
    hub = house.plan.hub
    runs = runs_of(parse(lines_of(house, outcome))[1])
    open_s = sum(run.line["seconds"] for run in runs)
    idle_s = stay.weather.days * DAY_S - open_s
    settled = 2 * len(runs)  # once after a valve opens, once after it shuts
    assert outcome.polls <= idle_s / hub.poll_s + open_s / hub.watch_s + settled


def test_devices_see_one_clock() -> None:
    """True time, the hub's uptime and its clock agree while nothing moves the clock."""
    house, stay = a_year()
    week = replace(stay, weather=stay.weather.span(date(2022, 5, 1), date(2022, 5, 7)))
    outcome = lived(house, week, policies(house)[3], Script())
    stamps = [(heard.at_s, heard.event[7]) for heard in outcome.heard]
    assert len(stamps) > 50
    assert all(at_s == wall_s for at_s, wall_s in stamps if wall_s >= 0)
    assert all(a <= b for (a, _), (b, _) in pairwise(stamps))
    assert isinstance(outcome.devices, Devices)


def test_hours_of_rain_do_not_depend_on_how_the_years_are_cut() -> None:
    _, weather = demo()
    whole = hourly(weather, 1).rain_mm
    year = hourly(weather.span(date(2022, 1, 1), date(2022, 12, 31)), 1).rain_mm
    first = (date(2022, 1, 1) - weather.first_day).days * 24
    assert np.array_equal(whole[first : first + len(year)], year)
