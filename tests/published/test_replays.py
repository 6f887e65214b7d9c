"""Whole replays on real weather: Seattle 2012-2015 and Tunis 1979-2001.

The records are NOAA's for Seattle, from the package vega_datasets, and Tunis's from the package
aquacrop, which serves as a carrier of the file only. Neither file holds its latitude: 47.6 and
36.8 degrees north are assumed. House and calendars are ours: each row gives back the mean ET0 of
its months times 0.6, counts no rain, and was fixed before any hub was run.

The hub reckons by numbers that are plausible, and fitted to nothing. What is asked of it here holds
whatever they are; how well it does is for a comparison to say.
"""

import importlib.metadata
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest

from evenclay.controller import events
from evenclay.controller.civil import LocalTime
from evenclay.controller.plan import Plan, RowPart
from evenclay.sim.ground.plausible import middle
from evenclay.sim.house.house import House
from evenclay.sim.house.site import Sky
from evenclay.sim.house.standing import SectionGround, by_day, sides_of, stand
from evenclay.sim.judge.policies import bare_plan
from evenclay.sim.replay.life import Policy
from evenclay.sim.replay.lived import Lived, live
from evenclay.sim.replay.stay import Stay, sky_of, stay_of, weather_of
from evenclay.sim.report import outputs
from evenclay.sim.report.results import replay_house
from evenclay.sim.section import index_of
from evenclay.sim.types import Floats
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.record import read
from tests.decisions import parse, verify
from tests.grounds import even_ground
from tests.houses import make_house, row

# From month and day: cycles, minutes a cycle, mean ET0 in mm a day.
TUNIS = (
    ((3, 1), 1, 17, 3.2),
    ((5, 1), 2, 13, 4.9),
    ((6, 1), 3, 11, 6.1),
    ((9, 1), 2, 12, 4.4),
    ((10, 1), 1, 16, 3.0),
    ((11, 1), 1, 9, 1.6),
)
SEATTLE = (
    ((3, 1), 1, 11, 2.1),
    ((5, 1), 2, 11, 4.0),
    ((7, 1), 2, 12, 4.5),
    ((9, 1), 1, 14, 2.7),
    ((10, 1), 1, 7, 1.4),
    ((11, 1), 1, 4, 0.6),
)
# Exposure to rain and strip coefficient: open ground, under eaves, a hot wall.
ZONES = ((1.0, 0.6), (0.5, 0.5), (1.0, 1.1))
# Plausible, in micrometres and thousandths: the yard holds 150 mm a pF, each strip 140.
LEVELS_PF = {"tunis": 3.8, "seattle": 3.2}
YARD = {
    "yard_top_um": 25_000,
    "yard_top_ppt": 500,
    "yard_freely_um": 150_000,
    "yard_end_um": 360_000,
    "yard_demand_ppt": 1400,
    "yard_hold_um": 150_000,
}
GROUND = {
    "top_um": 20_000,
    "top_ppt": 550,
    "freely_um": 168_000,
    "end_um": 350_000,
    "beside_ppm": 12_000,
    "hold_um": 140_000,
    "class1_um": 280_000,
    "class2_um": 210_000,
    "class3_um": 150_000,
    "class4_um": 75_000,
}
UTC_HOURS = {"tunis": 1, "seattle": -8}
TIMEZONES = {
    "tunis": "Africa/Tunis",
    "seattle": "America/Los_Angeles",
    "fulda": "Europe/Berlin",
}
FILES = {
    "tunis": ("aquacrop", "aquacrop/data/tunis_climate.txt", 36.8),
    "seattle": ("vega_datasets", "vega_datasets/_data/seattle-weather.csv", 47.6),
    "fulda": ("spotpy", "spotpy/examples/cmf_data/fulda_climate.csv", 50.5),
}
TUNIS_DAYS = (date(1979, 1, 1), date(2001, 12, 31))
SLICE = {
    "tunis": (date(1993, 1, 1), date(1995, 12, 31)),
    "seattle": (date(2012, 1, 1), date(2015, 12, 31)),
}


def weather_file(place: str) -> Path:
    package, path, _ = FILES[place]
    return Path(str(importlib.metadata.distribution(package).locate_file(path)))


@cache
def record(place: str) -> Weather:
    return read(weather_file(place), latitude_deg=FILES[place][2])


def rows(place: str, percent: int) -> Iterator[RowPart]:
    for (month, day), cycles, minutes, et0_mm in TUNIS if place == "tunis" else SEATTLE:
        yield row(
            month=month,
            day=day,
            cycles=cycles,
            run_s=minutes * 60 * percent // 100,
            demand_um=round(1000 * et0_mm),
            start_min=240,
            length_min=300,
        )


def house(place: str, percent: int = 100) -> House:
    """Three strips on one spigot, a gauge and a thermometer; nobody checks, no probe."""
    offset_s = 3600 * UTC_HOURS[place]
    hub = {"std_s": offset_s, "dst_s": offset_s, "dst": 0, "estimate": 1}
    level_pf = LEVELS_PF[place]
    hub |= YARD | {"yard_lack_um": round(1000 * (level_pf - 2.0) * 150)}
    made = make_house(
        zones=len(ZONES),
        hub=hub,
        each_zone=[
            {
                "share_pct": round(100 * coefficient / 0.6),
                "exposure_pct": round(100 * exposure),
                "demand_ppt": round(2000 * coefficient),
                "rest_s": 0,
                "begin_um": round(1000 * (level_pf - 2.0) * 140),
                "target_um": round(1000 * (level_pf - 0.4 - 2.0) * 140),
                **GROUND,
            }
            for exposure, coefficient in ZONES
        ],
        rows=list(rows(place, percent)),
        timezone=TIMEZONES[place],
    )
    strips = tuple(
        replace(strip, exposure=exposure, coefficient=coefficient)
        for strip, (exposure, coefficient) in zip(made.strips, ZONES, strict=True)
    )
    return replace(made, strips=strips)


@dataclass(frozen=True)
class Outcome:
    """One policy on one slice of weather, on the middle ground."""

    stay: Stay
    lived: Lived[SectionGround]

    @property
    def litres(self) -> Floats:
        """Given on each day, (days, zones)."""
        return self.lived.ground.litres()

    @property
    def seconds(self) -> Floats:
        """For which each valve was open on each day, (days, zones)."""
        return by_day(self.lived.ground.seconds)

    @property
    def dates(self) -> list[date]:
        """The days lived."""
        weather = self.stay.weather
        return [weather.first_day + timedelta(days=day) for day in range(weather.days)]


def settled_house(made: House, stay: Stay) -> tuple[SectionGround, Sky]:
    sky, by_hour, climate = weather_of(made, stay, 1)
    ground = middle(sides_of(made), index_of(stay.climate, made.latitude_deg))
    return SectionGround(stand(made, ground, climate), by_hour, sky.start_s), sky


@cache
def outcome(place: str, percent: int, hub: bool) -> Outcome:
    made = house(place, percent)
    stay = stay_of(record(place), *SLICE[place])
    ground, sky = settled_house(made, stay)
    plan: Plan = made.plan if hub else bare_plan(made.plan)
    return Outcome(stay, live(ground, Policy("", plan, None), sky))


@pytest.mark.parametrize("place", ["seattle", "tunis"])
@pytest.mark.parametrize("percent", [50, 100])
def test_rows_are_ceilings_on_every_day(place: str, percent: int) -> None:
    calendar, hub = outcome(place, percent, False), outcome(place, percent, True)
    assert 0.0 < hub.litres.sum() < calendar.litres.sum()
    # A day's runs end a little apart, and a night's cycles may belong to the day before.
    most = calendar.seconds.max(axis=0)
    assert np.all(hub.seconds.max(axis=0) <= most)
    months = np.array([day.month for day in hub.dates])
    for month in range(1, 13):
        given, least = (found.litres[months == month].sum() for found in (hub, calendar))
        assert given <= least + 1.0, month


def test_the_hub_waters_little_in_a_wet_seattle_winter() -> None:
    calendar, hub = outcome("seattle", 100, False), outcome("seattle", 100, True)
    cold = np.isin([day.month for day in hub.dates], (12, 1, 2))
    assert hub.litres[cold].sum() <= 0.25 * calendar.litres[cold].sum()


def test_every_day_of_every_zone_is_told_once() -> None:
    hub = outcome("tunis", 100, True)
    assert hub.lived.devices is not None
    days = hub.stay.weather.days
    for zone in range(len(ZONES)):
        told = [event for event in hub.lived.events_of(zone) if event[0] == events.LACKS]
        assert abs(len(told) - days) <= 1
        assert all(0 <= event[3] <= 600_000 for event in told)
        assert len({event[3] for event in told}) > days // 2


@pytest.mark.parametrize("place", ["seattle", "tunis"])
@pytest.mark.parametrize("hub", [False, True], ids=["calendar", "hub"])
def test_water_is_conserved_and_supplies_are_safe(place: str, hub: bool) -> None:
    found = outcome(place, 100, hub)
    assert found.lived.ground.mass_balance_error_mm <= 1e-6
    devices = found.lived.devices
    assert devices is not None
    assert (devices.most_open_at_once, devices.most_open_on_supply) == (1, 1)
    made = house(place)
    calendar = outputs.Calendar(LocalTime(made.plan.hub), found.stay.shift_days)
    lines = outputs.decisions(made, calendar, devices)
    plan, told = parse(outputs.json_line(line) for line in lines)
    assert len(verify(plan, told)) > 1000


@cache
def told(place: str, percent: int) -> dict[str, Any]:
    """The summary of a replay on the ground in cross-section, the middle one."""
    first, last = SLICE[place]
    with TemporaryDirectory() as out:
        replay_house(
            house(place, percent), record(place), Path(out), seed=2, first=first, last=last
        )
        assert (Path(out) / "report.html").stat().st_size > 10_000
        found: dict[str, Any] = json.loads((Path(out) / "summary.json").read_text("utf-8"))
    return found


def test_seattle_runs_to_the_end_with_every_output() -> None:
    summary = told("seattle", 125)
    assert summary["weather"] == {
        "rain_mm": 4426.0,  # 1226.0 + 828.0 + 1232.8 + 1139.2
        "et0_mm": pytest.approx(3470.0, rel=0.15),
        "tmi": pytest.approx(65.0, abs=10.0),
        "first_day": "2012-01-01",
        "last_day": "2015-12-31",
        "cautions": [],
    }
    assert summary["years"] == 4


@pytest.mark.parametrize("place", ["seattle", "tunis"])
def test_reckoning_saves_water_and_spares_the_clay_from_being_soaked(place: str) -> None:
    summary = told(place, 125)
    calendar, alone, hub = (summary["policies"][way] for way in ("calendar", "hub_alone", "hub"))
    assert hub == alone  # nobody checks, and no probe speaks
    assert 0.0 < hub["litres"] < calendar["litres"]
    assert hub["days_soaked"] < calendar["days_soaked"]
    assert summary["mass_balance_error_mm"] <= 1e-6


def test_tunis_runs_to_the_end() -> None:
    """All 23 years under the hub, one zone to keep it short."""
    made = house("tunis")
    plan = Plan(made.plan.hub, made.plan.supplies, made.plan.zones[:1], made.plan.rows, [])
    single = replace(made, plan=plan, strips=made.strips[:1])
    stay = stay_of(record("tunis").span(*TUNIS_DAYS))
    assert (stay.weather.days, stay.shift_days) == (8401, 10227)
    ground, sky = settled_house(single, stay)
    found = Outcome(stay, live(ground, Policy("", plan, None), sky))
    assert ground.mass_balance_error_mm <= 1e-6
    assert np.isfinite(ground.days.pf).all()
    for year in range(1979, 2002):
        summer = np.array([day.year == year and day.month in (7, 8) for day in found.dates])
        assert found.litres[summer].sum() > 0.0


def test_a_usual_calendar_gives_what_its_arithmetic_says() -> None:
    """Common practice, no source: a check of the arithmetic, not a recommendation."""
    table = [
        row(month=5, day=1, cycles=3, run_s=600),
        row(month=7, day=1, cycles=4, run_s=900),
        row(month=9, day=16, cycles=3, run_s=600),
        row(month=11, day=1, cycles=0),
    ]
    made = make_house(rows=table, zone={"rest_s": 0})
    still = np.zeros(365)
    flat = Weather(date(2023, 1, 1), still, still + 15.0, still + 25.0, still, 40.0, ())
    sky, by_hour = sky_of(made, stay_of(flat), 1)
    policy = Policy("calendar", bare_plan(made.plan), None)
    lived = live(even_ground(made, by_hour, sky.start_s), policy, sky)
    seconds = by_day(lived.ground.seconds)
    for zone in range(2):
        opened = [event for event in lived.events_of(zone) if event[0] == events.OPENED]
        assert len(opened) == 629
        assert seconds[:, zone].sum() == 7830 * 60
        assert (seconds[:, zone] == 0.0).sum() == 181
