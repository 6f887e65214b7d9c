"""Ways of watering that look calm and do harm, on the real ground: the demo's middle one.

Water is given by the day, wherever a strip's true mean at 0.3-1.0 m is drier than a target of that
day. `tests/unit/test_gaming.py` has the same on plain waves.
"""

from functools import cache
from pathlib import Path

import numpy as np

from evenclay.controller.limits import DAY_S
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.ground.plausible import middle
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import SectionGround, Standing, sides_of, stand
from evenclay.sim.judge import verdict
from evenclay.sim.judge.measures import Measures, Record, measure
from evenclay.sim.judge.weigh import place_on, record_of
from evenclay.sim.replay.stay import stay_of, weather_of
from evenclay.sim.section import index_of
from evenclay.sim.types import Floats
from evenclay.sim.weather.record import read
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.property import load

DEMO = Path(__file__).parents[2] / "sim" / "demo"
YEARS = 26
OPENS_DAY = 74  # 15 March, as in the demo's table


class Place:
    """The demo on its middle ground, and the days to live."""

    def __init__(self) -> None:
        self.house: House = compile_house(load(DEMO / "property.toml"))
        weather = read(DEMO / "weather.csv", latitude_deg=self.house.latitude_deg)
        stay = stay_of(weather, years=YEARS)
        self.sky, self.by_hour, climate = weather_of(self.house, stay, 1)
        index = index_of(weather, self.house.latitude_deg)
        ground = middle(sides_of(self.house), index, self.house.footing_m)
        self.standing: Standing = stand(self.house, ground, climate)
        self.days = self.sky.hours // 24
        dry = SectionGround(self.standing, self.by_hour, self.sky.start_s)
        dry.catch_up(self.sky.start_s + DAY_S * self.days)
        self.dry = record_of(dry)

    def live(self, target_pf: Floats, most_mm: float = 8.0) -> Record:
        """Keep strips at targets, (days, zones), by at most so much water a day."""
        ground = SectionGround(self.standing, self.by_hour, self.sky.start_s)
        flows = [round(most_mm * strip.area_m2 * 1000.0 / 6.0) for strip in ground.strips]
        for day in range(self.days):
            at_s = self.sky.start_s + DAY_S * day
            ground.catch_up(at_s)
            pf = ground.strip_pf()
            for zone, flow_ml_h in enumerate(flows if day >= OPENS_DAY else ()):
                if pf[zone] > target_pf[day, zone]:
                    ground.water(zone, flow_ml_h, at_s, at_s + 6 * HOUR_S)
        ground.catch_up(self.sky.start_s + DAY_S * self.days)
        return record_of(ground)

    def judge(self, target_pf: Floats, most_mm: float = 8.0) -> Measures:
        """Live, and judge what came of it."""
        whole = np.broadcast_to(target_pf, (self.days, 4))
        lived = self.live(whole, most_mm)
        place = place_on(self.house, self.standing.ground)
        return measure(lived, self.dry, whole[-1], place, OPENS_DAY)


@cache
def demo() -> Place:
    """Once for all tests."""
    return Place()


def years() -> Floats:
    """Time of each day, in years."""
    return np.arange(demo().days)[:, None] / 365.25


def test_each_side_a_little_wetter_than_its_own_level_keeps_every_limit() -> None:
    judged = demo().judge(demo().standing.level_pf - 0.2)
    assert judged.unrest_pct < 85.0
    assert verdict.broken([judged]) == ()


def test_a_soaked_strip_has_soaked_days() -> None:
    judged = demo().judge(np.full(4, 2.1), most_mm=24.0)
    assert "days_soaked" in verdict.broken([judged])
    assert judged.days_soaked > 100.0


def test_one_side_watered_alone_tilts_the_house() -> None:
    alone = np.full(4, 9.0)
    alone[0] = demo().standing.level_pf[0] - 0.6
    judged = demo().judge(alone, most_mm=16.0)
    assert "tilt_added_pct" in verdict.broken([judged])
    assert judged.movement_pct < 100.0  # movement alone praises it


def test_a_wet_first_year_goes_beyond_what_the_house_knows() -> None:
    level = demo().standing.level_pf
    judged = demo().judge(level - np.where(years() < 1.5, 1.4, 0.2), most_mm=24.0)
    assert "excursion_pct" in verdict.broken([judged])
    assert judged.shift_inside_year <= 3 and judged.shift_inside_pct < -100.0


def test_all_sides_at_one_wetness_shift_against_each_other() -> None:
    level = demo().standing.level_pf
    own = demo().judge(level - 0.6, most_mm=16.0)
    one = demo().judge(np.full(4, float((level - 0.6).mean())), most_mm=16.0)
    assert one.unrest_pct < own.unrest_pct + 5.0 < 70.0  # as calm as each at its own level
    assert "excursion_pct" in verdict.broken([one])
    assert "excursion_pct" not in verdict.broken([own])
    assert one.shift_between_pct > 100.0 > own.shift_between_pct


def test_a_target_that_rises_with_the_years_ends_beyond() -> None:
    level = demo().standing.level_pf
    judged = demo().judge(level - 0.06 * years(), most_mm=24.0)
    assert "excursion_pct" in verdict.broken([judged])
    assert judged.shift_inside_year >= 15
