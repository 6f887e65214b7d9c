"""Comparisons: lives, shares, the oracle's answers, tables, and the command."""

import json
import re
from collections.abc import Callable
from concurrent.futures import Executor, Future
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from evenclay.controller.plan import AUTO_BOTH, AUTO_OFF
from evenclay.sim.house.columns import START_PF, Columns, columns_of, dry_of
from evenclay.sim.house.house import House, Owner
from evenclay.sim.judge import compare, oracle
from evenclay.sim.judge.compare import Least, Life, Outcome
from evenclay.sim.judge.policies import bare_plan, compared, probed, reference_plan, scaled_plan
from evenclay.sim.judge.score import DRY, IN_BAND, RAIN_WET, REWETTING, WET
from evenclay.sim.replay.life import Policy, live
from evenclay.sim.replay.span import sky_of, span_of
from evenclay.sim.units import METRIC, US
from evenclay.sim.weather.record import Weather
from evenclay.tools.cli import commands as cli
from evenclay.tools.plan import compare as comparing
from evenclay.tools.plan import compare_summary, compare_tables
from evenclay.tools.plan.compare import Job, Side
from evenclay.tools.plan.compare_summary import summary
from evenclay.tools.property.property import load, parse
from tests.houses import make_house, row
from tests.published.test_replays import record

ET0_MM = [4.0] * 12
DEMO = Path(__file__).parents[2] / "sim" / "demo"


# Policies.


def test_each_policy_differs_from_the_one_before_in_what_it_is_named_for() -> None:
    house = make_house(owner=Owner(), zone={"probe": 1}, hub={"auto_trim": AUTO_BOTH})
    of = {policy.name: policy for policy in compared(house)}
    plans = {name: policy.plan for name, policy in of.items()}
    assert plans["none"] is None
    bare, hub, probes = plans["calendar"], plans["hub_rain"], plans["hub_probes"]
    assert bare is not None and hub is not None and probes is not None
    assert bare.pack() == bare_plan(house.plan).pack()
    assert not any(zone.probe for zone in hub.zones) and hub.hub.auto_trim == AUTO_OFF
    assert hub.hub.rain_kind == house.plan.hub.rain_kind
    assert plans["hub_checked"] is hub and of["hub_checked"].owner == house.owner
    assert all(zone.probe for zone in probes.zones) and of["hub_probes"].owner == house.owner
    auto = of["hub_auto"]
    assert auto.plan is not None and auto.plan.hub.auto_trim == AUTO_BOTH and auto.owner is None
    assert all(strip.probe for strip in probed(house).strips)


def test_the_usual_calendar_has_its_cycles_and_is_the_same_for_every_zone() -> None:
    """Common practice, no source: 629 cycles and 7,830 minutes a year, if a day's cap allows."""
    plan = reference_plan(make_house(zone={"share_pct": 160}).plan)
    plan.pack()
    assert [zone.share_pct for zone in plan.zones] == [100, 100]
    days = {5: 61, 7: 77, 9: 46, 11: 181}  # from 1 May, 1 July, 16 September, 1 November
    assert sum(row_.cycles * days[row_.month] for row_ in plan.rows) == 629
    minutes = sum(row_.cycles * row_.run_s // 60 * days[row_.month] for row_ in plan.rows)
    assert minutes == 7830


@given(share=st.floats(0.01, 20.0))
def test_a_scaled_plan_is_one_a_hub_takes(share: float) -> None:
    plan = make_house(rows=[row(run_s=900), row(month=6, cycles=0, run_s=0)]).plan
    scaled = scaled_plan(bare_plan(plan), share)
    scaled.pack()
    assert scaled.rows[0].run_s == pytest.approx(min(900 * share, 14400), abs=1.0)


# Lives.


@pytest.mark.parametrize("years", [1, 4, 11, 12, 13, 24, 25, 37])
def test_years_are_shared_out_evenly_and_none_is_lost(years: int) -> None:
    parts = compare._shared(years)
    lengths = [until - first for first, until in parts]
    assert sum(lengths) == years and max(lengths) <= compare.LIFE_YEARS
    assert max(lengths) - min(lengths) <= 1
    assert [first for first, _ in parts] == [0, *(until for _, until in parts[:-1])]


def test_a_record_gives_its_own_years_after_the_first_and_then_invented_ones() -> None:
    house = make_house(zones=1)
    weather = record("seattle")
    lives = compare.lives_of(house, "seattle", weather, 14, 1)
    assert [life.invented for life in lives] == [False, True, True]
    assert [len(life.years) for life in lives] == [3, 7, 7]
    assert lives[0].span.first_day == date(2013, 1, 1)
    assert all(len(life.season) == life.span.scored_days for life in lives)
    rain = [life.span.weather.rain_mm[:60].sum() for life in lives]
    assert len(set(rain)) == 3  # each with a seed of its own


# Outcomes.


@cache
def small() -> tuple[House, Life]:
    """Two zones in a short record of a hot place."""
    house = make_house(zones=2, owner=Owner(), hub={"frost": 0}, strip={"coefficient": 0.7})
    weather = record("tunis").span(date(1989, 1, 1), date(1990, 12, 31))
    return house, compare.lives_of(house, "tunis", weather, 0, 1)[0]


@cache
def known() -> list[oracle.Known]:
    house, life = small()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(oracle, "WAYS", 8)
        ways = [[compare.search(house, life, z, price) for price in (3.0, 20.0)] for z in range(2)]
    return [compare.known(house, life, z, of_zone) for z, of_zone in enumerate(ways)]


def test_good_days_are_in_band_or_wetter_by_rain_alone() -> None:
    house, life = small()
    policy = Policy("hub", house.plan, None)
    outcome = compare.lived(house, life, policy)
    assert outcome.pf.shape == outcome.season.shape == (365, 2)
    good = outcome.season & np.isin(outcome.state, (IN_BAND, RAIN_WET))
    assert outcome.good_days() == good.sum(axis=0).tolist()
    assert (outcome.season & (outcome.state == RAIN_WET)).any()


@pytest.mark.parametrize("name", ["none", "calendar"])
def test_water_used_is_what_was_given_less_what_the_columns_hold_more(name: str) -> None:
    """Without a slab, over all days, and with hoses that hold nothing."""
    house, life = small()
    house = replace(house, strips=tuple(replace(strip, slab_m=None) for strip in house.strips))
    life = replace(life, span=replace(life.span, spin_up_days=0), season=np.ones((730, 2), bool))
    policy = next(one for one in compared(house) if one.name == name)
    sky, by_hour = sky_of(house, life.span, life.seed)
    made = live(Columns(house.strips, dry_of(house.strips, by_hour), sky.start_s), policy, sky)
    outcome = compare.outcome_of(life, made, by_hour.rain_mm)
    before_mm = columns_of(house.strips, START_PF).stored_mm()
    held_mm = (made.ground.columns.stored_mm() - before_mm)[2:]
    given_mm = outcome.litres.sum(axis=0) / 12.0
    assert np.all(given_mm > 100.0) == (name == "calendar")
    assert outcome.used_mm.sum(axis=0) == pytest.approx(given_mm - held_mm, abs=1e-6)


@settings(max_examples=4, phases=(Phase.generate,), deadline=None)
@given(
    minutes=st.sampled_from([3, 8, 12, 20]),
    cycles=st.integers(1, 3),
    name=st.sampled_from(["calendar", "hub_checked", "hub_rain"]),
)
def test_the_oracle_is_never_worse_than_the_policy(minutes: int, cycles: int, name: str) -> None:
    plain, life = small()
    rows = [row(cycles=cycles, run_s=60 * minutes, length_min=480)]
    house = make_house(
        zones=2, owner=Owner(), hub={"frost": 0}, strip={"coefficient": 0.7}, rows=rows
    )
    assert house.strips == plain.strips
    policy = next(one for one in compared(house) if one.name == name)
    outcome = compare.lived(house, life, policy)
    answer = compare.answer(house, life, outcome, known())
    areas = np.array([strip.area_m2 for strip in house.strips])
    least = answer.outcome
    least_mm, own_mm = least.used_mm.sum(axis=0), outcome.used_mm.sum(axis=0)
    assert all(a >= b for a, b in zip(least.good_days(), outcome.good_days(), strict=True))
    assert least_mm @ areas <= own_mm @ areas
    assert np.all(answer.possible_mm <= least_mm + 1e-6)
    assert np.all(answer.possible_mm <= own_mm + 1e-6)
    if cycles * minutes >= 24:  # far too much: the search itself must find less
        assert not answer.own and least_mm @ areas < 0.9 * own_mm @ areas


def test_where_no_schedule_keeps_so_many_days_the_policy_s_own_is_the_answer() -> None:
    house, life = small()
    outcome = compare.lived(house, life, Policy("none", None, None))
    perfect = replace(outcome, state=np.full_like(outcome.state, IN_BAND))
    answer = compare.answer(house, life, perfect, known())
    assert answer.own and answer.outcome is perfect


# Shares, and what a comparison makes of them.


def outcome_of(state: list[int], *, litres: float = 10.0, pf: float = 3.0) -> Outcome:
    """A zone in given states, 365 days of each."""
    days = np.repeat(np.array(state, dtype=np.int8), 365)[:, None]
    flat = np.full(days.shape, pf)
    total = np.full(days.shape, litres)
    return Outcome(flat, days, np.ones(days.shape, bool), total, total / 12.0)


def job_of(years: int) -> Job:
    still = np.zeros(365 * (years + 1))
    weather = Weather(date(2021, 1, 1), still, still, still, still, 40.0, ())
    span = span_of(weather, date(2022, 1, 1))
    season = np.ones((span.scored_days, 1), bool)
    return Job(make_house(zones=1), Life("w", False, span, season, 1), ET0_MM)


def test_rain_and_rewetting_are_not_judged() -> None:
    state = [IN_BAND, DRY, RAIN_WET, REWETTING, WET, IN_BAND][:2]
    shares = compare_summary.shares_of([job_of(2)], [outcome_of(state)])
    assert shares.years == [1.0, 0.0] and shares.zones == [0.5]
    assert (shares.dry, shares.wet) == (0.5, 0.0)
    apart = compare_summary.shares_of([job_of(2)], [outcome_of([IN_BAND, RAIN_WET])])
    assert apart.years[0] == 1.0 and apart.years[1] != apart.years[1] and apart.zones == [1.0]


def shares(zones: list[float], worst_year: float = 1.0) -> compare_summary.Shares:
    return compare_summary.Shares([1.0, worst_year], zones, 0.0, 0.0)


@pytest.mark.parametrize(
    ("own", "reached", "kept"),
    [
        (shares([0.95, 0.99]), shares([1.0, 1.0]), True),
        (shares([0.94, 0.99]), shares([1.0, 1.0]), False),
        (shares([0.94, 0.99]), shares([0.96, 1.0]), True),
        (shares([0.97, 0.99], 0.84), shares([1.0, 1.0]), False),
    ],
)
def test_the_band_is_kept_by_share_or_by_what_the_oracle_reaches(
    own: compare_summary.Shares, reached: compare_summary.Shares, kept: bool
) -> None:
    assert compare_summary.keeps_band(own, reached) == kept


@pytest.mark.parametrize(
    ("own_l", "least_l", "meets"),
    [(24.9, 20.0, True), (25.1, 20.0, False), (6.0, 4.7, True), (6.0, 4.6, False)],
)
def test_a_hub_is_held_to_a_ratio_or_where_water_is_little_to_a_difference(
    own_l: float, least_l: float, meets: bool
) -> None:
    """Litres a day on 12 m2: 4.9 are 150 mm a year, and 1.3 are 40 mm."""
    own, least = outcome_of([IN_BAND], litres=own_l), outcome_of([IN_BAND], litres=least_l)
    sides = [
        Side("hub_checked", [own], [Least(least, False, np.zeros(1))]),
        Side("oracle", [least]),
    ]
    found = summary([job_of(1)], sides)["recorded"]["policies"]["hub_checked"]["oracle"]
    assert found["meets"] is meets and found["keeps_band"] and found["equally_even"]
    assert found["gap_pct"] == 100.0


def test_a_hub_that_does_not_keep_the_band_is_not_held_to_anything() -> None:
    dry, good = outcome_of([DRY]), outcome_of([IN_BAND])
    sides = [Side("hub_auto", [dry], [Least(dry, True, np.zeros(1))]), Side("oracle", [good])]
    found = summary([job_of(1)], sides)["recorded"]["policies"]["hub_auto"]["oracle"]
    assert found["meets"] is None and found["own_schedules"] == 1


def test_notes_say_what_invented_years_leave_out() -> None:
    plain = job_of(1)
    invented = Job(plain.house, replace(plain.life, invented=True), ET0_MM)
    assert not any("droughts" in note for note in compare_summary._notes([plain], True))
    both = compare_summary._notes([plain, invented], False)
    assert any("understates droughts" in note for note in both)
    assert any("common practice, no source" in note for note in both)


def test_times_are_of_all_years_and_of_each() -> None:
    """12 litres a day and then 24 against 8 and 10, on 12 m2."""
    own, least = outcome_of([IN_BAND, IN_BAND]), outcome_of([IN_BAND, IN_BAND])
    own = replace(own, used_mm=np.repeat([[1.0], [2.0]], 365, axis=0))
    least = replace(least, used_mm=np.repeat([[0.8], [1.0]], 365, axis=0))
    sides = [
        Side("hub_checked", [own], [Least(least, False, np.array([365.0]))]),
        Side("oracle", [least]),
    ]
    found = summary([job_of(2)], sides)["recorded"]["policies"]["hub_checked"]["oracle"]
    assert found["times"] == round(3.0 / 1.8, 3)
    assert (found["times_of_years"]["least"], found["times_of_years"]["most"]) == (1.25, 2.0)
    assert (found["used_mm"], found["least_mm"], found["possible_mm"]) == (547.5, 328.5, 182.5)
    assert found["gap_pct"] == round(100.0 * (1.0 - 182.5 / 328.5), 1)


# The whole, without processes.


class Inline(Executor):
    """Does each task at once."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> "Future[Any]":
        future: Future[Any] = Future()
        future.set_result(fn(*args, **kwargs))
        return future


@pytest.fixture
def quick_oracle(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(oracle, "WAYS", 4)
    monkeypatch.setattr(oracle, "PRICES_MM", (20.0,))


@pytest.mark.usefixtures("quick_oracle")
def test_a_comparison_from_end_to_end(tmp_path: Path) -> None:
    house, life = small()
    told: list[str] = []
    sides = comparing.run([Job(probed(house), life, ET0_MM)], [], True, Inline(), told.append)
    names = [side.name for side in sides]
    assert names[:5] == ["none", "reference", "calendar", "calendar_checked", "calendar_scaled"]
    assert names[-1] == "oracle" and set(names) == set(compare_tables.NAMES)
    assert re.fullmatch(r"(\d+) of \1 years; 0:00:00 left", told[-1])
    of = {side.name: side.outcomes[0].litres.sum() for side in sides}
    assert of["calendar_scaled"] == pytest.approx(of["hub_checked"], rel=0.02)
    found = summary([Job(house, life, ET0_MM)], sides)
    json.dumps(found, allow_nan=False)
    for line in found["recorded"]["policies"].values():
        if "oracle" in line:
            assert line["oracle"]["least_mm"] <= line["oracle"]["used_mm"] + 0.1
            assert line["oracle"]["possible_mm"] <= line["oracle"]["least_mm"] + 0.1
    assert len(compare_tables.tables_of(found, METRIC)) == 2
    assert all(line["in_band_pct"] for line in found["recorded"]["policies"].values())
    rows = compare_summary.rows_of([Job(house, life, ET0_MM)], sides)
    assert len(rows) == len(sides) * 2
    from evenclay.tools.plan.compare_picture import drawn

    assert drawn([Job(house, life, ET0_MM)], sides, found, US).startswith(b"\x89PNG")


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
    assert [policy.name for policy in found] == ["calendar spring", "hub_probes spring"]
    shown = [compare_tables.name_of(policy.name) for policy in found]
    assert shown == ["own calendar; spring", "hub as it stands; spring"]
    probes = next(one.plan for one in compared(job.house) if one.name == "hub_probes")
    assert found[1].plan is not None and probes is not None
    assert found[1].plan.hub.auto_trim != probes.hub.auto_trim  # so it is another policy
    assert found[0].plan is not None and found[0].plan.rows[0].run_s == 540
    blind = tmp_path / "blind.toml"
    blind.write_text(re.sub("(?m)^probe = true.*$", "", text), "utf-8")
    found = comparing.policies_of(job, [load(blind)])[-2:]
    assert [policy.name for policy in found] == ["calendar blind", "hub_checked blind"]


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
    text = (DEMO / "property.toml").read_text("utf-8")
    props = [parse(text, str(tmp_path / file)) for file in files]
    assert comparing.plan_names(props) == [name.format(here=tmp_path.name) for name in names]
