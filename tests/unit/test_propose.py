"""`evenclay propose`: the owner's file, the rules it keeps, plain words where no plan will do."""

import re
import tomllib
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from evenclay.sim.judge import proposal, search
from evenclay.sim.judge import season as counting
from evenclay.sim.judge.brisk import Outcome
from evenclay.sim.judge.proposal import begin_of, half_month_of, records_of
from evenclay.sim.judge.season import climate
from evenclay.sim.replay.span import span_of
from evenclay.sim.weather.record import read
from evenclay.tools.cli.commands import app
from evenclay.tools.cli.errors import NO_PLAN
from evenclay.tools.plan.proposal import draft as propose_draft
from evenclay.tools.plan.proposal import propose
from evenclay.tools.plan.proposal import written as propose_file
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.file.schedule import Season
from evenclay.tools.property.property import load, parse
from tests.published.test_replays import record

DEMO = Path(__file__).parents[2] / "sim" / "demo"
TUNIS = Path(__file__).parents[1] / "properties" / "tunis.toml"
WEATHER = DEMO / "weather.csv"


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        app([*arguments])
    out = capsys.readouterr()
    return int(left.value.code or 0), out.out, out.err


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(search, "ZONE_YEARS", 100)
    monkeypatch.setattr(search, "BALANCED", 2)
    monkeypatch.setattr(proposal, "YEARS_MOST", 2)
    monkeypatch.setattr(proposal, "FEW_YEARS", 1)


def test_every_date_lies_in_its_half_month() -> None:
    for half in range(24):
        month, day = begin_of(half)
        assert half_month_of(month, day) == half
        assert half_month_of(month, 15 if day == 1 else 28) == half


def test_a_plan_is_written_checks_and_repeats(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    demo = DEMO / "property.toml"
    texts = []
    for name in ("a", "b"):
        out = tmp_path / name
        code, told, progress = run(
            capsys, "propose", str(demo), "--weather", str(WEATHER), "--out", str(out)
        )
        assert code == 0
        assert "held out" in told and "mm a day given for needed" in told
        assert re.search(r"plans tried: \d+ of \d+; \d:\d\d:\d\d left", progress)
        assert (out / "plan.png").stat().st_size > 10_000
        texts.append((out / "property.toml").read_bytes())
    assert texts[0] == texts[1]
    code, told, _ = run(capsys, "check", str(tmp_path / "a" / "property.toml"))
    assert code == 0
    assert "never run" not in told  # no cycle in banned hours
    assert "more mm a cycle than the ground takes" not in told
    before, after = load(demo), load(tmp_path / "a" / "property.toml")
    assert len(after.seasons) <= 6
    same = {"seasons", "zones", "trim", "lockouts"}
    assert before.model_dump(exclude=same) == after.model_dump(exclude=same)
    set_keys = {"step", "least", "most", "auto"}
    assert before.trim.model_dump(exclude=set_keys) == after.trim.model_dump(exclude=set_keys)
    of_rain = {"rain": {"skip", "most", "lock_floor"}}
    held = [prop.lockouts.model_dump(exclude=of_rain) for prop in (before, after)]
    assert held[0] == held[1]
    for name, zone in before.zones.items():
        changed = {"share", "wet_limit", "wet_release"}
        assert zone.model_dump(exclude=changed) == after.zones[name].model_dump(exclude=changed)
        limits = after.zones[name].wet_limit, after.zones[name].wet_release
        assert [limit is not None for limit in limits] == [zone.probe] * 2


SEASON = Season.model_validate(
    {"from": "05-01", "cycles": 2, "minutes": 12.5, "window": "20:00-08:00", "demand": 3.1}
)


def test_comments_of_the_owner_stay() -> None:
    text = (DEMO / "property.toml").read_text("utf-8")
    prop = parse(text, "x").model_copy(update={"seasons": [SEASON]})
    made = propose_file.written(text, prop)
    assert tomllib.loads(made)["seasons"] == [
        {"from": "05-01", "cycles": 2, "minutes": 12.5, "window": "20:00-08:00", "demand": 3.1}
    ]
    old, new = text.splitlines(), made.splitlines()
    first = old.index("[[seasons]]")
    after = next(i for i, line in enumerate(old) if line.startswith("# What holds water back."))
    assert new[:first] == old[:first]
    assert new[-len(old[after:]) :] == old[after:]


def test_seasons_in_one_list_are_written_as_one() -> None:
    text = TUNIS.read_text("utf-8")
    head, _, rest = text.partition("[[seasons]]")
    listed = (
        'seasons = [{ from = "03-01", cycles = 0 }]\n'
        + head
        + "[lockouts.rain]"
        + rest.partition("[lockouts.rain]")[2]
    )
    prop = parse(listed, "x").model_copy(update={"seasons": [SEASON]})
    assert parse(propose_file.written(listed, prop), "x").seasons == [SEASON]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            lambda text: text + '[lockouts.quiet]\nallowed_weekdays = ["mon", "thu"]\n',
            ("its cap, 120 min a day", "days a week instead of 2"),
        ),
        (
            lambda text: (
                text.replace('texture = "clay"', 'texture = "silty clay"')
                .replace("conductivity = 2\n", "")
                .replace("flow = 4,", "flow = 7.45,")
                .replace("length = 20", "length = 20\nwidth = 0.45")
                .replace("length = 18", "length = 18\nwidth = 0.45")
            ),
            ("what limits it is the clay", "0.2 mm an hour", "What would do"),
        ),
        (
            lambda text: text + '[lockouts.quiet]\nbanned_hours = ["02:00-01:00"]\n',
            ("one cycle of all zones", "what would do"),
        ),
    ],
    ids=["two days", "silty clay", "one hour"],
)
def test_impossible_sites_get_a_figure_and_no_file(
    change: object, words: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "house.toml"
    file.write_text(change(TUNIS.read_text("utf-8")), "utf-8")  # type: ignore[operator]
    out = tmp_path / "out"
    weather = ("--weather", str(WEATHER))
    code, told, _ = run(capsys, "propose", str(file), *weather, "--out", str(out))
    told = " ".join(told.split())
    assert code == NO_PLAN, told
    assert not (out / "property.toml").exists()
    for word in words:
        assert word in told


@pytest.mark.parametrize("given", [(), ("--weather", str(WEATHER), "--climate", str(WEATHER))])
def test_weather_or_climate_is_one_line(
    given: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, told = run(capsys, "propose", str(TUNIS), *given)
    assert code == 2
    assert "allowed one" in told


def test_every_third_of_the_last_years_is_held_out_and_few_are_added_to(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(proposal, "YEARS_MOST", 4)
    monkeypatch.setattr(proposal, "FEW_YEARS", 4)
    monkeypatch.setattr(proposal, "INVENTED", 1)
    prop = load(DEMO / "property.toml")
    weather = read(WEATHER, latitude_deg=prop.site.latitude)
    records = records_of(compile_house(prop), [weather], seed=1)
    assert records.searched[0].names == (2019, 2021, 2022)
    assert len(records.searched[1].names) == 1 and records.invented
    (held_out,) = records.held_out
    assert held_out.names == (2020,) and held_out.years == (1,)
    assert held_out.span.weather.last_day == date(2022, 12, 31)
    assert np.bincount(held_out.year).tolist() == [365, 366, 365, 365]
    assert not held_out.season.days[~held_out.judged].any()
    assert held_out.season.days[held_out.judged].any()


def test_years_searched_are_laid_together_and_keep_their_dates(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(proposal, "YEARS_MOST", 4)
    prop = load(DEMO / "property.toml")
    weather = read(WEATHER, latitude_deg=prop.site.latitude)
    records = records_of(compile_house(prop), [weather], seed=1)
    searched, (held_out,) = records.searched[0], records.held_out
    assert set(searched.names) | set(held_out.names) == {2019, 2020, 2021, 2022}
    assert searched.span.first_day == date(2019, 1, 1)
    assert np.bincount(searched.year).tolist() == [365, 366, 365]
    assert searched.judged.all()
    laid = searched.span.weather.rain_mm[searched.scored]
    for place, year in enumerate(searched.names):
        own = weather.span(date(year, 1, 1), date(year, 12, 31)).rain_mm
        found = laid[searched.year == place]
        assert (found[:365] == own[:365]).all()
    before = searched.span.weather.rain_mm[: searched.span.spin_up_days]
    assert (before == weather.span(date(2018, 1, 1), date(2018, 12, 31)).rain_mm).all()


def test_years_searched_are_judged_by_the_whole_record_s_season(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Tunis's last years are hotter, and lengthen the season; a few of them are held out."""
    monkeypatch.setattr(proposal, "YEARS_MOST", 15)
    prop = load(TUNIS)
    house, weather = compile_house(prop), record("tunis")
    (searched,) = records_of(house, [weather], seed=1).searched
    year = searched.names[0]
    span = span_of(weather, date(year, 1, 1), date(year, 12, 31))
    season = climate(house, weather, span, 1)
    assert (searched.season.days[:365] == season.days[:365]).all()
    assert searched.season.note == season.note


def test_a_row_may_begin_earlier_but_not_where_another_does() -> None:
    draft = propose_draft.Draft((0, 8, 20), (1.0, 9.0, 3.0), 0.7, (100.0,))
    moved = draft.shifted(0, -1)
    assert moved is not None
    assert (moved.begins, moved.minutes) == ((8, 20, 23), (9.0, 3.0, 1.0))
    assert draft.shifted(1, 12) is None


def test_a_supply_too_weak_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "house.toml"
    file.write_text(TUNIS.read_text("utf-8").replace("flow = 14", "flow = 1.2"), "utf-8")
    code, _, told = run(
        capsys, "propose", str(file), "--weather", str(WEATHER), "--out", str(tmp_path / "out")
    )
    assert code == 2
    assert "what the supply gives, 1.2 L/min" in told


def test_windows_keep_clear_of_banned_hours() -> None:
    text = TUNIS.read_text("utf-8") + '[lockouts.quiet]\nbanned_hours = ["06:00-19:00"]\n'
    plan = compile_house(parse(text, "x")).plan
    for start, length in propose_draft.windows_min(plan):
        minutes = np.arange(start, start + length) % 1440
        assert not np.any((minutes >= 360) & (minutes < 1140))


# Zones with a probe.


def demo_tables() -> propose_draft.Tables:
    """The demo's, but that the third zone has no probe."""
    before, north = (DEMO / "property.toml").read_text("utf-8").split("[zones.north]")
    prop = parse(f"{before}[zones.north]{north.replace('probe = true', '', 1)}", "the demo")
    tables = propose_draft.Tables(prop, compile_house(prop), [5.0] * 12, np.zeros(4))
    assert tables.probed.tolist() == [True, True, False, True]
    return tables


def need_of_mm(mm_d: float, high_mm_d: float) -> proposal.Need:
    """A need in the second half of July, and half of it in all other half-months; 0 in winter."""
    of_year = np.repeat([0.0, 0.5, 0.0], (6, 14, 4))
    of_year[13] = 1.0
    asked, high = (np.outer(of_year, np.full(4, mm)) for mm in (mm_d, high_mm_d))
    return proposal.Need(0.75, asked, asked / 2.0, high, np.zeros(24), np.zeros(4))


def test_a_probe_s_zone_is_given_what_nine_years_in_ten_need_as_far_as_rules_allow() -> None:
    tables = demo_tables()
    plain, ample, most = (
        propose_draft.draft_of(tables, need_of_mm(2.0, high), rows=6) for high in (2.0, 3.0, 99.0)
    )
    times = np.array(ample.share_pct) / plain.share_pct
    assert times[[0, 1, 3]] / times[2] == pytest.approx(1.5, rel=0.01)
    assert most == plain


def test_rows_follow_the_zones_without_a_probe() -> None:
    need = need_of_mm(2.0, 2.0)
    need.mm_d[:, 2] = np.roll(need.mm_d[:, 2], 2)  # the one without
    begins = propose_draft.draft_of(demo_tables(), need, rows=3).begins
    alone = propose_draft.draft_of(demo_tables(), need_of_mm(2.0, 2.0), rows=3).begins
    assert sorted(begins) == sorted((begin + 2) % 24 for begin in alone)


def test_what_a_probe_s_zone_needs_in_rare_years_is_no_limit() -> None:
    tables, need = demo_tables(), need_of_mm(2.5, 14.0)
    assert propose.limit_of(tables, propose_draft.draft_of(tables, need, 6), need) is None
    need = need_of_mm(14.0, 14.0)
    found = propose.limit_of(tables, propose_draft.draft_of(tables, need, 6), need)
    assert found is not None and found.half_month == 13 and found.share < 0.96


def test_balance_counts_days_too_wet_only_where_no_probe_holds_back() -> None:
    """Two days, a row each, the first zone 0.5 pF too wet and the second too dry by as much."""
    season = counting.Season(np.ones((2, 2), dtype=np.bool_), "")
    span: Any = SimpleNamespace(spin_up_days=0)
    year = np.zeros(2, dtype=np.int64)
    record = proposal.Record(span, season, np.array([0, 1]), year, (0,), (2001,))
    rows = [np.array([0]), np.array([1])]
    task = search.Task([record], [], lambda _: None, np.ones(4), rows, np.ones(2), False)
    pf = np.array([[2.4, 3.4], [2.4, 3.4]])
    outcome = Outcome(np.zeros((2, 2), dtype=np.int8), pf, pf, np.ones(2))
    plain, first, second, both = (
        search._shift(task, [outcome], np.array(probed)).round(6).tolist()
        for probed in ([False, False], [True, False], [False, True], [True, True])
    )
    step = search.PER_PF * 0.5
    assert plain == pytest.approx([0.0, 0.0, -step, step])
    assert first == pytest.approx([step, step, 0.0, step])  # rows by the second zone alone
    assert second == pytest.approx([-step, -step, -step, step])
    assert both == pytest.approx([step / 2.0, step / 2.0, 0.0, step])
