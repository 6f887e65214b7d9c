"""`evenclay propose`, on a small house with little weather: what it writes, tells and draws."""

import json
import re
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from matplotlib.figure import Figure
from rich.console import Console
from typer.testing import CliRunner

from evenclay.sim.ground.plausible import searched
from evenclay.sim.judge import verdict
from evenclay.sim.judge.verdict import Verdict
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.record import read
from evenclay.tools.cli import commands as cli
from evenclay.tools.plan import workers
from evenclay.tools.plan.proposal import page, table
from evenclay.tools.plan.proposal import propose as tool
from evenclay.tools.plan.proposal.propose import Proposal
from evenclay.tools.plan.proposal.study import Kept
from evenclay.tools.property.advice import cautions
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import guessed
from evenclay.tools.property.property import load
from tests.unit.small_house import GOOD

DEMO = Path(__file__).parents[2] / "sim" / "demo"
RELIEFS_PF = (0.1, 0.3)
GROUNDS = 2
US = GOOD.replace("latitude = 33", 'latitude = 33\nunits = "us"').replace(
    "[[seasons]]", "[water]\nprice = 5\n\n[[seasons]]", 1
)
for old, new in (
    ("flow = 20\n", 'flow = "5 gal/min"\n'),
    ("length = 20\n", 'length = "66 ft"\n'),
    ("flow = 6, pressure = 75", 'flow = "0.5 gal/h/ft", pressure = "11 psi"'),
    ("price = 5", 'price = 5\nper = "ccf"'),
):
    assert old in US
    US = US.replace(old, new)
METRIC_WORDS = re.compile(r"\d ?(mm|cm|m|m3|l|litres|kPa|L)\b")
US_WORDS = re.compile(r"\d ?(in|gal|ft|ccf)\b")
KEYS = [
    "schema",
    "verdict",
    "limit",
    "would_change",
    "relief_pf",
    "unrest_pct",
    "tilt_pct",
    "shift_pct",
    "excursion_pct",
    "days_soaked",
    "litres_a_year",
    "grounds",
    "held_out_years",
    "levels_pf",
    "levels_trust",
    "model_error_pf",
    "reliefs",
    "rows",
]


class Serial(Executor):
    """Runs each task as it is asked for."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **named: Any) -> "Future[Any]":
        future: Future[Any] = Future()
        future.set_result(fn(*args, **named))
        return future


@contextmanager
def small_study() -> Iterator[None]:
    """Few grounds, reliefs and years, in this process."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tool, "RELIEFS_PF", RELIEFS_PF)
        patch.setattr(tool, "SEARCHED_YEARS", 2)
        patch.setattr(tool, "JUDGED_YEARS", 2)
        patch.setattr(tool, "searched", lambda *args: searched(*args)[:GROUNDS])

        @contextmanager
        def processes(count: int) -> Iterator[tuple[Executor, int]]:
            yield Serial(), count

        patch.setattr(workers, "processes", processes)
        yield


class Made(NamedTuple):
    """What the command made: exit status, what it printed, and its folder."""

    status: int
    out: str
    err: str
    folder: Path
    found: Proposal


def run(*args: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(cli.app, list(args))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def short_weather(folder: Path) -> Path:
    """Two years of the demo's record."""
    lines = (DEMO / "weather.csv").read_text("utf-8").splitlines()
    file = folder / "weather.csv"
    file.write_text("\n".join(lines[: 1 + 730]) + "\n", "utf-8")
    return file


def asked(folder: Path, text: str, out: str) -> list[str]:
    """What to type."""
    house = folder / "house.toml"
    house.write_text(text, "utf-8")
    weather = str(short_weather(folder))
    grounds = str(GROUNDS)
    where = str(folder / out)
    return ["propose", str(house), "--weather", weather, "--grounds", grounds, "--out", where]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """A house in the US's units, once."""
    folder = tmp_path_factory.mktemp("propose")
    kept: list[Proposal] = []
    propose = tool.propose
    with small_study(), pytest.MonkeyPatch.context() as patch:

        def keeping(*args: Any, **named: Any) -> Proposal | None:
            found = propose(*args, **named)
            assert found is not None
            kept.append(found)
            return found

        patch.setattr(tool, "propose", keeping)
        status, out, err = run(*asked(folder, US, "first"))
    return Made(status, out, err, folder / "first", kept[0])


# The command.


def test_it_writes_three_files_and_says_where(made: Made) -> None:
    assert made.status == 0
    names = {file.name for file in made.folder.iterdir()}
    assert names == {"property.toml", "proposal.json", "plan.png"}
    for name in ("property.toml", "plan.png"):
        assert str(made.folder / name) in made.out.replace("\n", "")
    assert (made.folder / "plan.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")


def test_the_property_is_read_checked_and_reckons(made: Made) -> None:
    prop = load(made.folder / "property.toml")
    assert prop.estimate.relief == made.found.relief_pf and prop.estimate.yard is not None
    for zone in prop.zones.values():
        assert zone.ground is not None and zone.ground.target_pf <= zone.ground.level_pf
    assert made.found.house.plan.hub.estimate == 1
    status, _, err = run("check", str(made.folder / "property.toml"))
    assert (status, err) == (0, "")


def test_a_board_obeys_the_plan_that_was_judged(made: Made) -> None:
    """Though it is compiled without the record: the file has each season's means."""
    prop = load(made.folder / "property.toml")
    without = compile_house(prop, guessed(prop.site.latitude)).plan
    assert without.pack() == made.found.house.plan.pack()
    assert all(row.rain_um > 0 and row.demand_um > 0 for row in without.rows)


def test_the_file_says_what_came_of_judging(made: Made) -> None:
    prop = load(made.folder / "property.toml")
    assert prop.estimate.verdict == made.found.verdict.word
    first = [
        next(iter(cautions(prop.model_copy(update={"estimate": estimate}), made.found.house.plan)))
        for word in ("leave", "water", None)
        for estimate in [prop.estimate.model_copy(update={"verdict": word})]
    ]
    assert "leave the house as it is" in first[0]
    assert not any("leave the house as it is" in each for each in first[1:])


def test_the_same_bytes_come_out_again(made: Made) -> None:
    with small_study():
        assert run(*asked(made.folder.parent, US, "second"))[0] == 0
    second = made.folder.parent / "second"
    for file in made.folder.iterdir():
        assert (second / file.name).read_bytes() == file.read_bytes(), file.name


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["date,rain_mm,tmin_c,tmax_c"], "weather.csv"),
        (["nothing of the kind"], "weather.csv"),
        (["date,rain_mm,tmin_c,tmax_c", "2019-01-01,0,1,9", "2019-01-02,0,1,9"], "2 days"),
    ],
)
def test_bad_weather_is_one_line(tmp_path: Path, lines: Sequence[str], said: str) -> None:
    args = asked(tmp_path, GOOD, "out")
    (tmp_path / "weather.csv").write_text("\n".join(lines) + "\n", "utf-8")
    status, out, err = run(*args)
    assert (status, out) == (2, "")
    assert len(err.strip().splitlines()) == 1 and said in err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "wrong", [["--rows", "1"], ["--rows", "25"], ["--grounds", "0"], ["--grounds", "65"]]
)
def test_options_beyond_their_bounds_are_refused(tmp_path: Path, wrong: list[str]) -> None:
    status, out, err = run(*asked(tmp_path, GOOD, "out"), *wrong)
    assert (status, out) == (2, "") and wrong[0] in err


def test_where_no_table_fits_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tool, "propose", lambda *_, **__: None)
    status, out, _ = run(*asked(tmp_path, GOOD, "out"), "--processes", "1")
    assert status == 1 and "No table fits" in out and not (tmp_path / "out").exists()


def test_soaked_ground_gets_no_water_and_the_house_is_left(tmp_path: Path) -> None:
    """Twelve millimetres of rain each day: no strip ever lacks anything, and percents of a ground
    that never moves mean nothing."""
    args = asked(tmp_path, GOOD, "out")
    file = tmp_path / "weather.csv"
    head, *lines = file.read_text("utf-8").splitlines()
    wet = [f"{line.split(',')[0]},12.0,6.0,11.0" for line in lines]
    file.write_text("\n".join([head, *wet]) + "\n", "utf-8")
    with small_study():
        status, out, _ = run(*args)
    assert status == 0 and out.startswith("Verdict: leave")
    prop = load(tmp_path / "out" / "property.toml")
    assert [season.count for season in prop.seasons] == [0]
    said = json.loads((tmp_path / "out" / "proposal.json").read_text("utf-8"))
    assert said["litres_a_year"] == 0 and said["unrest_pct"]["p50"] is None


# What it says.


def test_the_picture_says_house_years_and_verdict(
    made: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[str] = []
    save = Figure.savefig

    def savefig(figure: Figure, *args: Any, **named: Any) -> None:
        assert figure.get_suptitle()
        drawn.append(figure.get_suptitle())
        save(figure, *args, **named)

    monkeypatch.setattr(Figure, "savefig", savefig)
    assert page.drawn(made.found) == (made.folder / "plan.png").read_bytes()
    said = " ".join(drawn[0].split())
    assert said.startswith(f"The most that each zone is given: {made.found.house.name} Verdict: ")
    assert f"Judged on {GROUNDS} grounds, in {made.found.held_out_years}." in said
    unrest = verdict.over_grounds([one.measures for one in made.found.held_out], "unrest_pct")
    assert f"Unrest {unrest.p50:.0f} ({unrest.p10:.0f} to {unrest.p90:.0f})" in said


def test_the_json_has_its_keys_and_they_agree(made: Made) -> None:
    said = json.loads((made.folder / "proposal.json").read_text("utf-8"))
    assert list(said) == KEYS
    assert said["schema"] == 1 and said["verdict"] in ("water", "leave")
    assert said["grounds"] == GROUNDS
    for name in ("unrest_pct", "tilt_pct", "shift_pct", "excursion_pct", "days_soaked"):
        low, mid, high = (said[name][share] for share in ("p10", "p50", "p90"))
        assert low <= mid <= high, name
    assert [one["relief_pf"] for one in said["reliefs"]] == list(RELIEFS_PF)
    assert said["relief_pf"] in RELIEFS_PF
    chosen = next(one for one in said["reliefs"] if one["relief_pf"] == said["relief_pf"])
    passing = [one for one in said["reliefs"] if not one["limits"]]
    assert (said["verdict"] == "water") == bool(passing)
    assert not passing or not chosen["limits"]
    assert len(said["limit"]) == len(said["would_change"])
    assert list(said["levels_pf"]) == ["west", "east"] and len(said["model_error_pf"]) == 3
    assert all(0.0 < error < 0.3 for error in said["model_error_pf"])
    prop = load(made.folder / "property.toml")
    written = [("{:02}-{:02}".format(*s.begins), s.count, s.minutes or 0) for s in prop.seasons]
    assert [(r["from"], r["cycles"], r["minutes"]) for r in said["rows"]] == written


def test_the_words_name_the_verdict_the_figures_and_only_the_us_s_units(made: Made) -> None:
    lines = list(page.words(made.found))
    said = json.loads((made.folder / "proposal.json").read_text("utf-8"))
    assert lines[0].startswith("Verdict: " + said["verdict"])
    text = " ".join(lines)
    for value in page.over(made.found.held_out, "unrest_pct")[:3]:
        assert f"{value:.0f}" in text
    assert f"Judged on {GROUNDS} grounds" in text and "2 years a ground, invented" in text
    assert ", about " in text  # what the water costs
    printed = made.out
    assert not METRIC_WORDS.search(text) and not METRIC_WORDS.search(printed)
    assert US_WORDS.search(text)
    assert "written" in printed and "west pF" in printed.replace("\n", " ")


def test_each_figure_says_what_it_is_of_and_each_word_is_explained(made: Made) -> None:
    text = " ".join(made.out.split())
    count = len(next(iter(made.found.by_relief.values())))
    assert "These figures are of the plan with its seasons. Judged on" in text
    assert f"before any seasons were made: on the other {count} grounds" in text
    for term in ("Unrest: ", "Tilt: ", "Excursion: ", "Soaked days: ", "Relief: ", "pF: "):
        assert text.count(term) == 1, term
    assert "Of both, 100 is leaving the house alone" in text
    for word in ("leave", "water"):
        console = Console(width=120, record=True)
        judged = replace(made.found.verdict, word=word)
        page.show(replace(made.found, verdict=judged), console)
        said = " ".join(console.export_text().split())
        assert "`evenclay replay` shows a year" in said
        assert ("`evenclay propose` again" in said) == (word == "leave")
    limited = words_of(made.found, Verdict("leave", None, {}, (verdict.UNREST,)))
    assert f"unrest stays above {verdict.UNREST_PCT:.0f}" in limited


def test_a_metric_house_is_told_in_its_own_units(made: Made) -> None:
    found = replace(made.found, house=replace(made.found.house, units="metric"))
    text = " ".join(page.words(found))
    assert METRIC_WORDS.search(text) and not US_WORDS.search(text)


def words_of(found: Proposal, judged: Verdict) -> str:
    return " ".join(page.words(replace(found, verdict=judged)))


def test_what_limits_watering_is_said_and_what_might_change_it(made: Made) -> None:
    assert set(page.LIMITS) == {verdict.UNREST, *verdict.LIMITS} == set(verdict.WOULD_CHANGE)
    for name, words in page.LIMITS.items():
        text = words_of(made.found, Verdict("leave", None, made.found.verdict.limits, (name,)))
        assert text.startswith("Verdict: leave the house as it is.")
        assert words in text and verdict.WOULD_CHANGE[name] in text
    limits: dict[float, tuple[str, ...]] = dict.fromkeys(RELIEFS_PF, ())
    text = words_of(made.found, Verdict("water", 0.1, limits, ("days_soaked",)))
    assert text.startswith("Verdict: water, with a relief of") and "What limits" not in text


def with_measure(kept: list[Kept], **changes: Any) -> list[Kept]:
    return [replace(one, measures=replace(one.measures, **changes)) for one in kept]


def test_much_lift_is_a_word_of_caution(made: Made) -> None:
    for excursion_pct, warned in ((10.0, False), (70.0, True)):
        held_out = with_measure(made.found.held_out, excursion_pct=excursion_pct)
        text = " ".join(page.words(replace(made.found, held_out=held_out)))
        assert ("ask an engineer" in text) == warned


def test_a_house_with_one_side_has_no_tilt_and_still_a_json(made: Made) -> None:
    nothing = {"tilt_pct": np.nan, "shift_between_pct": np.nan}
    held_out = with_measure(made.found.held_out, **nothing)
    by_relief = {pf: with_measure(kept, **nothing) for pf, kept in made.found.by_relief.items()}
    found = replace(made.found, held_out=held_out, by_relief=by_relief)
    said = json.dumps(page.as_json(found), allow_nan=False)
    assert json.loads(said)["tilt_pct"] == {"p10": None, "p50": None, "p90": None}
    console = Console(width=120, record=True)
    page.show(found, console)
    text = " ".join(console.export_text().split())
    assert "nan" not in text
    assert re.search(
        r"The plan counts on \d+ % of the differences between the strips: so far", text
    )


# How it chooses.


def test_the_relief_written_moves_least_in_the_middle_where_its_worst_is_near_the_best(
    made: Made,
) -> None:
    """Half of the grounds are calmer than the other half, which tells the ninetieth."""
    kept = made.found.by_relief[RELIEFS_PF[0]]

    def of(middle_pct: float, worst_pct: float) -> list[Kept]:
        calm, harmed = (with_measure(kept, unrest_pct=pct) for pct in (middle_pct, worst_pct))
        return (calm * 16)[:8] + (harmed * 16)[:8]

    limits: dict[float, tuple[str, ...]] = {0.1: ("a",), 0.2: ("a",), 0.4: ("a",)}
    leave = Verdict("leave", None, limits, ("a",))
    near = {0.1: of(60.0, 92.0), 0.2: of(50.0, 96.0), 0.4: of(40.0, 98.0)}
    assert tool._chosen(near, leave) == 0.2  # six points are too far
    harm = {0.1: of(60.0, 98.0), 0.2: of(50.0, 100.0), 0.4: of(40.0, 101.0)}
    assert tool._chosen(harm, leave) == 0.2  # a ninetieth above 100 is harm
    all_harm = {0.1: of(60.0, 104.0), 0.2: of(50.0, 106.0), 0.4: of(40.0, 109.0)}
    assert tool._chosen(all_harm, leave) == 0.4


def test_the_relief_written_passes_if_any_does_and_moves_least(made: Made) -> None:
    kept = made.found.by_relief[RELIEFS_PF[0]]

    def of(unrest_pct: float, litres: float) -> list[Kept]:
        calm = with_measure(kept, unrest_pct=unrest_pct)
        return [replace(one, litres_a_year=litres) for one in calm]

    by_relief = {0.1: of(70.0, 1.0), 0.2: of(50.0, 2.0), 0.4: of(50.2, 1.0), 0.5: of(20.0, 9.0)}
    limits: dict[float, tuple[str, ...]] = dict.fromkeys(by_relief, ())
    limits[0.5] = ("days_soaked",)
    passing = Verdict("water", 0.2, limits, ())
    assert tool._chosen(by_relief, passing) == 0.4  # as calm as the other, with less water
    none = {0.1: ("a", "b"), 0.2: ("a",), 0.4: ("a", "b"), 0.5: ("a", "b")}
    assert tool._chosen(by_relief, Verdict("leave", None, none, ("a",))) == 0.2


@pytest.mark.parametrize(("years", "seen_years"), [(2, None), (5, None), (6, 4), (30, 20)])
def test_a_third_of_a_long_record_is_held_out(years: int, seen_years: int | None) -> None:
    lived = read(DEMO / "weather.csv", latitude_deg=33.0)
    days = [day % lived.days for day in range(round(365.25 * years))]
    record = lived.picked(date(1990, 1, 1), days)
    seen, of_grounds, names = tool.cut(record, 1, 3)
    assert len(of_grounds) == 3
    if seen_years is None:
        assert seen == record and "invented" in names
        assert {round(each.days / 365.25) for each in of_grounds} == {tool.JUDGED_YEARS}
        assert len({float(each.rain_mm.sum()) for each in of_grounds}) == 3
        return
    kept_back = of_grounds[0]
    assert all(each is kept_back for each in of_grounds)
    assert seen.days == pytest.approx(365.25 * seen_years, abs=1)
    assert seen.days + kept_back.days == record.days
    assert (kept_back.first_day - seen.last_day).days == 1
    assert names == f"{kept_back.first_day} to {record.last_day}"


def test_targets_are_drier_than_the_wettest_days_and_never_drier_than_the_level(made: Made) -> None:
    reduced = replace(made.found.reduced, wettest_pf=np.array([2.2, 3.5]))
    levels = np.array([3.6, 3.6])
    assert tool._targets(reduced, levels, 0.4).tolist() == pytest.approx([3.2, 3.5])
    assert tool._targets(reduced, levels, 2.0).tolist() == pytest.approx([2.5, 3.5])
    assert tool._targets(reduced, levels - 0.5, 0.1).tolist() == pytest.approx([3.0, 3.1])


def test_the_table_gives_the_ceiling_and_nothing_in_the_owner_s_closed_months(made: Made) -> None:
    """The owner's file is closed from November to April."""
    closed = np.array([half < 8 or half >= 20 for half in range(table.HALF_MONTHS)])
    given = page.given_mm_d(made.found)
    assert not given[closed].any() and given[~closed].any()
    assert not made.found.ceiling_mm_d[closed].any()
    caps_mm = [
        zone.cap_s / 3600.0 * strip.rate_mm_h
        for zone, strip in zip(made.found.house.plan.zones, made.found.house.strips, strict=True)
    ]
    assert np.all(given >= np.minimum(made.found.ceiling_mm_d, caps_mm) - 0.05)


def test_a_record_that_is_too_short_is_a_mistake_of_the_weather() -> None:
    still = np.zeros(200)
    record = Weather(date(2021, 1, 1), still, still, still + 9.0, still, 33.0, ())
    with pytest.raises(ValueError, match="at least 365"), small_study():
        tool.propose(
            load(DEMO / "property.toml"),
            "w.csv",
            record,
            rows=4,
            grounds=1,
            seed=1,
            executor=Serial(),
            tell=print,
        )
