"""Who waters a house that lives by days, beside the real hub in the same house."""

from dataclasses import replace
from datetime import date
from functools import cache
from typing import NamedTuple

import numpy as np
import pytest

from evenclay.controller import events
from evenclay.controller.civil import day_of
from evenclay.controller.estimate import demand_um, sun_of
from evenclay.controller.limits import DAY_S
from evenclay.controller.plan import GAUGE, NO_RAIN_SENSOR, Plan, ZonePart
from evenclay.sim.calendar import HOURS
from evenclay.sim.ground.plausible import middle
from evenclay.sim.house.house import Check, House, Owner, Probe
from evenclay.sim.house.site import Sky
from evenclay.sim.house.standing import SectionGround, Standing, by_day, sides_of, stand
from evenclay.sim.judge.by_day import live_by_day
from evenclay.sim.judge.keepers import Met, Reckoning, cycles_h, met_of
from evenclay.sim.replay.life import Policy
from evenclay.sim.replay.lived import live
from evenclay.sim.types import Ints
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.hourly import Hourly
from tests import core
from tests.houses import UTC, make_house, row, still_weather

FIRST = date(2021, 1, 1)
FIRST_DAY = day_of(2021, 1, 1)
DAYS = 600
RAIN_H = range(16, 20)  # after each window
WARM_H, COLD_H = 14, 3  # in hours that no midnight's reading can meet


def weather(seed: int = 4) -> tuple[Hourly, Met]:
    """Days without frost; what rain falls, falls after the windows. Of the first day a hub that
    has just begun knows nothing: it has no rain."""
    random = np.random.default_rng(seed)
    season = np.cos(2.0 * np.pi * (np.arange(DAYS) / 365.0 - 0.53))
    rains = random.random(DAYS) < 0.12
    rain_mm = np.where(rains, np.round(random.exponential(9.0, DAYS)), 0.0)
    rain_mm[0] = 0.0
    mean_c = 19.0 + 6.0 * season
    cold_c, warm_c = (
        np.round(mean_c + side * (4.0 + 4.0 * random.random(DAYS)), 1) for side in (-1.0, 1.0)
    )
    hours = np.zeros((2, DAYS, HOURS))
    hours[0][:, RAIN_H] = rain_mm[:, None] / len(RAIN_H)
    hours[1] = mean_c[:, None]
    hours[1][:, COLD_H], hours[1][:, WARM_H] = cold_c, warm_c
    et0_mm = np.repeat((2.5 + 2.0 * season) / HOURS, HOURS)
    by_hour = Hourly(hours[0].reshape(-1), hours[1].reshape(-1), et0_mm)
    return by_hour, met_of(record_of_days(by_hour), Sky(by_hour, FIRST_DAY * DAY_S), 0)


def record_of_days(by_hour: Hourly) -> Weather:
    """The record whose hours these are."""
    temp_c = by_hour.temp_c.reshape(DAYS, HOURS)
    sums = (by_day(by_hour.rain_mm), temp_c.min(axis=1), temp_c.max(axis=1), by_day(by_hour.et0_mm))
    return Weather(FIRST, *sums, None, ())


def house_of(rain_kind: int = GAUGE, **first_row: int) -> House:
    """Two zones that want different water; the season is closed in winter, and opens twice."""
    _, met = weather()
    sun_um = sun_of(FIRST_DAY, core.SUN_UM)
    first_um = demand_um(round(1000 * met.cold_c[0]), round(1000 * met.warm_c[0]), sun_um)
    summer = {"cycles": 3, "run_s": 2400, "start_min": 300, "length_min": 540} | first_row
    rows = [
        row(**{"month": 3, "day": 16, "demand_um": 4000, "rain_um": 1100} | summer),
        row(**{"month": 7, "demand_um": 6000, "rain_um": 900} | summer | {"run_s": 3000}),
        row(month=11, cycles=0, run_s=0, demand_um=first_um, rain_um=0),
    ]
    hub = UTC | {"estimate": 1, "rain_kind": rain_kind, "opening_um": 8000}
    each = [
        {"demand_ppt": 1500, "target_um": 70000, "begin_um": 110000, "hold_um": 60000},
        {"demand_ppt": 900, "exposure_pct": 60, "share_pct": 70, "rate_um_h": 5000},
    ]
    return make_house(hub=hub, rows=rows, each_zone=each)


@cache
def standing() -> Standing:
    house = house_of()
    return stand(house, middle(sides_of(house), -15.0), still_weather(365), keep=False)


class Told(NamedTuple):
    """Of each day and zone: what it lacks as the day begins, and how long it is watered."""

    lack_um: Ints
    used_s: Ints


def by_hub(house: House, by_hour: Hourly) -> Told:
    ground = SectionGround(standing(), by_hour, FIRST_DAY * DAY_S)
    sky = Sky(by_hour, FIRST_DAY * DAY_S)
    heard = live(ground, Policy("hub", house.plan, None), sky).heard
    lack_um, used_s = np.zeros((2, DAYS, 2), np.int64)
    lack_um[0] = [zone.begin_um for zone in house.plan.zones]
    for each in heard:
        what, zone, _, value = each.event[:4]
        day = (each.at_s - sky.start_s) // DAY_S
        if what == events.LACKS and day < DAYS:
            lack_um[day, zone] = value
        elif what in (events.CLOSED, events.CUT_SHORT):
            used_s[day, zone] += value
        if what in (events.LOCKED, events.ALARM):
            assert each.event[2] == events.CLOSED_SEASON
    return Told(lack_um, used_s)


def reckoning(house: House, met: Met, owner: Owner | None = None) -> Reckoning:
    ground = standing().ground
    return Reckoning(house, house.plan, owner, met, ground.zones, ground.c_per_pf, 1)


def by_days(house: House, by_hour: Hourly, met: Met) -> Told:
    keeper = reckoning(house, met)
    lived = live_by_day(standing(), by_hour, keeper)
    rates = np.array([zone.rate_um_h for zone in house.plan.zones])
    flow = [zone.flow_factor for zone in standing().ground.zones]
    used_s = np.rint(lived.given_mm / flow * 3.6e6 / rates).astype(np.int64)
    return Told(keeper.lack_um, used_s)


@pytest.mark.parametrize("rain_kind", [GAUGE, NO_RAIN_SENSOR])
def test_it_decides_as_the_real_hub_to_the_second_and_the_micrometre(rain_kind: int) -> None:
    """Where no rain falls before a day's last cycle, and no cycle begins after its midnight."""
    by_hour, met = weather()
    house = house_of(rain_kind)
    hub, days = by_hub(house, by_hour), by_days(house, by_hour, met)
    assert np.array_equal(hub.lack_um, days.lack_um)
    assert np.array_equal(hub.used_s, days.used_s)
    watered = hub.used_s[hub.used_s > 0]
    assert len(watered) > 500 and len(set(watered.tolist())) > 50


def test_rain_at_any_hour_and_cycles_by_night_change_a_year_s_water_little() -> None:
    """A house by days gives in the evening what a hub gives until the next morning, and does not
    see the day's rain before a cycle: single days differ by some millimetres, and the water of the
    years by less than one part in a hundred."""
    still, _ = weather()
    random = np.random.default_rng(6)
    showers = random.permuted(still.rain_mm.reshape(DAYS, HOURS), axis=1).reshape(-1)
    by_hour = replace(still, rain_mm=showers)
    met = met_of(record_of_days(by_hour), Sky(by_hour, FIRST_DAY * DAY_S), 0)
    house = house_of(start_min=1200, length_min=840)
    hub, days = by_hub(house, by_hour), by_days(house, by_hour, met)
    assert hub.used_s.sum(axis=0) == pytest.approx(days.used_s.sum(axis=0), rel=0.01)
    apart_um = np.abs(hub.lack_um - days.lack_um)
    assert apart_um.mean() < 1500.0 and apart_um.max() < 12000


# What it hears.


def lacks_um(house: House, owner: Owner | None) -> Ints:
    """What it thinks that each strip lacks, of every day."""
    by_hour, met = weather()
    keeper = reckoning(house, met, owner)
    live_by_day(standing(), by_hour, keeper)
    return keeper.lack_um


@pytest.mark.parametrize(("check", "days"), [("sample", 200), ("blade", 50)])
def test_a_check_a_week_moves_it_in_the_open_season_only(check: Check, days: int) -> None:
    house = house_of()
    alone = lacks_um(house, None)
    told = lacks_um(house, Owner(checks=True, check=check))
    opens = (date(2021, 3, 16) - FIRST).days
    assert np.array_equal(told[: opens + 1], alone[: opens + 1])
    moved = np.flatnonzero((told != alone).any(axis=1))
    assert len(moved) > days and moved[0] <= opens + 30
    for deaf in (Owner(checks=False, check=check), Owner(check=check, misses_pct=100.0)):
        assert np.array_equal(lacks_um(house, deaf), alone)


def test_who_misjudges_his_samples_has_it_think_otherwise() -> None:
    house = house_of()
    sure, unsure = (
        lacks_um(house, Owner(check="sample", misjudges_pct=each)) for each in (0.0, 50.0)
    )
    assert not np.array_equal(sure, unsure)


@pytest.mark.parametrize("kind", [True, "suction"])
def test_a_sensor_moves_the_zones_for_which_it_speaks(kind: Probe) -> None:
    """The first zone's probe speaks for both, for the first alone, or for nobody."""
    house = house_of()
    alone = lacks_um(house, None)
    for sensors in ((1, 1), (1, 0), (0, 0)):
        zones = [
            ZonePart(vars(zone) | {"probe": int(place == 0), "sensor": sensor})
            for place, (zone, sensor) in enumerate(zip(house.plan.zones, sensors, strict=True))
        ]
        plan = Plan(house.plan.hub, house.plan.supplies, zones, house.plan.rows, house.plan.bans)
        strips = tuple(replace(strip, probe=kind) for strip in house.strips)
        told = lacks_um(replace(house, plan=plan, strips=strips), None)
        moved = (told != alone).any(axis=0)
        assert moved.tolist() == [bool(sensor) for sensor in sensors]


def test_a_gauge_catches_less_than_falls_and_days_are_those_of_the_place() -> None:
    by_hour, met = weather()
    record = record_of_days(by_hour)
    assert 0.85 < met.rain_mm.sum() / record.rain_mm.sum() < 0.97
    assert np.all(met.rain_mm <= record.rain_mm + 1e-9)
    assert np.array_equal(met.cold_c, record.tmin_c) and np.array_equal(met.warm_c, record.tmax_c)
    for std_s in (-21600, 0, 3600, 36000):
        sky = Sky(by_hour, FIRST_DAY * DAY_S - std_s)
        assert met_of(record, sky, std_s).first_day == FIRST_DAY


def test_water_falls_at_the_hours_of_the_busiest_season() -> None:
    plan = make_house(
        rows=[
            row(cycles=1, start_min=360),
            row(month=6, cycles=3, start_min=1200, length_min=840),
            row(month=9, cycles=0, run_s=0),
        ]
    ).plan
    assert cycles_h(plan) == [20, 0, 5]


def test_a_plan_without_cycles_gives_nothing() -> None:
    by_hour, met = weather()
    house = make_house(rows=[row(cycles=0, run_s=0)], hub=UTC | {"estimate": 1})
    lived = live_by_day(standing(), by_hour, reckoning(house, met))
    assert cycles_h(house.plan) == [] and not lived.given_mm.any()
