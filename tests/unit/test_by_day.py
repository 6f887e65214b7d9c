"""A house that lives by days: its water falls on its own day, at the hours of its cycles."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from evenclay.sim.calendar import HOURS
from evenclay.sim.ground.plausible import middle
from evenclay.sim.house.site import Sky
from evenclay.sim.house.standing import SectionGround, Standing, by_day, sides_of, stand
from evenclay.sim.judge.by_day import Keeper, Lived, _pour, live_by_day
from evenclay.sim.judge.keepers import Truth
from evenclay.sim.judge.weigh import record_of
from evenclay.sim.replay.life import Policy
from evenclay.sim.replay.lived import live
from evenclay.sim.section.section import Days, Section
from evenclay.sim.types import Floats
from evenclay.sim.weather.hourly import Hourly
from tests.houses import UTC, make_house, still_weather

DAYS = 24
FLOW = (1.0, 0.8)  # of the hoses, of what the plan knows
HOUSE = make_house(hub=UTC)


@cache
def standing() -> Standing:
    ground = middle(sides_of(HOUSE), -15.0)
    zones = tuple(
        replace(zone, flow_factor=flow) for zone, flow in zip(ground.zones, FLOW, strict=True)
    )
    return stand(HOUSE, replace(ground, zones=zones), still_weather(365), keep=False)


def weather() -> Hourly:
    random = np.random.default_rng(2)
    hours = HOURS * DAYS
    rain_mm = np.where(random.random(hours) < 0.03, 4.0, 0.0)
    return Hourly(rain_mm, np.full(hours, 20.0), np.full(hours, 0.15))


class Asked:
    """Asks for the water of a table; notes when it looked."""

    def __init__(self, water_mm: Floats, cycles_h: Sequence[int], every_days: int) -> None:
        self.every_days, self.cycles_h = every_days, cycles_h
        self._water_mm = water_mm
        self.looked: list[int] = []

    def look(self, day: int, ground: Section) -> None:
        assert ground is standing().settled.section
        self.looked.append(day)

    def water_mm(self, day: int) -> Sequence[float]:
        assert day >= self.looked[-1]
        return list(self._water_mm[day])


def lived(keeper: Keeper | None) -> tuple[Lived, Any]:
    """A life, and the water that the section booked on each day."""
    section = standing().settled.section
    rooms: list[Days] = []

    def room(days: int) -> Days:
        rooms.append(Section.room(section, days))
        return rooms[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(section, "room", room)
        life = live_by_day(standing(), weather(), keeper)
    return life, rooms[0].water


@pytest.mark.parametrize("every_days", [1, 7])
def test_water_falls_on_its_day_and_nowhere_else(every_days: int) -> None:
    water_mm = np.zeros((DAYS, 2))
    water_mm[3] = (6.0, 0.0)
    water_mm[10] = (2.5, 4.0)
    water_mm[DAYS - 1] = (0.0, 9.0)
    keeper = Asked(water_mm, (1, 5, 20), every_days)
    life, books = lived(keeper)
    assert keeper.looked == list(range(0, DAYS, every_days))
    assert life.given_mm == pytest.approx(water_mm * FLOW)
    assert books["water_mm"] == pytest.approx(water_mm * FLOW, abs=1e-9)
    areas_m2 = [strip.area_m2 for strip in HOUSE.strips]
    assert life.litres == pytest.approx(water_mm * FLOW * areas_m2)
    assert standing().settled.section.mass_balance_error_mm < 1e-6


def test_nobody_s_water_is_none_and_a_life_leaves_no_trace() -> None:
    dry, books = lived(None)
    assert not dry.given_mm.any() and not dry.litres.any() and not books["water_mm"].any()
    nothing = Asked(np.zeros((DAYS, 2)), (1,), 7)
    lived(Asked(np.full((DAYS, 2), 5.0), (1,), 7))
    for life in (lived(None)[0], lived(nothing)[0]):
        assert np.array_equal(life.record.strip_pf, dry.record.strip_pf)
        assert np.array_equal(life.yard_pf, dry.yard_pf)


def test_without_water_it_is_the_life_by_the_hour() -> None:
    by_hour = weather()
    ground = SectionGround(standing(), by_hour, 0)
    live(ground, Policy("none", None, None), Sky(by_hour, 0))
    by_hours, dry = record_of(ground), lived(None)[0].record
    for name in ("edge_pf", "inside_pf", "strip_pf"):
        assert np.array_equal(getattr(by_hours, name), getattr(dry, name)), name


def test_a_day_s_water_is_shared_by_the_hours_of_its_cycles() -> None:
    days = 4
    water_m, water_s = np.zeros((HOURS * days, 2)), np.full((HOURS * days, 2), 3600.0)
    given_mm = np.array([[9.0, 9.0], [3.0, 0.0], [6.0, 1.5], [9.0, 9.0]])
    _pour(water_m, water_s, given_mm, np.array([6.0, 4.0]), (2, 7, 22), 1, 3)
    hours = np.flatnonzero(water_m.any(axis=1))
    assert hours.tolist() == [26, 31, 46, 50, 55, 70]
    assert by_day(1000.0 * water_m) == pytest.approx(given_mm * [[0], [1], [1], [0]])
    assert water_m[26] == pytest.approx([0.001, 0.0])
    assert water_s[26, 0] == 600.0 and water_s[50].tolist() == [1200.0, 450.0]


def test_one_who_knows_the_truth_keeps_to_the_target_but_not_on_closed_days() -> None:
    level_pf = standing().level_pf
    target_pf = level_pf - 0.05
    most_mm = np.full((DAYS, 2), 12.0)
    most_mm[:5] = 0.0
    life, _ = lived(Truth(target_pf, most_mm, np.full(2, 60.0), (2,)))
    assert not life.given_mm[:5].any() and np.all(life.given_mm.sum(axis=0) > 0.0)
    assert np.all(life.given_mm <= most_mm * FLOW)
    given = life.given_mm[life.given_mm > 0.0]
    assert given.min() >= 1.0 * min(FLOW)
