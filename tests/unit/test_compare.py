"""Comparisons: lives, judging, figures over grounds, tables, and the command."""

import json
import re
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from evenclay.controller.plan import Plan, RowPart
from evenclay.sim.house.house import Owner
from evenclay.sim.judge import compare, informed, verdict
from evenclay.sim.judge.compare import Judged, Life, Outcome
from evenclay.sim.judge.measures import Measures, Place, Start, Sums
from evenclay.sim.judge.policies import bare_plan, compared, probed, reference_plan
from evenclay.sim.replay.stay import stay_of
from evenclay.sim.types import Floats
from evenclay.sim.units import METRIC, US
from evenclay.sim.weather.daily import Weather
from evenclay.tools.cli import commands as cli
from evenclay.tools.plan import compare as comparing
from evenclay.tools.plan import compare_summary, compare_tables
from evenclay.tools.plan.compare import Found, Job
from evenclay.tools.plan.compare_summary import summary
from evenclay.tools.plan.names import names_of
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import Means
from evenclay.tools.property.plan_ranges import check_plan
from evenclay.tools.property.property import load
from tests.houses import make_house, row
from tests.published.test_replays import record

MEANS = Means([4.0] * 12, [1.5] * 12)
DEMO = Path(__file__).parents[2] / "sim" / "demo"
GROUNDS = 2


# Policies.


def test_each_policy_differs_from_the_one_before_in_what_it_is_named_for() -> None:
    owner = Owner(checks=False, weekday=2, misses_pct=10.0)
    each = [{}, {"probe": 1, "sensor": 2}, {}]
    house = make_house(owner=owner, zones=3, each_zone=each, hub={"estimate": 1})
    of = {policy.name: policy for policy in compared(house)}
    plans = {name: policy.plan for name, policy in of.items()}
    assert plans["none"] is None
    bare, alone, one, own = (
        plans[name] for name in ("calendar", "hub_alone", "hub_sensor", "hub_sensors")
    )
    assert bare is not None and alone is not None and one is not None and own is not None
    assert bare.pack() == bare_plan(house.plan).pack()
    assert bare.hub.estimate == 0 and alone.hub is one.hub is own.hub is house.plan.hub
    heard = [[(zone.probe, zone.sensor) for zone in plan.zones] for plan in (alone, one, own)]
    assert heard[0] == [(0, 0)] * 3
    assert heard[1] == [(0, 2), (1, 2), (0, 2)]  # the one that has a probe speaks for all
    assert heard[2] == [(1, 1), (1, 2), (1, 3)]
    for plan in (one, own):
        check_plan(plan)
    checked = of["hub_checked"]
    assert checked.plan is not None and checked.plan.pack() == alone.pack()
    assert checked.owner == replace(owner, checks=True, check="sample")
    assert [name for name, policy in of.items() if policy.owner] == ["hub_checked"]
    assert all(strip.probe for strip in probed(house).strips)


def test_a_bare_calendar_reads_nothing_but_the_meter_that_ends_its_runs() -> None:
    plan = compile_house(load(DEMO / "property.toml")).plan
    assert [supply.meter for supply in plan.supplies] == [0, 1]
    bare = bare_plan(plan)
    assert [supply.meter for supply in bare.supplies] == [0, 0]
    assert bare.hub.poll_s > 6 * plan.hub.poll_s and bare.hub.watch_s > 6 * plan.hub.watch_s
    litres = [RowPart(vars(row_) | {"run_ml": 90_000}) for row_ in plan.rows]
    by_litres = bare_plan(Plan(plan.hub, plan.supplies, plan.zones, litres, plan.bans))
    assert [supply.meter for supply in by_litres.supplies] == [0, 1]
    assert by_litres.hub.watch_s == plan.hub.watch_s


def test_the_usual_calendar_has_its_cycles_and_is_the_same_for_every_zone() -> None:
    """Common practice, no source: 629 cycles and 7,830 minutes a year, if a day's cap allows."""
    plan = reference_plan(make_house(zone={"share_pct": 160}).plan)
    plan.pack()
    assert [zone.share_pct for zone in plan.zones] == [100, 100]
    days = {5: 61, 7: 77, 9: 46, 11: 181}  # from 1 May, 1 July, 16 September, 1 November
    assert sum(row_.cycles * days[row_.month] for row_ in plan.rows) == 629
    minutes = sum(row_.cycles * row_.run_s // 60 * days[row_.month] for row_ in plan.rows)
    assert minutes == 7830


# Lives.


@pytest.mark.parametrize("years", [1, 4, 32, 33, 34, 66, 67, 90])
def test_years_are_shared_out_evenly_and_none_is_lost(years: int) -> None:
    parts = compare._shared(years, compare.YEARS_MOST)
    lengths = [until - first for first, until in parts]
    assert sum(lengths) == years and max(lengths) <= compare.YEARS_MOST
    assert max(lengths) - min(lengths) <= 1
    assert [first for first, _ in parts] == [0, *(until for _, until in parts[:-1])]


def test_a_record_and_invented_years_are_lived_for_26_years_at_least() -> None:
    house = make_house(zones=1)
    lives = compare.lives_of(house, "seattle", record("seattle"), 40, 1)
    assert [life.invented for life in lives] == [False, True, True]
    assert [life.lived_years for life in lives] == [26, 26, 26]
    assert [life.stay.asked_days // 365 for life in lives] == [4, 20, 20]
    assert len({life.stay.weather.rain_mm[:60].sum() for life in lives}) == 3
    assert len({life.index for life in lives}) == 1  # grounds are of the record's climate


# Judging.

PLACE = Place((0.0, 0.3, 1.0), 0.0, 1.0, ("north", "south"))
YEAR = np.arange(3 * 365 + 1) / 365.25
WAVE = np.cos(2.0 * np.pi * YEAR)


def outcome(
    swing: tuple[float, float],
    *,
    first: int | None = None,
    soaked: bool = False,
    relief_pf: float | None = None,
) -> Outcome:
    """Two edges that swing by so much either way; 10 litres a day and zone from a day on."""
    edge = 4.0 + WAVE[:, None] * np.array(swing)
    litres = np.zeros(edge.shape)
    if first is not None:
        litres[first:] = 10.0
    days = np.full(edge.shape, soaked)
    return Outcome(Sums(edge, np.full(len(edge), 4.0), ~days, days), litres, relief_pf)


def life_of(years: int) -> Life:
    still = np.zeros(365)
    weather = Weather(date(2021, 1, 1), still, still, still, still, 40.0, ())
    return Life("w", False, stay_of(weather, years=years), 0.0, 1, years)


def judged(**ways: Sequence[Outcome]) -> dict[str, Judged]:
    return compare.judge(life_of(3), PLACE, {"none": [outcome((0.5, 0.4))], **ways})


def test_a_young_house_is_judged_from_what_it_began_with() -> None:
    """Two edges that began 0.3 wetter than they are in the mean, and an inside that did not."""
    young = replace(outcome((0.5, 0.4)), start=Start(np.array([3.7, 3.7]), 4.0))
    hub = [outcome((0.25, 0.2), first=60)]
    found = compare.judge(life_of(3), PLACE, {"none": [young], "hub": hub})["none"].measures
    settled = judged(hub=hub)["none"].measures
    assert found.shift_inside_pct == pytest.approx(100.0 * 0.3 / 0.9, abs=0.5)
    assert settled.shift_inside_pct == pytest.approx(0.0, abs=0.5)
    assert found.unrest_pct == settled.unrest_pct


@pytest.mark.parametrize("years", [1, 2.5, 3])
def test_months_are_those_of_the_weather_however_often_it_is_lived(years: float) -> None:
    still = np.zeros(365)
    weather = Weather(date(2021, 1, 1), still, still, still, still, 40.0, ())
    stay = stay_of(weather, years=years)
    months = stay.months
    assert len(months) == stay.weather.days and months[0] == 1
    assert set(np.diff(months).tolist()) <= {0, 1, -11}
    assert (months[364], months[180]) == (12, 6)
    assert (months[365:730] == months[: len(months[365:730])]).all()
    rolled = stay_of(weather, date(2021, 8, 1), date(2021, 12, 31), years=1)
    assert set(rolled.months.tolist()) == {8, 9, 10, 11, 12}


def test_unrest_is_movement_and_tilt_beside_leaving_it_alone() -> None:
    """Ranges of 1.0 and 0.8 and of their difference 0.2; then half of all that."""
    found = judged(hub=[outcome((0.25, 0.2), first=60)])
    assert found["none"].measures.unrest_pct == pytest.approx(100.0)
    assert found["hub"].measures.unrest_pct == pytest.approx(50.0, abs=0.1)
    assert found["hub"].measures.movement_pct == pytest.approx(50.0, abs=0.1)


def test_all_ways_are_judged_from_the_earliest_of_their_first_watered_days() -> None:
    found = judged(early=[outcome((0.2, 0.2), first=30)], late=[outcome((0.2, 0.2), first=90)])
    assert [one.measures.years for one in found.values()] == [2, 2, 2]
    assert found["early"].litres.tolist() == [20.0 * 365, 20.0 * 365]
    assert found["late"].litres.tolist() == [20.0 * (365 - 60), 20.0 * 365]


def test_a_first_watering_late_in_the_record_leaves_the_years_that_are_asked_for() -> None:
    found = judged(hub=[outcome((0.2, 0.2), first=800)])
    assert found["hub"].measures.years == 2


def test_informed_takes_the_best_relief_that_keeps_every_limit() -> None:
    reliefs = [
        outcome((0.4, 0.3), first=60, relief_pf=0.2),
        outcome((0.3, 0.25), first=60, relief_pf=0.4),
        outcome((0.1, 0.1), first=60, relief_pf=0.6, soaked=True),
    ]
    found = judged(informed=reliefs)["informed"]
    assert found.relief_pf == 0.4
    assert found.measures.unrest_pct == pytest.approx(60.0, abs=5.0)


def test_informed_leaves_a_ground_alone_on_which_no_relief_keeps_its_limits() -> None:
    found = judged(informed=[outcome((0.1, 0.1), first=60, relief_pf=0.2, soaked=True)])["informed"]
    assert found.relief_pf is None and found.litres.sum() == 0.0
    assert found.measures.unrest_pct == pytest.approx(100.0)


# Figures over grounds.


def found_of(*ways: tuple[str, Sequence[Outcome]], price: float | None = None) -> Found:
    """One way each in two grounds; the second ground swings twice as much unwatered."""
    house = replace(make_house(zones=2), water_price_m3=price, currency="$")
    job = Job(house, life_of(3), MEANS)
    dry = [outcome((0.5, 0.4)), outcome((1.0, 0.8))]
    told = [outcome((0.2, 0.2), first=60, relief_pf=0.4)]
    grounds = [
        compare.judge(
            job.life,
            PLACE,
            {"none": [dry[n]], **{name: [each[n]] for name, each in ways}, "informed": told},
        )
        for n in range(GROUNDS)
    ]
    return Found(job, np.array([3.0, 3.2]), grounds)


def weather_of(*ways: tuple[str, Sequence[Outcome]], price: float | None = None) -> Any:
    found = summary([found_of(*ways, price=price)], 1, "0")
    json.dumps(found, allow_nan=False)
    assert found["schema"] == 3 and found["grounds"] == GROUNDS
    return found["weathers"][0]


HALF = [outcome((0.25, 0.2), first=0), outcome((0.25, 0.2), first=0)]


def test_quantiles_are_over_the_grounds() -> None:
    way = weather_of(("hub_alone", HALF))["ways"]["hub_alone"]
    assert way["by_ground"]["unrest_pct"] == [50.0, 25.0]
    assert way["unrest_pct"] == {"p10": 27.5, "p50": 37.5, "p90": 47.5}
    assert way["verdict"] == "water" and way["broken"] == []


def test_skill_is_the_part_of_informed_s_gain() -> None:
    """Informed leaves 0.4 of 1.1 and of 2.2, and the way 0.55 of both."""
    skill = weather_of(("hub_alone", HALF))["ways"]["hub_alone"]["skill"]
    first, second = (1.1 - 0.55) / (1.1 - 0.4), (2.2 - 0.55) / (2.2 - 0.4)
    assert skill["p50"] == pytest.approx((first + second) / 2.0, abs=0.01)
    assert skill["counts"] and skill["grounds"] == 2


def test_skill_does_not_count_where_a_limit_is_broken_and_the_limit_is_named() -> None:
    soaked = [outcome((0.25, 0.2), first=0, soaked=True)] * 2
    weather = weather_of(("hub_alone", soaked))
    way = weather["ways"]["hub_alone"]
    assert way["broken"] == ["days_soaked"] and not way["skill"]["counts"]
    assert way["sentences"] == ["365 soaked days a year (allowed: 15)"]
    lines = compare_tables.sentences_of(weather)
    assert lines[0].startswith('Leave it alone. "hub alone" comes nearest, with 365 soaked days')
    assert lines[1].startswith('"hub alone" breaks limits: 365 soaked')


def test_unrest_of_the_ninetieth_ground_is_a_limit_for_all_but_the_yardstick() -> None:
    calm = [outcome((0.5, 0.4), first=0)] * 2
    ways = weather_of(("hub_alone", calm))["ways"]
    assert ways["hub_alone"]["broken"] == [verdict.UNREST]
    assert ways["informed"]["verdict"] is None and "verdict" not in ways["none"]


def test_water_has_a_price_where_the_property_says_so() -> None:
    litres = 20.0 * 365.25 * 0.999
    way = weather_of(("hub_alone", HALF), price=2.0)["ways"]["hub_alone"]
    assert way["litres_a_year"]["p50"] == pytest.approx(litres, rel=0.01)
    assert way["money_a_year"]["p50"] == pytest.approx(2.0 * litres / 1000.0, rel=0.01)
    assert "money_a_year" not in weather_of(("hub_alone", HALF))["ways"]["hub_alone"]


@pytest.mark.parametrize(
    ("grounds", "where"),
    [
        (1, " (allowed: 85)"),
        (2, " near the worst of these few grounds (allowed: 85)"),
        (9, " near the worst of these few grounds (allowed: 85)"),
        (10, " at the ninetieth of a hundred grounds (allowed: 85)"),
    ],
)
def test_few_grounds_have_no_ninetieth_of_a_hundred(grounds: int, where: str) -> None:
    one = measures_with(unrest_pct=88.0)
    assert compare_summary._sentence(verdict.UNREST, [one] * grounds) == "unrest of 88 %" + where


def measures_with(**values: float) -> Measures:
    return replace(judged()["none"].measures, **values)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("between", "inside", "pct", "year"),
    [(50.0, -80.0, 80.0, 7), (90.0, -80.0, 90.0, 3), (np.nan, 20.0, 20.0, 7)],
)
def test_the_larger_of_both_shifts_is_shown_with_its_year(
    between: float, inside: float, pct: float, year: int
) -> None:
    one = measures_with(
        shift_between_pct=between,
        shift_between_year=3,
        shift_inside_pct=inside,
        shift_inside_year=7,
    )
    assert one.shift_pct == pct
    assert one.shift_year == year


def test_what_has_no_meaning_is_null_and_a_dash() -> None:
    found = found_of(("hub_alone", HALF))
    still = measures_with(unrest_pct=np.nan, tilt_pct=np.nan, movement_pct=np.nan)
    ground = {name: replace(one, measures=still) for name, one in found.grounds[0].items()}
    whole = summary([replace(found, grounds=[ground, ground])], 1, "0")
    way = whole["weathers"][0]["ways"]["hub_alone"]
    assert way["unrest_pct"] == {"p10": None, "p50": None, "p90": None}
    assert way["broken"][0] == verdict.UNREST and "unknown" in way["sentences"][0]
    tables = compare_tables.tables_of(whole, whole["weathers"][0], METRIC)
    assert list(tables[0].columns[1].cells)[1] == "-! (---)"


def test_notes_say_what_invented_years_leave_out() -> None:
    plain = found_of(("hub_alone", HALF))
    invented = replace(plain, job=replace(plain.job, life=replace(plain.job.life, invented=True)))
    assert not any("droughts" in note for note in compare_summary._notes([plain]))
    for many, found in ((False, [replace(plain, grounds=plain.grounds[:1])]), (True, [plain])):
        assert any("ninetieth" in note for note in compare_summary._notes(found)) == many
        assert any("between the few" in note for note in compare_summary._notes(found)) == many
    sixteen = replace(plain, grounds=[*plain.grounds] * 8)
    assert not any("between the few" in note for note in compare_summary._notes([sixteen]))
    both = compare_summary._notes([plain, invented])
    assert any("understates droughts" in note for note in both)
    assert any("common practice, no source" in note for note in both)
    kinds = [part[0].job.life.invented for part in compare_summary.parts_of([plain, invented])]
    assert kinds == [False, True]


def test_a_row_for_each_way_ground_and_year() -> None:
    rows = compare_summary.rows_of([found_of(("hub_alone", HALF))])
    assert len(rows) == 3 * GROUNDS * 3  # three years
    assert {line["way"] for line in rows} == {"none", "hub_alone", "informed"}
    one = next(line for line in rows if line["way"] == "hub_alone" and line["ground"] == 2)
    assert one["change_pf_m"] == pytest.approx(0.55, abs=0.01)
    assert one["unwatered_pf_m"] == pytest.approx(2.2, abs=0.01)


# The whole, without processes.


class Inline(Executor):
    """Does each task at once."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> "Future[Any]":
        future: Future[Any] = Future()
        future.set_result(fn(*args, **kwargs))
        return future


@cache
def small() -> tuple[list[Found], list[str]]:
    """Two zones in two years of a hot place, on two grounds."""
    rows = [
        row(month=4, cycles=2, run_s=600, start_min=1200, length_min=600),
        row(month=11, cycles=0, run_s=0),
    ]
    house = probed(make_house(zones=2, owner=Owner(), rows=rows, hub={"frost": 0}))
    weather = record("tunis").span(date(1989, 1, 1), date(1990, 12, 31))
    (life,) = compare.lives_of(house, "tunis", weather, 0, 1, years=2)
    told: list[str] = []
    return comparing.run([Job(house, life, MEANS)], [], GROUNDS, Inline(), told.append), told


def test_a_comparison_from_end_to_end() -> None:
    found, told = small()
    assert told[0] == "48 years to live through"  # of two grounds: 7 ways, and informed 5 times
    assert re.fullmatch(r"(\d+) of \1 years", told[-1])
    whole = summary(found, 1, "0")
    json.dumps(whole, allow_nan=False)
    ways = whole["weathers"][0]["ways"]
    assert list(ways) == [name for name in compare_tables.NAMES if name != "hub"]
    assert ways["none"]["unrest_pct"] == {"p10": 100.0, "p50": 100.0, "p90": 100.0}
    assert ways["none"]["litres_a_year"]["p90"] == 0.0 < ways["calendar"]["litres_a_year"]["p10"]
    assert all(0.0 <= way["days_on_target"]["p50"] <= 365.0 for way in ways.values())
    assert len(ways["informed"]["relief_pf"]) == GROUNDS
    tables = compare_tables.tables_of(whole, whole["weathers"][0], METRIC)
    assert [len(table.rows) for table in tables] == [8, 8]
    from evenclay.tools.plan.compare_picture import drawn

    assert drawn(whole, US).startswith(b"\x89PNG")


def test_grounds_differ_and_the_same_ground_is_the_same_again() -> None:
    (found,), _ = small()
    job, (first, second) = found.job, found.grounds
    assert first["calendar"].measures.unrest_pct != second["calendar"].measures.unrest_pct
    ground = compare.grounds_of(job.house, job.life, 1)[0]
    dry, bare = (policy for policy in compared(job.house) if policy.name in ("none", "calendar"))
    ways = {
        policy.name: compare.lived(job.house, job.life, ground, policy, found.target_pf)
        for policy in (dry, bare)
    }
    again: Floats = ways["calendar"][0].litres
    assert again.sum() > 1000.0
    reliefs = [one.relief_pf for one in compare.told(job.house, job.life, ground)]
    assert reliefs == list(informed.RELIEFS_PF)


@pytest.mark.parametrize(
    ("option", "value", "allowed"),
    [
        ("--grounds", "0", "a whole number, 1 to 64"),
        ("--grounds", "65", "a whole number, 1 to 64"),
        ("--years", "91", "a whole number, 0 to 90"),
    ],
)
def test_numbers_out_of_range_are_refused(
    tmp_path: Path, option: str, value: str, allowed: str
) -> None:
    house, weather = str(DEMO / "property.toml"), str(DEMO / "weather.csv")
    out_dir = tmp_path / "o"
    args = ("compare", house, "--weather", weather, "--out", str(out_dir), option, value)
    code, out, err = run(*args)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1 and allowed in err
    assert not out_dir.exists()


def run(*args: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(cli.app, list(args))
    return result.exit_code, result.stdout, result.stderr


def test_another_house_s_plan_is_refused_in_one_line(tmp_path: Path) -> None:
    text = (DEMO / "property.toml").read_text("utf-8")
    other = tmp_path / "other.toml"
    other.write_text(text.replace("zones.west", "zones.left"), "utf-8")
    weather = str(DEMO / "weather.csv")
    house = str(DEMO / "property.toml")
    code, out, err = run(
        "compare", house, "--weather", weather, "--plan", str(other), "--out", str(tmp_path / "o")
    )
    assert (code, out) == (2, "")
    assert err.splitlines() == [
        f"{other}: found zones left, east, north, front, allowed those of the house: "
        "west, east, north, front"
    ]


@pytest.mark.parametrize(
    ("more", "line"),
    [
        (("--weather", str(DEMO / "weather.csv")), "--weather: found {0} twice, allowed each once"),
        (
            ("--plan", str(DEMO / "property.toml"), "--plan", str(DEMO / "." / "property.toml")),
            f"--plan: found {DEMO / 'property.toml'} twice, allowed each once",
        ),
    ],
)
def test_what_could_not_be_told_apart_is_refused_in_one_line(
    tmp_path: Path, more: tuple[str, ...], line: str
) -> None:
    house, weather = str(DEMO / "property.toml"), str(DEMO / "weather.csv")
    args = ("compare", house, "--weather", weather, "--out", str(tmp_path / "o"))
    code, out, err = run(*args, *more)
    assert (code, out) == (2, "")
    assert err.splitlines() == [line.format(weather)]


def test_a_record_of_less_than_a_year_is_refused_in_one_line(tmp_path: Path) -> None:
    lines = (DEMO / "weather.csv").read_text("utf-8").splitlines()[:200]
    short = tmp_path / "short.csv"
    short.write_text("\n".join(lines), "utf-8")
    house = str(DEMO / "property.toml")
    code, out, err = run("compare", house, "--weather", str(short), "--out", str(tmp_path / "o"))
    assert (code, out) == (2, "")
    assert err.count("\n") == 1 and "allowed at least a year" in err


def test_plans_of_another_file_stand_beside_with_its_name(tmp_path: Path) -> None:
    text = (DEMO / "property.toml").read_text("utf-8")
    other = tmp_path / "spring.toml"
    other.write_text(text.replace("minutes = 12", "minutes = 9"), "utf-8")
    job = comparing.jobs_of(load(DEMO / "property.toml"), [("seattle", record("seattle"))], 0, 1)[0]
    found = comparing.policies_of(job, [load(other)])[-2:]
    assert [policy.name for policy in found] == ["calendar spring", "hub spring"]
    shown = [compare_tables.name_of(policy.name) for policy in found]
    assert shown == ["own calendar; spring", "hub as it stands; spring"]
    calendar, hub = (policy.plan for policy in found)
    assert calendar is not None and calendar.rows[0].run_s == 540
    assert hub is not None and hub.rows[0].run_s == 540
    assert hub.hub.rain_kind != calendar.hub.rain_kind and hub.zones[0].probe


@pytest.mark.parametrize(
    ("files", "names"),
    [
        (["spring.toml"], ["spring"]),
        (["a/p.toml", "b/p.toml", "spring.toml"], ["a/p", "b/p", "spring"]),
        (["x/a/p.toml", "y/a/p.toml", "y/b/p.toml"], ["x/a/p", "y/a/p", "b/p"]),
        (["a/p.toml", "p.toml"], ["a/p", "{here}/p"]),
        (["p.toml", "p.txt"], ["p.toml", "p.txt"]),
    ],
)
def test_plans_are_called_by_what_tells_their_files_apart(
    tmp_path: Path, files: list[str], names: list[str]
) -> None:
    found = names_of("--plan", [str(tmp_path / file) for file in files])
    assert found == [name.format(here=tmp_path.name) for name in names]
