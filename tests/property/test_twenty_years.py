"""Twenty years, any weather, any plan, any trouble: no water is made and none is lost.

The bar is 1e-9 m. What went through the valves is summed up apart from the ground, without
rounding.
"""

import math
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from evenclay.controller.civil import day_of
from evenclay.controller.plan import GAUGE
from evenclay.controller.ports import ASK_CHECK, ASK_CLEAR, ASK_CLOCK, ASK_RUN_ANYWAY
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.house.devices import PORT_CALLS, Devices
from evenclay.sim.house.faults import Fault, PowerCut, Trouble
from evenclay.sim.house.house import House, Owner
from evenclay.sim.house.plumbing import BURST_TIMES, FILLING_ML_H
from evenclay.sim.house.site import PER_LITRE, Sky
from evenclay.sim.house.standing import SectionGround
from evenclay.sim.replay.life import Action, Policy, Script
from evenclay.sim.replay.lived import Lived, live
from evenclay.sim.report.results import hub_summary
from evenclay.sim.weather.hourly import Hourly
from tests.grounds import even_ground
from tests.houses import make_house, row

Floats = NDArray[np.float64]

YEARS = 20
DAY_S = 86400
MOST_LOST_MM = 1e-6  # that is 1e-9 m


def days_of(years: int) -> int:
    return round(365.25 * years)


def total(values: Floats) -> float:
    return math.fsum(values.reshape(-1).tolist())


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


def check_house(lived: Lived[SectionGround], by_hour: Hourly) -> None:
    """Every litre that went through a valve reached the ground or stands in a hose."""
    ground, devices = lived.ground, lived.devices
    assert devices is not None
    for zone, strip in enumerate(ground.strips):
        poured = total(ground._given[:, zone])
        # Whole numbers far below 2**53: not a drop may differ.
        assert total(ground.passed[:, zone]) == devices.given[zone]
        assert poured + devices._in_hose[zone] == devices.given[zone]
        assert 0 <= devices._in_hose[zone] <= devices._hold[zone] + FILLING_ML_H + PER_LITRE
        most = HOUR_S * (FILLING_ML_H + BURST_TIMES * 1000.0 * strip.flow_l_h)
        assert ground.passed[:, zone].max() <= most
        fell = ground.days.water[:, zone]
        assert total(fell["water_mm"]) == pytest.approx(poured / (PER_LITRE * strip.area_m2))
        assert total(fell["rain_mm"]) == pytest.approx(total(by_hour.rain_mm) * strip.exposure)
    assert np.isfinite(ground.days.pf).all()
    assert ground.mass_balance_error_mm <= MOST_LOST_MM  # in any step


def troubled_years(years: int, seed: int, a_year: int) -> Lived[SectionGround]:
    random = np.random.default_rng(seed)
    by_hour = weather(random, years)
    house = any_house(random)
    start_s = day_of(2024, 1, 1) * DAY_S - house.plan.hub.std_s
    script = troubles(random, start_s, days_of(years), a_year)
    policy = Policy("hub", house.plan, house.owner)
    ground = even_ground(house, by_hour, start_s, float(random.uniform(2.0, 4.2)))
    lived = live(ground, policy, Sky(by_hour, start_s), script=script)
    check_house(lived, by_hour)
    return lived


@pytest.mark.parametrize(
    ("years", "seed", "a_year"),
    [
        (1, 0, 12),
        *[pytest.param(1, seed, 12, marks=pytest.mark.slow) for seed in (1, 2)],
        *[pytest.param(YEARS, seed, 2, marks=pytest.mark.slow) for seed in range(4)],
    ],
)
def test_the_hub_with_faults_cuts_and_restarts(years: int, seed: int, a_year: int) -> None:
    lived = troubled_years(years, seed, a_year)
    assert lived.devices is not None
    assert hub_summary(lived)["boots"] > 1.5 * a_year * years
    assert sum(lived.devices.given) > 1000 * years * PER_LITRE
