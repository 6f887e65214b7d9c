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
from evenclay.controller.limits import ZONES_MAX
from evenclay.sim.house.devices import Heard
from evenclay.sim.house.standing import SectionGround, stand
from evenclay.sim.judge.measures import measure
from evenclay.sim.judge.policies import hub_of
from evenclay.sim.judge.weigh import place_on, record_of, targets_pf
from evenclay.sim.judge.years import OF_LIFE, SETTLED_SEED, alarms_of
from evenclay.sim.replay.lived import live
from evenclay.sim.replay.stay import sky_of
from evenclay.sim.types import Line
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.hourly import hourly
from evenclay.tools.plan import sweep as sweeping
from evenclay.tools.plan import sweep_summary, workers
from evenclay.tools.plan.sweep import Life, Record, Sweep
from evenclay.tools.plan.workers import SweepError, cores
from evenclay.tools.property.property import parse
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
            row |= {"weather": life.record.name, "seed": life.seed, "ground": life.ground}
            row |= {"life": life.part + 1, "year": year}
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
    return list(sweeping._lives(variant, record, 1, 0, 0))


def test_a_record_is_cut_into_lives_at_fixed_years() -> None:
    days = (datetime.date(2003, 7, 1) - datetime.date(1940, 3, 1)).days
    lives = lives_of(datetime.date(1940, 3, 1), days)
    assert [(life.part, life.year, life.years) for life in lives] == [
        (0, 1940, 25),
        (1, 1965, 25),
        (2, 1990, 13),
    ]
    end = datetime.date(1940, 3, 1)
    for life in lives:
        stay = life.stay()
        assert stay.weather.first_day == end  # not a day is left out, or lived twice
        assert (end.month, end.day) in ((3, 1), (2, 28), (2, 29))
        assert stay.climate.days == days
        end += datetime.timedelta(days=stay.weather.days)
    assert end == datetime.date(2003, 3, 1)


def test_a_short_record_has_its_only_year() -> None:
    (life,) = lives_of(datetime.date(2021, 1, 1), 500)
    assert (life.year, life.years) == (2021, 1)
    assert life.stay().weather.days == 365


def test_less_than_a_year_is_refused() -> None:
    record = flat(datetime.date(2021, 1, 1), 364)
    prop = parse(sweeps.HOUSE, "small.toml")
    with pytest.raises(SweepError, match="r: found 364 days, allowed at least a year"):
        sweeping.ask([prop], [], ["r"], lambda *_: record, range(1, 2), 0)


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
    first, again = lives[0].stay(), lives[1].stay()
    assert first.weather.days == again.weather.days  # 2001 to 2025 both
    assert not np.array_equal(first.weather.rain_mm, again.weather.rain_mm)
    assert np.array_equal(first.climate.rain_mm, again.climate.rain_mm)  # they settled in the same
    assert sum(sweep.records[key].weather.days for key in sweep.records) == 2191


@pytest.mark.parametrize("batch_years", [1, 7, 50, 1000])
def test_tasks_hold_whole_lives_and_enough_years(batch_years: int) -> None:
    sweep = replace(sweeps.small(years=30, seeds=5), batch_years=batch_years)
    lives = [life for task in sweep.tasks for life in task]
    assert lives == [life for task in replace(sweep, batch_years=1).tasks for life in task]
    counts = [sum(life.years for life in task) for task in sweep.tasks]
    assert all(count >= batch_years for count in counts[:-1])
    assert sum(counts) == 2 * 5 * 30


def test_every_seed_lives_on_every_ground() -> None:
    sweep = replace(sweeps.small(seeds=2), grounds=2)
    lives = [life for task in sweep.tasks for life in task if life.variant.number == 1]
    assert [(life.seed, life.ground) for life in lives] == [(1, 1), (1, 2), (2, 1), (2, 2)]
    house = lives[0].variant.house(lives[0].record)
    first, second = (life.ground_of(house) for life in lives[:2])
    assert first != second == lives[3].ground_of(house)
    middle = replace(lives[0], ground=0).ground_of(house)
    assert middle not in (first, second)


def test_years_add_up_to_the_replay() -> None:
    """Year by year in little memory, or in one go: the same to the last digit that is shown."""
    variant = sweeps.small().variants[1]
    record = Record("demo.csv", sweeps.weather("demo.csv", 32.4), None)
    (life,) = sweeping._lives(variant, record, 1, 0, 0)
    assert (life.year, life.years) == (2017, 6)
    rows = sweeping.live_through([life], sweeping.code_digest())
    house, stay = variant.house(record), life.stay()
    ground = life.ground_of(house)
    sky, by_hour = sky_of(house, stay, 1)
    standing = stand(house, ground, hourly(stay.climate, SETTLED_SEED))
    dry = SectionGround(standing, by_hour, sky.start_s)
    dry.catch_up(sky.start_s + 3600 * sky.hours)
    unwatered, place = record_of(dry), place_on(house, ground)
    target_pf = targets_pf(house, standing, unwatered.strip_pf)
    lived = live(SectionGround(standing, by_hour, sky.start_s), hub_of(house), sky, seed=1)
    judged = measure(record_of(lived.ground), unwatered, target_pf, place, 0, years_least=1)
    assert [row["year"] for row in rows] == list(range(2017, 2023))
    for name in OF_LIFE:
        value = getattr(judged, name)
        expected = None if np.isnan(value) else round(value, 1)
        assert {row[f"life_{name}"] for row in rows} == {expected}, name
    assert judged.unrest_pct > 0.0 and np.isnan(judged.tilt_pct)  # of one side
    watered = sum(row["movement_pf_m"] + row["tilt_pf_m"] for row in rows)
    alone = sum(row["movement_unwatered_pf_m"] + row["tilt_unwatered_pf_m"] for row in rows)
    assert 100.0 * watered / alone == pytest.approx(judged.unrest_pct, abs=0.1)
    assert sum(row["days_on_target"] for row in rows) / 6 == pytest.approx(judged.days_on_target)
    assert all(row["days_on_target"] + row["days_dry"] + row["days_wet"] >= 365 for row in rows)
    litres = sum(row["litres"] for row in rows)
    assert litres == pytest.approx(lived.ground.litres().sum(), abs=0.3)
    opened = [event for event in lived.events_of(0) if event[0] == events.OPENED]
    assert sum(row["runs"] for row in rows) == len(opened) > 500
    assert all(row["litres"] > 1000 for row in rows)


def test_alarms_are_counted_where_they_belong() -> None:
    told = [
        (events.ALARM, 1, events.NO_FLOW),
        (events.ALARM, 1, events.PROBE),
        (events.ALARM, -1, events.LOST_CLOCK),
        (events.ALARM, ZONES_MAX, events.LEAK),
        (events.CLEARED, 1, events.NO_FLOW),
        (events.OPENED, 0, events.PLANNED),
    ]
    heard = [Heard(0, (*event, 0, 0, 1, 0, 0), 0) for event in told]
    assert alarms_of(heard, 2) == ([0, 2], 2)


def test_batches_change_nothing(tmp_path: Path) -> None:
    one = run(sweeps.small(seeds=2), tmp_path / "a")
    other = run(replace(sweeps.small(seeds=2), batch_years=50), tmp_path / "b")
    assert one.equals(other)
    assert one.height == 2 * 2 * 2
    assert one["movement_pf_m"].n_unique() > 4
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
        (replace(sweeps.small(), grounds=2), "grounds"),
        (sweeps.small(vary="soil.texture=clay,loam"), "variants"),
    ):
        with pytest.raises(SweepError, match=f"found another sweep, with other {named}; allowed"):
            run(other, tmp_path)
    for damaged in ("{", "[]", "1", '"seeds"'):
        (tmp_path / "sweep.json").write_text(damaged)
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
    assert [line.endswith(" left") for line in told[1:]] == [True] * 5 + [False]
    (tmp_path / "parts" / "00001.parquet").unlink()
    told.clear()
    run(sweeps.small(), tmp_path, told)
    assert told[0] == "12 years to live through, 10 of them done before"


# Summed up.


def row_of(year: int, zone: str, **values: float | None) -> dict[str, Any]:
    row: dict[str, Any] = dict.fromkeys(sweeping.MEASURES, 0)
    row |= {"variant": 1, "property": "p", "weather": "w", "seed": 1, "ground": 0, "life": year}
    return row | {"year": year, "zone": zone, "litres": 500.0} | values


def test_the_summary_by_hand() -> None:
    def moved(watered: float, alone: float) -> dict[str, float]:
        return {"movement_pf_m": watered, "movement_unwatered_pf_m": alone}

    first = {"tilt_pf_m": 0.1, "tilt_unwatered_pf_m": 0.2, "life_unrest_pct": 50.0}
    second = {"tilt_pf_m": 0.3, "tilt_unwatered_pf_m": 0.2, "life_unrest_pct": 100.0}
    second |= {"house_alarms": 2, "life_days_soaked": 4.0}
    years = pl.DataFrame(
        [
            row_of(1, "a", **moved(0.2, 0.4), **first, days_on_target=100),
            row_of(1, "b", **moved(0.4, 0.4), **first, days_on_target=200),
            row_of(2, "a", **moved(0.1, 0.6), **second, alarms=1),
            row_of(2, "b", **moved(0.5, 0.6), **second),
        ],
        schema=dict.fromkeys(sweeping.MEASURES, pl.Float64)
        | {"variant": pl.Int64, "property": pl.String, "weather": pl.String, "seed": pl.Int64}
        | {"ground": pl.Int64, "life": pl.Int64, "year": pl.Int64, "zone": pl.String},
    )
    (found,) = sweep_summary.summary(years, []).to_dicts()
    assert (found["years"], found["lives"]) == (2, 2)
    # Movement is the mean of the zones: 0.3 and 0.3 of 0.4 and 0.6; tilt 0.1 and 0.3 of 0.2 twice.
    assert found["unrest_pct"] == pytest.approx(100 * 1.0 / 1.4)
    assert found["worst_zone_pct"] == pytest.approx(100 * 0.9 / 1.0)
    assert found["unrest_p90_pct"] == pytest.approx(95.0)
    assert found["days_soaked_p50"] == 2.0
    assert found["days_on_target"] == pytest.approx(75.0)
    assert found["litres_a_year"] == 1000.0
    assert found["litres_deviation"] == 0.0
    assert found["alarms_a_year"] == pytest.approx((0 + 3) / 2)


def test_ground_that_does_not_move_has_no_percent() -> None:
    years = pl.DataFrame([row_of(1, "a", life_unrest_pct=None)])
    (found,) = sweep_summary.summary(years, []).to_dicts()
    assert found["unrest_pct"] is None and found["unrest_p90_pct"] is None
    assert found["worst_zone_pct"] is None


def test_cores_are_those_we_may_use() -> None:
    assert 1 <= cores() <= 4096
