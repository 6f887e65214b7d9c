"""Sweeps: what is lived through, in which tasks; stopped at any step, resumed, and summed up."""

import datetime
import json
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from evenclay.controller import events
from evenclay.sim.house.columns import Columns, dry_of
from evenclay.sim.judge.policies import policies
from evenclay.sim.judge.score import STATES, judge
from evenclay.sim.judge.season import climate
from evenclay.sim.judge.years import whole_years, years_of
from evenclay.sim.replay.life import live
from evenclay.sim.replay.span import sky_of, span_of
from evenclay.sim.types import Line
from evenclay.sim.weather.record import Weather
from evenclay.tools.plan import sweep as sweeping
from evenclay.tools.plan import sweep_summary, workers
from evenclay.tools.plan.sweep import Life, Record, Sweep
from evenclay.tools.plan.workers import SweepError, cores
from tests import sweeps


def run(sweep: Sweep, out: Path, told: list[str] | None = None) -> pl.DataFrame:
    """A sweep in this process."""
    out.mkdir(exist_ok=True)
    lines: list[str] = [] if told is None else told
    with ThreadPoolExecutor(1) as executor:
        return sweeping.run(sweep, out, executor, 1, lines.append)


def made_up(task: Sequence[Life], code: str) -> list[Line]:
    """Rows as a task gives them, without living through anything."""
    rows: list[Line] = []
    for life in task:
        for year in range(life.year, life.year + life.years):
            row: dict[str, Any] = dict.fromkeys(sweeping.MEASURES, 1)
            row |= {"variant": life.variant.number, "property": life.variant.file, "zone": "west"}
            row |= {"weather": life.record.name, "seed": life.seed, "year": year}
            rows.append(row | life.variant.values | {"litres": float(life.chance % 1000 + year)})
    return rows


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Life, ...]]:
    """Tasks that take no time; the list of those that were done."""
    done: list[tuple[Life, ...]] = []

    def work(task: tuple[Life, ...], code: str) -> list[Line]:
        done.append(task)
        return made_up(task, code)

    monkeypatch.setattr(sweeping, "live_through", work)
    return done


# What is lived through.


def flat(first_day: datetime.date, days: int) -> Weather:
    still = np.zeros(days)
    return Weather(first_day, still, still + 10.0, still + 20.0, still + 3.0, 32.4, ())


def lives_of(first_day: datetime.date, days: int) -> list[Life]:
    variant = sweeps.small().variants[0]
    record = Record("r", flat(first_day, days), None)
    return list(sweeping._lives(variant, record, 1, 0))


def test_a_record_is_cut_into_lives_at_fixed_years() -> None:
    days = (datetime.date(2003, 7, 1) - datetime.date(1940, 3, 1)).days
    lives = lives_of(datetime.date(1940, 3, 1), days)
    assert [(life.part, life.year, life.years) for life in lives] == [
        (0, 1941, 25),
        (1, 1966, 25),
        (2, 1991, 12),
    ]
    for life in lives:
        span = life.span()
        assert (span.first_day.month, span.first_day.day) == (3, 1)
        assert span.first_day.year == life.year
        assert span.spin_up_days in (365, 366)  # the record's own year before it
        assert len(whole_years(span.first_day, span.scored_days)) == life.years + 1
    assert lives[-1].span().weather.last_day == datetime.date(2003, 2, 28)


def test_a_short_record_scores_its_only_year() -> None:
    (life,) = lives_of(datetime.date(2021, 1, 1), 500)
    assert (life.year, life.years) == (2021, 1)
    assert life.span().scored_days == 365
    with pytest.raises(SweepError, match="r: found 364 days, allowed at least a year"):
        lives_of(datetime.date(2021, 1, 1), 364)


def test_invented_years_are_lives_of_their_own_seeds() -> None:
    sweep = sweeps.small(years=60, seeds=2)
    lives = [life for task in sweep.tasks for life in task]
    assert [(life.seed, life.year, life.years) for life in lives[:6]] == [
        (1, 1, 25),
        (1, 26, 25),
        (1, 51, 10),
        (2, 1, 25),
        (2, 26, 25),
        (2, 51, 10),
    ]
    assert lives[0].chance == 1
    assert len({life.chance for life in lives[:6]}) == 6
    first, again = lives[0].span(), lives[1].span()
    assert first.scored_days == again.scored_days  # 2002 to 2026 both
    assert not np.array_equal(first.weather.rain_mm, again.weather.rain_mm)
    assert sum(sweep.records[key].weather.days for key in sweep.records) == 2191


@pytest.mark.parametrize("batch_years", [1, 7, 50, 1000])
def test_tasks_hold_whole_lives_and_enough_years(batch_years: int) -> None:
    sweep = replace(sweeps.small(years=30, seeds=5), batch_years=batch_years)
    lives = [life for task in sweep.tasks for life in task]
    assert lives == [life for task in replace(sweep, batch_years=1).tasks for life in task]
    counts = [sum(life.years for life in task) for task in sweep.tasks]
    assert all(count >= batch_years for count in counts[:-1])
    assert sum(counts) == 2 * 5 * 30


def test_years_add_up_to_the_replay() -> None:
    """Year by year in little memory, or in one go: the same to the last digit that is shown."""
    variant = sweeps.small().variants[1]
    weather = sweeps.weather("demo.csv", 32.4)
    house = variant.house(Record("demo.csv", weather, None))
    span = span_of(weather)
    season = climate(house, weather, span, 1)
    rows = years_of(house, span, season, 1)
    sky, by_hour = sky_of(house, span, 1)
    hub = policies(house)[-1]
    dry = dry_of(house.strips, by_hour)
    lived = live(
        Columns(house.strips, dry, sky.start_s), hub, sky, seed=1, scored_days=span.scored_days
    )
    judged = judge(lived, by_hour.rain_mm, span.spin_up_days, season)
    assert [row["year"] for row in rows] == [0, 1, 2, 3, 4]
    for name, count in (judged.counts() | judged.counts("year_")).items():
        assert sum(row[name] for row in rows) == count, name
    assert len({name for name in rows[0] if name.startswith("days_")}) == len(STATES)
    assert sum(row["litres"] for row in rows) == pytest.approx(judged.days.litres.sum(), abs=0.3)
    opened = [event for event in lived.scored_events(0) if event[0] == events.OPENED]
    assert sum(row["runs"] for row in rows) == len(opened) > 500
    assert all(row["litres"] > 1000 for row in rows)


def test_batches_change_nothing(tmp_path: Path) -> None:
    one = run(sweeps.small(seeds=2), tmp_path / "a")
    other = run(replace(sweeps.small(seeds=2), batch_years=50), tmp_path / "b")
    assert one.equals(other)
    assert one.height == 2 * 2 * 2
    assert one["swing_pf"].n_unique() > 4
    keys = one.select("variant", "soil.texture", "weather", "seed", "year", "zone").rows()
    assert keys == [
        (variant, texture, "demo.csv", seed, year, "west")
        for variant, texture in ((1, "clay"), (2, "silty clay"))
        for seed in (1, 2)
        for year in (1, 2)
    ]
    again = pl.read_parquet(tmp_path / "a" / "years.parquet")
    assert again.equals(one) and list(again.columns) == list(sweeps.small().columns)


def test_another_version_of_the_code_is_refused() -> None:
    with pytest.raises(SweepError, match="another version"):
        sweeping.live_through(sweeps.small().tasks[0], "of yesterday")


# Stopped and resumed.


class Killed(BaseException):
    """The process ends here: nothing that follows is done."""


def test_killed_at_every_step_it_loses_and_repeats_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, quick: list[tuple[Life, ...]]
) -> None:
    """A kill before and after each file is moved into its place, until none is left to hit."""
    sweep = sweeps.small(seeds=2)
    unbroken = run(sweep, tmp_path / "unbroken")
    wanted = (tmp_path / "unbroken" / "years.parquet").read_bytes()
    move = Path.replace
    moves = len(quick) + 2  # the definition, a part a task, the result
    for kill_at in range(2 * moves):
        calls = 0

        def moved(self: Path, target: Path, kill_at: int = kill_at) -> Path:
            nonlocal calls
            calls += 1
            if kill_at == 2 * (calls - 1):
                raise Killed
            found = move(self, target)
            if kill_at == 2 * (calls - 1) + 1:
                raise Killed
            return found

        out = tmp_path / str(kill_at)
        quick.clear()
        with monkeypatch.context() as patched:
            patched.setattr(Path, "replace", moved)
            with pytest.raises(Killed):
                run(sweep, out)
        finished = {path: path.stat() for path in sorted((out / "parts").glob("*.parquet"))}
        quick.clear()
        assert run(sweep, out).equals(unbroken)
        assert (out / "years.parquet").read_bytes() == wanted
        assert len(quick) == len(sweep.tasks) - len(finished)
        for path, before in finished.items():
            assert (path.stat().st_ino, path.stat().st_mtime_ns) == (
                before.st_ino,
                before.st_mtime_ns,
            )


@pytest.mark.parametrize("damage", [b"", b"PAR1", b"not parquet at all"])
def test_a_part_that_is_not_whole_is_done_again(
    tmp_path: Path, quick: list[tuple[Life, ...]], damage: bytes
) -> None:
    run(sweeps.small(), tmp_path)
    wanted = (tmp_path / "years.parquet").read_bytes()
    (tmp_path / "parts" / "00003.parquet").write_bytes(damage)
    (tmp_path / "years.parquet").unlink()
    quick.clear()
    run(sweeps.small(), tmp_path)
    assert quick == [sweeps.small().tasks[2]]
    assert (tmp_path / "years.parquet").read_bytes() == wanted


def test_a_folder_of_another_sweep_is_refused(
    tmp_path: Path, quick: list[tuple[Life, ...]]
) -> None:
    run(sweeps.small(), tmp_path)
    for other, named in (
        (sweeps.small(seeds=4), "seeds"),
        (sweeps.small(years=3), "years"),
        (sweeps.small(vary="soil.texture=clay,loam"), "variants"),
    ):
        with pytest.raises(SweepError, match=f"found another sweep, with other {named}; allowed"):
            run(other, tmp_path)
    (tmp_path / "sweep.json").write_text("{")
    with pytest.raises(SweepError, match="found another sweep"):
        run(sweeps.small(), tmp_path)
    assert len(quick) == 6


def test_the_definition_says_what_the_result_depends_on(
    tmp_path: Path, quick: list[tuple[Life, ...]]
) -> None:
    run(sweeps.small(), tmp_path)
    found = json.loads((tmp_path / "sweep.json").read_text("utf-8"))
    assert [variant["values"] for variant in found["variants"]] == [
        {"soil.texture": "clay"},
        {"soil.texture": "silty clay"},
    ]
    assert found["code"] == sweeping.code_digest()
    weather = sweeps.weather("demo.csv", 32.4)
    other = replace(weather, rain_mm=weather.rain_mm + 0.1)
    assert Record("x", weather, None).digest != Record("x", other, None).digest
    assert Record("x", weather, None).digest == found["weather"][0]["sha256"]


def test_progress_tells_years_done_and_time_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, quick: list[tuple[Life, ...]]
) -> None:
    monkeypatch.setattr(workers, "SHOWN_S", 0.0)
    told: list[str] = []
    run(sweeps.small(), tmp_path, told)
    assert told[0] == "12 years to live through"
    assert [line.split(";")[0] for line in told[1:]] == [
        f"{done} of 12 years" for done in (2, 4, 6, 8, 10, 12)
    ]
    assert told[-1].endswith("; 0:00:00 left")
    (tmp_path / "parts" / "00001.parquet").unlink()
    told.clear()
    run(sweeps.small(), tmp_path, told)
    assert told[0] == "12 years to live through, 10 of them done before"


# Summed up.


def test_the_summary_by_hand() -> None:
    def row(year: int, zone: str, in_band: int, dry: int, rain_wet: int) -> dict[str, Any]:
        values: dict[str, Any] = dict.fromkeys(sweeping.MEASURES, 0)
        values |= {"variant": 1, "property": "p", "weather": "w", "seed": 1, "year": year}
        values |= {"zone": zone, "season_days": 100, "days_in_band": in_band, "days_dry": dry}
        return values | {"days_rain_wet": rain_wet, "litres": 500.0, "unevenness_pf": 0.1 * year}

    years = pl.DataFrame(
        [
            row(1, "a", 90, 10, 0),
            row(1, "b", 60, 20, 20),
            row(2, "a", 100, 0, 0),
            row(2, "b", 70, 30, 0),
        ]
    )
    (found,) = sweep_summary.summary(years, []).to_dicts()
    assert found["years"] == 2
    assert found["in_band_pct"] == pytest.approx(100 * 320 / 380)
    assert found["worst_zone_pct"] == pytest.approx(100 * 130 / 180)
    assert found["worst_year_pct"] == pytest.approx(100 * 150 / 180)
    assert found["year_in_20_pct"] == pytest.approx(150 / 1.8 + 0.05 * (85 - 150 / 1.8))
    assert found["dry_pct"] == pytest.approx(100 * 60 / 380)
    assert found["litres_a_year"] == 1000.0
    assert found["litres_deviation"] == 0.0
    assert found["unevenness_pf"] == pytest.approx(0.15)


def test_a_zone_without_season_days_has_no_share() -> None:
    values: dict[str, Any] = dict.fromkeys(sweeping.MEASURES, 0)
    values |= {"variant": 1, "property": "p", "weather": "w", "seed": 1, "year": 1, "zone": "a"}
    (found,) = sweep_summary.summary(pl.DataFrame([values]), []).to_dicts()
    assert found["in_band_pct"] is None
    assert found["worst_zone_pct"] is None


def test_cores_are_those_we_may_use() -> None:
    assert 1 <= cores() <= 4096
