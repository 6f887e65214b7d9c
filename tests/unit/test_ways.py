"""What ways of watering come to on one ground and over many, in a small house."""

import json
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from evenclay.controller.plan import Plan, RowPart, SupplyPart, ZonePart
from evenclay.sim.ground.plausible import PlausibleGround, judged
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import sides_of
from evenclay.sim.judge.policies import policies
from evenclay.sim.replay.again import learns_nothing
from evenclay.sim.replay.stay import stay_of, weather_of
from evenclay.sim.report import results
from evenclay.sim.report.results import replay_house
from evenclay.sim.report.ways import Case, Figures, live_on, moves_of, rounded, summed
from evenclay.sim.types import Line
from evenclay.sim.weather.daily import Weather
from tests.houses import make_house, row

WAYS = ("none", "calendar", "hub_alone", "hub")


def weather(days: int = 800) -> Weather:
    """Wet winters and dry summers, in whole storms."""
    season = np.cos(np.arange(days) / 365.25 * 2 * np.pi)
    chance = np.random.default_rng(5)
    rain = np.where(chance.random(days) < 0.15 + 0.1 * season, chance.exponential(8.0, days), 0.0)
    least = 14.0 - 9.0 * season
    return Weather(date(2020, 1, 1), rain, least, least + 11.0, 3.5 - 2.5 * season, 33.0, ())


def house(zones: int = 2) -> House:
    """Zones on sides of their own, watered from April to October."""
    rows = [row(month=4, day=1), row(month=11, day=1, cycles=0)]
    made = make_house(zones=zones, rows=rows)
    sides = ("south", "north")
    strips = [
        replace(one, side=sides[z], coefficient=0.9 - 0.3 * z) for z, one in enumerate(made.strips)
    ]
    return replace(made, strips=tuple(strips))


def replayed(out: Path, made: House, **asked: Any) -> dict[str, Any]:
    """The summary of a replay; its page has tests of its own, and is not drawn."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(results, "page_of", lambda *_: "")
        replay_house(made, weather(), out, **asked)
    found: dict[str, Any] = json.loads((out / "summary.json").read_text("utf-8"))
    return found


@pytest.fixture(scope="module")
def year(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    out = tmp_path_factory.mktemp("year")
    return out, replayed(out, house(), first=date(2021, 1, 1), last=date(2021, 12, 31))


def test_a_year_is_judged_whole(year: tuple[Path, dict[str, Any]]) -> None:
    """From its first day, since too little is left from the first water on."""
    _, summary = year
    assert (summary["years"], summary["grounds"], summary["relief_pf"]) == (1, None, 0.4)
    assert tuple(summary["policies"]) == WAYS
    none = summary["policies"]["none"]
    for name in ("unrest_pct", "movement_pct", "tilt_pct"):
        assert none[name] == 100.0
    assert (none["litres"], none["shift_pct"], none["excursion_pct"]) == (0.0, 0.0, 0.0)
    assert all(summary["policies"][way]["litres"] > 1000 for way in WAYS[1:])
    assert not any("first water" in note for note in summary["notes"])
    for zone in summary["zones"].values():
        days = [zone[f"days_{name}"] for name in ("on_target", "dry", "wet")]
        assert sum(days) == 365
        assert zone["target_pf"] >= round(zone["level_pf"] - 0.4, 3)
    assert summary["weather"]["tmi"] < 0


def test_what_a_hub_reckons_by_are_its_targets(tmp_path: Path) -> None:
    made = replace(house(), relief_pf=0.2, target_pf=(3.1, 3.3))
    summary = replayed(tmp_path, made, first=date(2021, 5, 1), last=date(2021, 5, 9))
    assert [zone["target_pf"] for zone in summary["zones"].values()] == [3.1, 3.3]
    assert summary["relief_pf"] == 0.2


def test_daily_rows_are_what_the_days_on_target_are_counted_from(
    year: tuple[Path, dict[str, Any]],
) -> None:
    out, summary = year
    head, *rows = [line.split(",") for line in (out / "daily.csv").read_text().splitlines()]
    assert len(rows) == 2 * 365
    for name, zone in summary["zones"].items():
        mine = [dict(zip(head, line, strict=True)) for line in rows if line[1] == name]
        assert sum(int(line["on_target"]) for line in mine) == zone["days_on_target"]
        assert sum(float(line["litres"]) for line in mine) == pytest.approx(zone["litres"], abs=1)
        unwatered = [float(line["edge_unwatered_pf"]) for line in mine]
        watered = [float(line["edge_pf"]) for line in mine]
        ratio = 100 * np.ptp(watered) / np.ptp(unwatered)
        assert ratio == pytest.approx(zone["movement_pct"], abs=3)  # of values with three places
        assert watered[0] == unwatered[0]
        assert np.mean(watered) < np.mean(unwatered)


def test_longer_lives_are_judged_from_the_first_water_on(tmp_path: Path) -> None:
    summary = replayed(tmp_path, house())
    assert summary["years"] == 1  # of 800 days, and the first 91 are before it
    assert "measures begin with the first water, on day 92" in summary["notes"]


def test_less_than_a_year_has_no_measures(tmp_path: Path) -> None:
    summary = replayed(tmp_path, house(), first=date(2021, 1, 1), last=date(2021, 12, 30))
    assert summary["years"] == 0
    for way in summary["policies"].values():
        assert {way[name] for name in way if name not in ("litres", "minutes")} == {None}
    for zone in summary["zones"].values():
        assert zone["days_on_target"] is zone["movement_pct"] is zone["days_dry"] is None
        assert zone["level_pf"] > 2 and zone["litres"] > 0
    assert any("less than a whole year" in note for note in summary["notes"])


def test_one_side_has_no_tilt_and_says_so(tmp_path: Path) -> None:
    summary = replayed(tmp_path, house(1), first=date(2021, 1, 1), last=date(2021, 12, 31))
    assert summary["policies"]["hub"]["tilt_pct"] is None
    assert summary["policies"]["hub"]["shift_pct"] > 0
    assert any("nothing is said of tilt" in note for note in summary["notes"])


def test_nothing_is_said_of_what_carries_a_house_on_a_basement(tmp_path: Path) -> None:
    made = house(1)
    deep = replace(made, strips=tuple(replace(strip, slab_m=None) for strip in made.strips))
    summary = replayed(tmp_path, deep, first=date(2021, 1, 1), last=date(2021, 12, 31))
    assert {way["unrest_pct"] for way in summary["policies"].values()} == {None}
    assert summary["zones"]["z0"]["days_on_target"] > 0
    assert any("house on a basement" in note for note in summary["notes"])
    assert not any("hardly moves" in note for note in summary["notes"])


def test_a_young_house_has_one_target_and_shifts_from_the_day_it_was_poured(
    tmp_path: Path, year: tuple[Path, dict[str, Any]]
) -> None:
    asked = {"first": date(2021, 1, 1), "last": date(2021, 12, 31)}
    summary = replayed(tmp_path, replace(house(), poured_month=8), **asked)
    settled = year[1]
    assert len({zone["level_pf"] for zone in summary["zones"].values()}) == 2
    targets = [zone["target_pf"] for zone in summary["zones"].values()]
    levels = [zone["level_pf"] for zone in summary["zones"].values()]
    assert targets[0] >= round(np.mean(levels) - 0.4, 3)
    for name in ("unrest_pct", "movement_pct", "tilt_pct"):  # ranges do not ask where it began
        assert summary["policies"]["hub"][name] == settled["policies"]["hub"][name]
    young, old = (one["policies"]["none"]["shift_pct"] for one in (summary, settled))
    assert young > 1 > old
    assert any("the house is young" in note for note in summary["notes"])


Task = Callable[[PlausibleGround], Figures]


def test_grounds_give_quantiles_however_they_are_spread(tmp_path: Path) -> None:
    asked = {"first": date(2021, 1, 1), "last": date(2021, 12, 31), "grounds": 3}
    each: list[Figures] = []

    def one_by_one(task: Task, grounds: Sequence[PlausibleGround]) -> Iterable[Figures]:
        for ground in grounds:
            each.append(task(ground))
            yield each[-1]

    one, two = tmp_path / "one", tmp_path / "two"
    one.mkdir()
    two.mkdir()
    summary = replayed(one, house(), spread=one_by_one, **asked)
    with ThreadPoolExecutor(3) as pool:
        replayed(two, house(), spread=pool.map, **asked)
    for name in ("summary.json", "daily.csv", "decisions.jsonl"):
        assert (one / name).read_bytes() == (two / name).read_bytes(), name
    assert summary["grounds"] == len(each) == 3
    unrest = sorted(found.policies["hub"]["unrest_pct"] for found in each)
    told = summary["policies"]["hub"]["unrest_pct"]
    assert told["p50"] == pytest.approx(unrest[1], abs=0.06)
    assert told["p10"] == pytest.approx(unrest[0] + 0.2 * (unrest[1] - unrest[0]), abs=0.06)
    assert unrest[0] < unrest[1] < unrest[2]
    assert {zone["target_pf"]["p10"] == zone["target_pf"]["p90"]
            for zone in summary["zones"].values()} == {True}  # fmt: skip
    assert all(isinstance(zone["skipped"], dict) for zone in summary["zones"].values())
    assert isinstance(summary["zones"]["z0"]["hose_l_h"], float)
    assert isinstance(summary["hub"]["wakes"], int)


@pytest.mark.parametrize("count", [0, 65])
def test_other_numbers_of_grounds_are_refused(tmp_path: Path, count: int) -> None:
    with pytest.raises(ValueError, match="allowed: 1 to 64"):
        replay_house(house(), weather(), tmp_path, grounds=count)


def test_summed_leaves_out_what_is_not_known() -> None:
    middle: Line = {"a": {"unrest_pct": 1.0, "skipped": {"rain": 2}}}
    found: list[Line] = [
        {"a": {"unrest_pct": value, "skipped": {}}} for value in (None, 10.0, 20.0)
    ]
    assert summed(found, middle) == {
        "a": {"unrest_pct": {"p10": 11.0, "p50": 15.0, "p90": 19.0}, "skipped": {"rain": 2}}
    }
    nothing: list[Line] = [{"a": {"unrest_pct": None, "skipped": {}}}]
    assert summed(nothing, middle)["a"]["unrest_pct"] == {"p10": None, "p50": None, "p90": None}


def test_figures_are_rounded_by_their_names() -> None:
    found = rounded("", {"level_pf": {"p50": 3.71239}, "tilt_pct": -0.01, "runs": 3, "x": None})
    assert found == {"level_pf": {"p50": 3.712}, "tilt_pct": 0.0, "runs": 3, "x": None}
    assert str(found["tilt_pct"]) == "0.0"


def test_valves_that_turn_again_on_another_ground_water_it_as_the_hub_would() -> None:
    """To the last bit, with meters and hoses that fill."""
    made = house()
    supplies = [SupplyPart(vars(one) | {"meter": 1}) for one in made.plan.supplies]
    plan = Plan(made.plan.hub, supplies, made.plan.zones, made.plan.rows, made.plan.bans)
    strips = tuple(replace(one, hose_l=4.0, drain_l_h=2.0) for one in made.strips)
    made = replace(made, plan=plan, strips=strips)
    stay = stay_of(weather(), date(2021, 3, 1), date(2021, 5, 30))
    sky, by_hour, climate = weather_of(made, stay, 1)
    case = Case(made, sky.start_s, by_hour, stay.months, climate, 1)
    first, other = judged(sides_of(made), -20.0, None, 2)
    moves = moves_of(case, live_on(case, first))
    assert set(moves) == {"calendar", "hub_alone"}
    lived, again = live_on(case, other), live_on(replace(case, moves=moves), other)
    assert again.mass_balance_error_mm == lived.mass_balance_error_mm
    for name in moves:
        assert again.ways[name].lived.devices is None and lived.ways[name].litres.any()
        for part in ("litres", "seconds", "water"):
            assert np.array_equal(getattr(again.ways[name], part), getattr(lived.ways[name], part))
        for found, wanted in zip(again.ways[name].record, lived.ways[name].record, strict=True):
            assert np.array_equal(found, wanted)


def test_ways_that_learn_of_ground_or_hoses_do_not_turn_again() -> None:
    """Nor does a meter's hub where so little may flow that it takes it for none."""
    made = house()
    _, calendar, alone, _ = policies(made)
    assert learns_nothing(calendar, made.strips) and learns_nothing(alone, made.strips)
    assert not learns_nothing(replace(alone, plan=None), made.strips)
    assert not learns_nothing(replace(alone, owner=made.owner), made.strips)
    plan = made.plan
    zones = [ZonePart(vars(one) | {"probe": 1}) for one in plan.zones]
    probed = Plan(plan.hub, plan.supplies, zones, plan.rows, plan.bans)
    assert not learns_nothing(replace(alone, plan=probed), made.strips)
    rows = [RowPart(vars(one) | {"run_ml": 5000}) for one in plan.rows]
    by_litres = Plan(plan.hub, plan.supplies, plan.zones, rows, plan.bans)
    assert not learns_nothing(replace(alone, plan=by_litres), made.strips)
    supplies = [SupplyPart(vars(one) | {"meter": 1}) for one in plan.supplies]
    metered = replace(alone, plan=Plan(plan.hub, supplies, plan.zones, plan.rows, plan.bans))
    assert learns_nothing(metered, made.strips)
    trickles = [replace(one, flow_l_h=20.0) for one in made.strips]
    assert not learns_nothing(metered, trickles) and learns_nothing(alone, trickles)
