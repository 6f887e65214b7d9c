"""Twenty years, any weather, any plan, any trouble: no water is made and none is lost.

The bar is 1e-9 m. Sums are taken apart from the columns' own book-keeping, without rounding.
"""

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from evenclay.controller.civil import day_of
from evenclay.controller.plan import GAUGE
from evenclay.controller.ports import ASK_CHECK, ASK_CLEAR, ASK_CLOCK, ASK_RUN_ANYWAY
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.ground import soil, textures
from evenclay.sim.house.columns import Columns, columns_of, dry_of
from evenclay.sim.house.devices import PORT_CALLS, Devices
from evenclay.sim.house.faults import Fault, PowerCut, Trouble
from evenclay.sim.house.house import House, Owner
from evenclay.sim.house.plumbing import BURST_TIMES, FILLING_ML_H
from evenclay.sim.house.site import PER_LITRE, Sky
from evenclay.sim.replay.life import Action, Lived, Policy, Script, live
from evenclay.sim.report.results import hub_summary
from evenclay.sim.weather.hourly import Hourly
from tests.houses import make_house, row

Floats = NDArray[np.float64]

YEARS = 20
DAY_S = 86400
MOST_LOST_MM = 1e-6  # that is 1e-9 m


def days_of(years: int) -> int:
    return round(365.25 * years)


def total(values: Floats) -> float:
    return math.fsum(values.reshape(-1).tolist())


def check_columns(
    columns: soil.Columns, before_mm: Floats, forced: Floats, found: Floats, first: int = 0
) -> None:
    """What came in went out or is there; `forced` in mm, a column at a time, from `first` on."""
    assert np.isfinite(found).all()
    after_mm = columns.stored_mm()
    for c in range(first, len(before_mm)):
        came = total(forced[:, c, soil.RAIN]) + total(forced[:, c, soil.IRRIGATION])
        went = total(found[:, c, : soil.INFILTRATION])
        assert abs(before_mm[c] + came - went - after_mm[c]) <= MOST_LOST_MM
    assert columns.mass_balance_error_mm <= MOST_LOST_MM  # in any hour, and under the slab


def weather(random: np.random.Generator, years: int) -> Hourly:
    """Hours from drought to cloudbursts, each year with a mood of its own."""
    hours = 24 * days_of(years)
    year = np.arange(hours) // 8766
    wet_share = random.choice([0.0, 0.01, 0.05, 0.3], years + 1)[year]
    mean_mm = random.choice([0.3, 2.0, 20.0], years + 1)[year]
    rain = np.where(random.random(hours) < wet_share, random.exponential(mean_mm), 0.0)
    sun = np.clip(np.sin((np.arange(hours) % 24 - 6) / 12 * np.pi), 0.0, 1.0)
    warmth = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(hours) / 8766)
    strength = random.choice([0.1, 0.6, 2.0], years + 1)[year]
    return Hourly(rain, 25.0 * warmth + 8.0 * sun - 2.0, strength * sun * (0.1 + warmth))


def watering(random: np.random.Generator, hours: int) -> tuple[Floats, Floats]:
    """A plan as the columns see it: another number of cycles, depth and length each season."""
    season = np.arange(hours) // (24 * 90)
    of_day = np.arange(hours) % 24
    kinds = season[-1] + 1
    every_h = random.choice([1, 3, 8, 24], kinds)[season]
    depth_mm = random.choice([0.0, 0.5, 3.0, 40.0], kinds)[season]
    seconds = random.choice([1.0, 60.0, 900.0, 3600.0], kinds)[season]
    return np.where(of_day % every_h == 0, depth_mm, 0.0), seconds


@given(
    texture=st.sampled_from(sorted(textures.TEXTURES)),
    ks_mm_h=st.floats(-1.0, 2.5).map(lambda power: float(10.0**power)),
    start_pf=st.floats(0.0, soil.DRIEST_PF),
    seed=st.integers(0, 2**32 - 1),
    refine=st.sampled_from([1.0, 0.1, 3.0]),  # and any step: shorter ones, and those too long
)
@settings(max_examples=6)
def test_columns_under_any_weather_and_plan(
    texture: str, ks_mm_h: float, start_pf: float, seed: int, refine: float
) -> None:
    random = np.random.default_rng(seed)
    by_hour = weather(random, YEARS)
    forced = np.zeros((len(by_hour.rain_mm), 3, soil.FORCINGS))
    forced[:, :, soil.RAIN] = by_hour.rain_mm[:, None]
    forced[:, :, soil.PET] = by_hour.et0_mm[:, None]
    for strip in (1, 2):
        depth_mm, seconds = watering(random, len(forced))
        forced[:, strip, soil.IRRIGATION], forced[:, strip, soil.IRRIGATION_S] = depth_mm, seconds
    columns = soil.Columns(
        [texture] * 3,
        ks_mm_h=[ks_mm_h] * 3,
        yard=[None, 0, None],
        slab_m=[None, 0.4, None],
        start_pf=start_pf,
        refine=refine,
    )
    before_mm = columns.stored_mm()
    check_columns(columns, before_mm, forced, columns.run(forced))


# The real hub.

HOSE = {"hose_l": 3.8, "drain_l_h": 4.0, "hose_years": 1.0}


def any_house(random: np.random.Generator) -> House:
    """Three zones on two supplies with all that can fail; the clay is cracked when it is dry."""
    return make_house(
        zones=3,
        hub={"rain_kind": GAUGE, "open_max": 2, "battery": 1},
        supplies=[{"meter": 1, "master": 1, "flow_ml_min": int(random.integers(0, 2)) * 9000}, {}],
        zone={"probe": 1},
        each_zone=[{"held": int(random.integers(2))} for _ in range(3)],
        rows=[
            row(month=month, cycles=int(random.integers(5)), run_s=int(random.integers(60, 2400)))
            for month in (1, 4, 6, 9)
        ],
        owner=Owner(checks=True, misses_pct=20.0, misjudges_pct=10.0),
        strip=HOSE,
    )


def power_goes(devices: Devices) -> None:
    raise PowerCut


def cut_at(calls: int, torn_pct: int) -> Action:
    """Power goes in a later port call; what an earlier cut left wrapped is taken off first."""

    def arm(devices: Devices) -> None:
        for name in PORT_CALLS:
            vars(devices).pop(name, None)
        devices.cut_after(calls, torn_pct)

    return arm


def stepping(by_s: int) -> Action:
    return lambda devices: devices.step_clock(by_s)


def asking(what: int, zone: int, value: object) -> Action:
    return lambda devices: devices.ask((what, zone, value))


def set_clock(devices: Devices) -> None:
    devices.ask((ASK_CLOCK, -1, devices.now_s))


def troubles(random: np.random.Generator, start_s: int, days: int, a_year: int) -> Script:
    """Each kind of trouble, cuts, restarts and clock steps, so many of each a year."""
    faults: list[Fault] = []
    actions: list[tuple[int, Action]] = []

    def times() -> Sequence[int]:
        count = max(1, a_year * days // 365)
        return sorted((start_s + random.integers(0, days * DAY_S, count)).tolist())

    for what in Trouble:
        for at_s in times():
            lasts_s = int(random.choice([60, 3600, 5 * DAY_S]))
            faults.append(Fault(what, at_s, at_s + lasts_s, int(random.integers(3))))
    actions += [(at_s, power_goes) for at_s in times()]
    for at_s in times():
        actions.append((at_s, cut_at(int(random.integers(1, 200)), int(random.integers(101)))))
    for at_s in times():
        actions.append((at_s, stepping(int(random.choice([-90_000, -61, 3600, 200_000])))))
        actions += [(at_s + DAY_S, Devices.lose_clock), (at_s + 2 * DAY_S, set_clock)]
    for at_s in times():
        zone = int(random.integers(3))
        actions.append((at_s, asking(ASK_CLEAR, -1, 0)))
        actions.append((at_s + 600, asking(ASK_RUN_ANYWAY, zone, int(random.integers(60, 3600)))))
        actions.append((at_s + DAY_S, asking(ASK_CHECK, zone, (int(random.integers(1, 4)),))))
    return Script(
        actions,
        faults,
        drift_ppm=int(random.integers(-100, 101)),
        outage_s=int(random.integers(1, 9000)),
    )


def check_house(lived: Lived[Columns], by_hour: Hourly, start_pf: float) -> None:
    """Every litre that went through a valve reached the ground or stands in a hose."""
    ground, devices = lived.ground, lived.devices
    assert devices is not None
    count = len(ground.strips)
    forced = ground.forcing.copy()
    for zone, strip in enumerate(ground.strips):
        poured = forced[:, count + zone, soil.IRRIGATION]
        # Whole numbers far below 2**53: not a drop may differ.
        assert total(ground.passed[:, zone]) == devices.given[zone]
        assert total(poured) + devices._in_hose[zone] == devices.given[zone]
        assert 0 <= devices._in_hose[zone] <= devices._hold[zone] + FILLING_ML_H + PER_LITRE
        most = HOUR_S * (FILLING_ML_H + BURST_TIMES * 1000.0 * strip.flow_l_h)
        assert ground.passed[:, zone].max() <= most
        assert np.all(forced[:, zone, soil.IRRIGATION] == 0.0)  # the same ground left alone
        assert np.all(forced[:, count + zone, soil.RAIN] == by_hour.rain_mm * strip.exposure)
        poured /= PER_LITRE * strip.area_m2
    before_mm = columns_of(ground.strips, start_pf).stored_mm()
    check_columns(ground.columns, before_mm, forced, ground.results, count)
    yards = columns_of(ground.strips, start_pf, watered=False)
    found = yards.run(np.ascontiguousarray(forced[:, :count]))
    np.testing.assert_array_equal(found, ground.results[:, :count])
    check_columns(yards, before_mm[:count], forced, found)


def troubled_years(years: int, seed: int, a_year: int) -> Lived[Columns]:
    random = np.random.default_rng(seed)
    by_hour = weather(random, years)
    house = any_house(random)
    start_s = day_of(2024, 1, 1) * DAY_S - house.plan.hub.std_s
    script = troubles(random, start_s, days_of(years), a_year)
    policy = Policy("hub", house.plan, house.owner)
    start_pf = float(random.uniform(2.0, 4.2))
    dry = dry_of(house.strips, by_hour, start_pf)
    lived = live(Columns(house.strips, dry, start_s), policy, Sky(by_hour, start_s), script=script)
    check_house(lived, by_hour, start_pf)
    return lived


@pytest.mark.parametrize(
    ("years", "seed", "a_year"),
    [
        *[(1, seed, 12) for seed in range(3)],
        *[pytest.param(YEARS, seed, 2, marks=pytest.mark.slow) for seed in range(4)],
    ],
)
def test_the_hub_with_faults_cuts_and_restarts(years: int, seed: int, a_year: int) -> None:
    lived = troubled_years(years, seed, a_year)
    assert lived.devices is not None
    assert hub_summary(lived)["boots"] > 1.5 * a_year * years
    assert sum(lived.devices.given) > 1000 * years * PER_LITRE
