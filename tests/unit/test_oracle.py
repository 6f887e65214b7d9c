"""The oracle: its schedules obey every rule, come true when played, and are never beaten."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from itertools import product
from typing import Any

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from evenclay.controller.civil import LocalTime
from evenclay.controller.lockouts import quiet
from evenclay.controller.plan import BAN_HOURS, BanPart
from evenclay.sim.house.columns import Columns, Dry, dry_of
from evenclay.sim.house.devices import Devices
from evenclay.sim.house.house import House
from evenclay.sim.house.site import Sky
from evenclay.sim.judge import oracle
from evenclay.sim.judge.oracle import Way, Zone
from evenclay.sim.judge.score import IN_BAND, RAIN_WET, judge
from evenclay.sim.judge.season import Season, climate
from evenclay.sim.replay.life import Lived
from evenclay.sim.replay.span import Span, sky_of, span_of
from evenclay.sim.weather.hourly import Hourly
from evenclay.sim.weather.record import Weather
from tests.houses import make_house, row
from tests.published.test_replays import record

DAY_S = 86400


@dataclass(frozen=True)
class Setting:
    """A house in a year after its spin-up, as the oracle sees it."""

    house: House
    span: Span
    sky: Sky
    by_hour: Hourly
    dry: Dry
    season: Season
    zones: list[Zone]

    def play(self, ways: Sequence[Way]) -> tuple[Lived[Columns], Devices]:
        doses = [way.dose for way in ways]
        ground, devices = oracle.play(self.house, self.sky, self.dry, self.zones, doses)
        return Lived(ground, devices, self.sky.start_s), devices


def setting(house: House, weather: Weather) -> Setting:
    span = span_of(weather)
    sky, by_hour = sky_of(house, span, 1)
    dry = dry_of(house.strips, by_hour)
    season = climate(house, weather, span, 1)
    zones = oracle.zones_of(house, sky, dry, by_hour.rain_mm, season.days)
    return Setting(house, span, sky, by_hour, dry, season, zones)


def ruled_house(**hub: int) -> House:
    """Three zones on two spigots of which one may be open; odd hours banned; frost; summer time."""
    return make_house(
        zones=3,
        supplies=[{"flow_ml_min": 9000, "gap_s": 60}, {"flow_ml_min": 9000, "gap_s": 45}],
        hub={"open_max": 1, "frost": 1, "weekdays": 0b1110111, **hub},
        zone={"cap_s": 5400, "rest_s": 5400, "longest_s": 1500},
        bans=[BanPart({"kind": BAN_HOURS, "first": 9 * 60, "last": 17 * 60 + 30})],
        rows=[row(cycles=2)],
        strip={"hose_l": 2.0, "drain_l_h": 0.3, "coefficient": 0.7},
    )


@cache
def tunis() -> Weather:
    """Two hot years: one of them is spin-up."""
    return record("tunis").span(date(1989, 1, 1), date(1990, 12, 31))


@cache
def found() -> tuple[Setting, tuple[Way, ...]]:
    made = setting(ruled_house(), tunis())
    return made, tuple(oracle.search(zone, 6.0, ways_most=12) for zone in made.zones)


def turns(made: Setting, ways: Sequence[Way]) -> list[tuple[int, int, int]]:
    """Every run as the valves saw it: opened, shut, zone."""
    runs: list[tuple[int, int, int]] = []
    opened: dict[int, int] = {}

    class Watched(Devices):
        def open(self, valve: int, deadline_s: int) -> None:
            opened[valve] = self.now_s
            super().open(valve, deadline_s)

        def close(self, valve: int) -> None:
            runs.append((opened.pop(valve), self.now_s, valve))
            super().close(valve)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(oracle, "Devices", Watched)
        made.play(ways)
    assert not opened
    return sorted(runs)


def test_a_schedule_obeys_every_rule() -> None:
    made, ways = found()
    plan, runs = made.house.plan, turns(made, ways)
    assert len(runs) > 200 and {zone for _, _, zone in runs} == {0, 1, 2}
    time = LocalTime(plan.hub)
    used_s: dict[tuple[int, int], int] = {}
    shut_s: dict[int, int] = {}
    free_s = 0
    for opened_s, closed_s, zone in runs:
        part = plan.zones[zone]
        assert 60 <= closed_s - opened_s <= part.longest_s
        assert opened_s >= free_s  # one valve at a time, and the gap of either spigot
        free_s = closed_s + plan.supplies[part.supply].gap_s
        assert opened_s - shut_s.get(zone, 0) >= part.rest_s
        shut_s[zone] = closed_s
        for at_s in range(opened_s, closed_s, 60):
            assert not quiet(plan, time.local_s(at_s))[0]
            hour = (at_s - made.sky.start_s) // 3600
            assert made.sky.temp_mc[hour] > plan.hub.frost_on_mc
        day = zone, time.local_s(closed_s) // DAY_S
        used_s[day] = used_s.get(day, 0) + closed_s - opened_s
        assert used_s[day] <= part.cap_s


def test_what_the_search_promises_comes_true_on_the_valves() -> None:
    """Hoses that fill and drain move a little water; that may cost days at the band's edge."""
    made, ways = found()
    lived, devices = made.play(ways)
    score = judge(lived, made.by_hour.rain_mm, made.span.spin_up_days, made.season)
    assert devices.most_open_at_once == 1
    for zone, way in enumerate(ways):
        counts = score.counts(zone=zone)
        played = counts["days_in_band"] + counts["days_rain_wet"]
        assert abs(played - way.good.sum()) <= 0.02 * score.season.days[:, zone].sum()
        area_m2 = made.house.strips[zone].area_m2
        passed_mm = devices.given[zone] / 3_600_000 / area_m2
        assert passed_mm == pytest.approx(way.mm.sum(), rel=0.02)


def test_without_hoses_to_fill_days_are_those_of_the_score() -> None:
    plain = ruled_house()
    plain = replace(plain, strips=tuple(replace(s, hose_l=0.0) for s in plain.strips))
    made = setting(plain, tunis())
    ways = [oracle.search(zone, 6.0, ways_most=6) for zone in made.zones]
    lived, _ = made.play(ways)
    score = judge(lived, made.by_hour.rain_mm, made.span.spin_up_days, made.season)
    for zone, way in enumerate(ways):
        edge = score.days.pf[:, zone] > oracle.DRY_PF - 1e-9
        good = np.isin(score.state[:, zone], (IN_BAND, RAIN_WET))
        good &= score.season.days[:, zone] & ~edge
        assert np.array_equal(way.good[made.span.spin_up_days :], good)


def test_a_schedule_followed_alone_is_what_the_search_saw() -> None:
    made, ways = found()
    for zone, way in zip(made.zones, ways, strict=True):
        again = oracle.follow(zone, way.dose)
        assert np.array_equal(again.good, way.good)
        assert again.stored_mm == pytest.approx(way.stored_mm, abs=1e-6)


@cache
def known() -> tuple[oracle.Known, ...]:
    made, ways = found()
    pairs = zip(made.zones, ways, strict=True)
    return tuple(oracle.known(zone, [way]) for zone, way in pairs)


@pytest.mark.parametrize("zone", [0, 1, 2])
def test_days_are_kept_and_fewer_take_less_water(zone: int) -> None:
    made, ways = found()
    offered = known()[zone].ways
    most = int(ways[zone].good.sum())
    water_mm = []
    for share in (0.2, 0.4, 0.6, 0.8, 1.0):
        days = int(share * most)
        way = oracle.least(made.zones[zone], offered, days)
        assert way.good.sum() >= days
        water_mm.append(used_mm(made.zones[zone], way))
    assert water_mm[-1] <= used_mm(made.zones[zone], ways[zone]) + 1e-6
    assert water_mm[0] < 0.5 * water_mm[-1]
    assert oracle.least(made.zones[zone], offered, made.zones[zone].days + 1) is offered[-1]


@given(data=st.data(), years=st.integers(1, 4), ways=st.integers(1, 4))
def test_the_cheapest_mixture_is_the_best_of_all(
    data: st.DataObject, years: int, ways: int
) -> None:
    def drawn(values: st.SearchStrategy[Any]) -> Any:
        row = st.lists(values, min_size=years, max_size=years)
        return np.array(data.draw(st.lists(row, min_size=ways, max_size=ways)))

    kept, used = drawn(st.integers(0, 6)), drawn(st.integers(-3, 20)).astype(float)
    days = data.draw(st.integers(0, int(kept.max(axis=0).sum())))
    taken = oracle._cheapest_mixture(used, kept, days)
    year = np.arange(years)
    every = [np.array(choice) for choice in product(range(ways), repeat=years)]
    enough = [choice for choice in every if kept[choice, year].sum() >= days]
    assert kept[taken, year].sum() >= days
    assert used[taken, year].sum() == min(used[choice, year].sum() for choice in enough)


def used_mm(zone: Zone, way: Way) -> float:
    """Water over the scored days, corrected for what the ground holds more."""
    before = way.stored_mm[zone.scored - 1]
    return float(way.mm[zone.scored :].sum() - (way.stored_mm[-1] - before))


@settings(max_examples=6, phases=(Phase.generate,))
@given(seed=st.integers(0, 2**32 - 1), chance=st.sampled_from([0.02, 0.1, 0.3, 0.9]))
def test_nothing_goes_below_the_bound(seed: int, chance: float) -> None:
    """Neither any schedule at all nor the oracle's."""
    made, ways = found()
    zone = made.zones[0]
    random = np.random.default_rng(seed)
    dose = random.integers(0, len(zone.doses), zone.days) * (random.random(zone.days) < chance)
    for way in (oracle.follow(zone, dose), ways[0]):
        days = int(way.good.sum())
        assert known()[0].bound_mm[days] <= used_mm(zone, way) + 1e-6


def test_good_days_raise_the_bound_where_unwatered_ground_is_dry() -> None:
    made, ways = found()
    zone = made.zones[0]
    days = int(ways[0].good.sum())
    none, some = known()[0].bound_mm[[0, days]]
    assert none + 10.0 < some < used_mm(zone, ways[0])


def short_zone(days: int) -> Zone:
    """The first hot days of a zone that may get one dose a day."""
    weather = record("tunis").span(date(1989, 6, 1), date(1989, 6, days))
    house = make_house(zones=1, hub={"frost": 0}, strip={"coefficient": 1.1})
    span = span_of(weather)
    sky, by_hour = sky_of(house, span, 1)
    dry = dry_of(house.strips, by_hour)
    season = np.ones((days, 1), dtype=np.bool_)
    return oracle.zones_of(house, sky, dry, by_hour.rain_mm, season)[0]


@pytest.mark.parametrize("price_mm", [0.5, 2.0, 4.0, 20.0])
def test_a_search_that_lets_nothing_go_finds_the_best_of_all_schedules(
    monkeypatch: pytest.MonkeyPatch, price_mm: float
) -> None:
    """Eight days and a dose: each of the 256 schedules is played. As it runs, it is near that."""
    monkeypatch.setattr(oracle, "DOSES", (0.5,))
    monkeypatch.setattr(oracle, "START_PF", 3.27)
    zone = short_zone(8)

    def cost_mm(way: Way) -> float:
        return float(way.mm.sum() - price_mm * way.good.sum() - way.stored_mm[-1])

    every = [oracle.follow(zone, np.array(dose)) for dose in product((0, 1), repeat=zone.days)]
    best_mm = min(map(cost_mm, every))
    near_mm = cost_mm(oracle.search(zone, price_mm, oracle.WAYS))
    monkeypatch.setattr(oracle, "BAND_STEP_PF", 1e-9)
    monkeypatch.setattr(oracle, "TOP_STEP_MM", 1e-9)
    assert cost_mm(oracle.search(zone, price_mm, ways_most=256)) == pytest.approx(best_mm, abs=1e-6)
    assert len({int(way.good.sum()) for way in every}) > 3  # so there is something to choose
    assert near_mm <= best_mm + 0.5


@pytest.mark.parametrize("hour", [0, 2, 3, 12, 23])
def test_hours_next_to_midnight_belong_to_one_day_on_the_wall(hour: int) -> None:
    """An hour that begins before midnight on the wall ends after it, and is not used."""
    house = make_house(zones=1, hub={"frost": 0})
    sky = still_sky(house, date(2023, 3, 1), 60)
    may = oracle.may_run(house.plan, sky)
    time = LocalTime(house.plan.hub)
    for day in range(60):
        local_s = time.local_s(sky.start_s + DAY_S * day + 3600 * hour)
        last_hour = local_s % DAY_S >= DAY_S - 3600
        of_noon = time.local_s(sky.start_s + DAY_S * day + DAY_S // 2) // DAY_S
        assert may[day, hour] == (not last_hour and local_s // DAY_S == of_noon)


def still_sky(house: House, first: date, days: int, temp_c: Any = 20.0) -> Sky:
    hours = np.zeros(24 * days)
    start = (first - date(2000, 1, 1)) // timedelta(days=1)
    return Sky(Hourly(hours, hours + temp_c, hours), DAY_S * start - house.plan.hub.std_s)


def test_frost_keeps_valves_shut_until_it_has_been_warm_long_enough() -> None:
    house = make_house(zones=1, hub={"frost_hold_s": 7200, "frost_on_mc": 2000})
    temp_c = np.full(24, 6.0)
    temp_c[3] = 1.0
    may = oracle.may_run(house.plan, still_sky(house, date(2023, 1, 9), 1, temp_c))
    assert may[0, :3].all() and not may[0, 3:6].any() and may[0, 7]


@pytest.mark.slow
def test_a_wider_search_saves_little() -> None:
    weather = record("tunis").span(date(1989, 1, 1), date(1991, 12, 31))
    zone = setting(make_house(zones=1, hub={"frost": 0}), weather).zones[0]
    plain = oracle.search(zone, 6.0, oracle.WAYS)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(oracle, "DOSES", (0.125, 0.25, 0.375, 0.5, 0.75, 1.0))
        patch.setattr(oracle, "BAND_STEP_PF", 0.02)
        patch.setattr(oracle, "TOP_STEP_MM", 3.0)
        fine = setting(make_house(zones=1, hub={"frost": 0}), weather).zones[0]
        wide = oracle.search(fine, 6.0, ways_most=300)
    costs = [way.mm.sum() - 6.0 * way.good.sum() - way.stored_mm[-1] for way in (plain, wide)]
    assert costs[0] - costs[1] <= 0.015 * plain.mm.sum()
