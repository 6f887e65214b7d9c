"""The first screen of the report: three numbers a year, the worst side, next steps, the seasons."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from evenclay.controller.plan import Plan, RowPart, ZonePart
from evenclay.sim.report.lead import lead
from evenclay.sim.report.tables import Row, Table, held_rows, seasons_table, ways_table, zones_table
from evenclay.sim.report.year import Year, read
from evenclay.sim.units import money
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.property import load, parse
from tests.unit.test_report import change_summary, house, write_year

DEMO = Path(__file__).parents[2] / "sim" / "demo" / "property.toml"
TWO = ("north", "south wall")


@pytest.fixture
def year_with(tmp_path: Path) -> Callable[..., Year]:
    """Two zones and a year; `hub` changes the figures of the hub, `rest` those of the house."""

    def made(hub: dict[str, Any] | None = None, days: int = 365, **rest: Any) -> Year:
        top: dict[str, Any] = {
            name: rest.pop(name) for name in ("years", "grounds") if name in rest
        }
        write_year(tmp_path, TWO, days=days)

        def change(summary: dict[str, Any]) -> None:
            summary.update(top)
            summary["policies"]["hub"].update(hub or {})

        change_summary(tmp_path, change)
        return read(tmp_path, house(TWO, **rest))

    return made


@pytest.mark.parametrize(
    ("first", "last", "years"),
    [
        ("2022-01-01", "2022-12-31", 1.0),
        ("2024-01-01", "2024-12-31", 1.0),
        ("2021-07-01", "2022-06-30", 1.0),
        ("2024-02-29", "2025-02-28", 1.0),
        ("2000-01-01", "2024-12-31", 25.0),
        ("2020-01-01", "2022-07-01", 2 + 182 / 365.25),
        ("2022-01-01", "2022-12-30", 0.0),
        ("2022-05-01", "2022-05-01", 0.0),
    ],
)
def test_years_are_counted_by_the_calendar(first: str, last: str, years: float) -> None:
    days = np.arange(np.datetime64(first), np.datetime64(last) + 1)
    year = Year(house(), {}, (), days, {}, {}, [])
    assert year.years == pytest.approx(years)
    assert (year.during == "a year") == (years >= 1)


def test_three_numbers_are_those_of_a_year(year_with: Callable[..., Year]) -> None:
    """Of three years: a third of what the files sum up, in numbers and in both tables."""
    days = (date(2026, 1, 1) - date(2023, 1, 1)).days
    year = year_with(days=days, water_price_m3=2.0, currency="$")
    litres = year.summary["policies"]["hub"]["litres"] / 3
    unrest, water, cost = lead(year, 0)["numbers"]
    assert (unrest.name, unrest.value) == ("Unrest a year", "76")
    assert (water.name, water.value, water.unit) == ("Water a year", f"{litres:,.0f}", "litres")
    assert (cost.name, cost.value) == ("Cost of water a year", money(0.002 * litres, "$"))
    of_ways = {row.head: row.cells for row in ways_table(year).rows}
    assert of_ways["The hub"][-2:] == (water.value, cost.value)
    zones = {row.head: row.cells for row in zones_table(year).rows}
    for z, name in enumerate(TWO):
        found = year.summary["zones"][name]
        assert zones["Runs"][z] == f"{found['runs'] / 3:,.0f}"
        assert zones["Water, litres"][z] == f"{found['litres'] / 3:,.0f}"
        assert zones["Runs skipped"][z] == f"{found['skipped']['rain'] / 3:,.0f}"


def test_less_than_a_year_is_not_told_as_one(year_with: Callable[..., Year]) -> None:
    year = year_with(days=200)
    found = lead(year, 0)
    litres = year.summary["policies"]["hub"]["litres"]
    assert [one.name for one in found["numbers"]][1:] == [
        "Water in the 200 days",
        "Cost of water in the 200 days",
    ]
    assert found["numbers"][1].value == f"{litres:,.0f}"
    assert found["numbers"][0].value == "–" and "not known" in found["worst"]
    assert "Replay a whole year or more" in found["steps"][-1].before


def test_worst_side_is_called_by_its_name(year_with: Callable[..., Year]) -> None:
    year = year_with()
    assert lead(year, 1)["worst"].startswith(
        "No side is worse than another: each edge still moves 71"
    )
    year.summary["zones"]["north"]["movement_pct"] = 70.0
    assert lead(year, 1)["worst"].startswith("The worst side is south wall: its edge still moves")
    year.summary["zones"]["north"]["movement_pct"] = 71.0
    one = replace(year, zones=TWO[:1])
    assert lead(one, 0)["worst"].startswith("The only side is north: its edge moves 71")


@pytest.mark.parametrize(
    ("hub", "rest", "wanted", "unwanted"),
    [
        ({}, {}, ["evenclay propose", "evenclay calendar"], ["evenclay compare"]),
        ({}, {"relief_pf": 0.2}, ["evenclay compare"], ["evenclay propose"]),
        ({}, {"years": 25, "grounds": 16}, ["evenclay calendar"], ["evenclay compare"]),
        ({"unrest_pct": 112.0}, {}, ["Do not water", "evenclay propose"], ["bucket and a watch"]),
        ({"days_soaked": 31.0}, {}, ["Do not water", "evenclay propose"], ["bucket and a watch"]),
        ({"unrest_pct": 92.0}, {}, ["evenclay propose"], ["Do not water", "bucket and a watch"]),
        ({"unrest_pct": {"p10": 60.0, "p50": 80.0, "p90": 104.0}}, {"grounds": 4},
         ["surer", "soil report"], ["bucket and a watch"]),
        ({"excursion_pct": 61.0}, {}, ["Begin slowly, and ask an engineer"], []),
        ({}, {"cautions": ("one", "two")}, ["heed first: 2 points"], []),
        ({}, {"cautions": ()}, [], ["heed first"]),
        ({}, {"verdict": "leave"}, ["Leave the house as it is", "soil report", "evenclay propose"],
         ["bucket and a watch", "evenclay calendar", "heed first"]),
        ({}, {"verdict": "water"}, ["evenclay calendar"], ["Leave the house"]),
    ],
)  # fmt: skip
def test_next_steps_follow_from_the_result(
    year_with: Callable[..., Year],
    hub: dict[str, Any],
    rest: dict[str, Any],
    wanted: list[str],
    unwanted: list[str],
) -> None:
    steps = lead(year_with(hub, **rest), 0)["steps"]
    said = "\n".join(f"{one.before} {one.command} {one.after}" for one in steps)
    assert [words for words in wanted if words not in said] == []
    assert [words for words in unwanted if words in said] == []


def test_the_verdict_on_many_grounds_stands_before_what_one_replay_says(
    year_with: Callable[..., Year],
) -> None:
    """The page shows the headline up to its colon in bold."""
    said = {
        verdict: str(lead(year_with(verdict=verdict), 0)["verdict"])
        for verdict in (None, "water", "leave")
    }
    assert said[None] == said["water"] and said[None].startswith("Calmer on one guess")
    assert said["leave"].startswith("Leave the house as it is: judged on many grounds, this plan")
    assert "In this replay alone it is calmer on one guess at this ground: wat" in said["leave"]
    short = str(lead(year_with(verdict="leave", days=200), 0)["verdict"])
    assert short.startswith("Leave the house as it is:") and "help. Too short to judge" in short
    text = DEMO.read_text("utf-8")
    for word in ("leave", "water"):
        judged = text.replace("[estimate]\n", f'[estimate]\nverdict = "{word}"\n')
        assert compile_house(parse(judged, "house")).leaves == (word == "leave")


def test_season_table_is_the_plan(tmp_path: Path) -> None:
    """Minutes are the season's times the share; a day's water is all zones' of all cycles."""
    own = compile_house(load(DEMO))
    write_year(tmp_path, tuple(strip.name for strip in own.strips))
    table = seasons_table(read(tmp_path, own))
    assert table is not None and len(table.rows) == len(own.plan.rows) == 7
    july = table.rows[3]
    assert july.head == "1 Jul" and july.cells[:3] == ("3", "20:00–10:00", "22.1 min")  # 17 x 1.3
    litres = 3 * 17 / 60 * (1.3 * 88 + 0.7 * 72 + 0.6 * 80 + 0.55 * 118.8)  # L/h of each hose
    assert float(july.cells[-1]) == pytest.approx(litres, abs=1.0)
    assert table.rows[5].cells[1] == "06:30, 08:30"
    assert table.rows[6].cells[1] == "closed" and not any(table.rows[6].cells[2:])
    assert table.caption.endswith(", at most")  # the hub reckons


def test_season_table_says_that_days_are_banned(tmp_path: Path) -> None:
    own = compile_house(load(DEMO))
    plan = own.plan
    hub = type(plan.hub)(vars(plan.hub) | {"weekdays": 0b0000101})
    rows = [RowPart(vars(row)) for row in plan.rows]
    zones = [ZonePart(vars(zone)) for zone in plan.zones]
    banned = replace(own, plan=Plan(hub, plan.supplies, zones, rows, []))
    write_year(tmp_path, tuple(strip.name for strip in own.strips))
    table = seasons_table(read(tmp_path, banned))
    assert table is not None and table.caption.endswith("on days that local rules allow")


def test_what_nothing_watches_is_not_told_to_have_never_happened(tmp_path: Path) -> None:
    """Without a thermometer frost is not noticed, so nobody can say that it never came."""
    own = compile_house(load(DEMO))
    write_year(tmp_path, tuple(strip.name for strip in own.strips))
    year = read(tmp_path, own)
    for name in ("frost_h", "wet_soil_h", "rain_h", "quiet_h", "low_battery_h", "fault_h"):
        year.columns[name][:] = 0.0
    _, never = held_rows(year)
    watched = {"frost", "wet soil", "rain", "local watering rules"}
    assert watched | {"fault"} <= set(never)
    none = {"frost": 0, "rain_kind": 0, "weekdays": 127, "dates": 0, "battery": 0}
    hub = type(own.plan.hub)(vars(own.plan.hub) | none)
    zones = [ZonePart(vars(zone) | {"probe": 0}) for zone in own.plan.zones]
    blind = replace(own, plan=Plan(hub, own.plan.supplies, zones, own.plan.rows, []))
    _, never = held_rows(replace(year, house=blind))
    assert "fault" in never
    assert not (watched | {"low battery"}) & set(never)


def test_wide_tables_give_way_first() -> None:
    small = Table("", ("Month", "Rain"), [Row("Jan 2022", ("129",))])
    middle = Table("", ("", *"abcdef"), [Row("Water", ("12,345",) * 6)])
    broad = Table("", ("", *"abcde"), [Row("Water", ("12,345 (1,234 to 23,456)",) * 5)])
    huge = Table("", ("", *"abcdefgh"), [Row("Water", ("12,345 (1,234 to 23,456)",) * 8)])
    found = (small, middle, broad, huge)
    assert [one.size for one in found] == ["small", "middle", "broad", "huge"]
    assert [one.ranged for one in found] == [False, False, True, True]


def test_money_stands_as_people_write_it() -> None:
    assert [money(1234.4, name) for name in ("$", "USD", "")] == ["$1,234", "USD 1,234", "1,234"]
