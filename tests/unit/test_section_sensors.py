"""Sensors in a cross-section: what they show of it, and their lasting errors."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from evenclay.sim.calendar import HOUR_S
from evenclay.sim.ground.plausible import judged, middle
from evenclay.sim.ground.retention import plan_line
from evenclay.sim.ground.textures import TEXTURES, pf_of_kpa
from evenclay.sim.house.devices import Devices
from evenclay.sim.house.house import House, Probe
from evenclay.sim.house.sensors import GRANULAR_MATRIX, TENSIOMETER, CapacitiveProbe
from evenclay.sim.house.site import Sky
from evenclay.sim.house.standing import SectionGround, Standing, sides_of, stand
from tests.houses import UTC, make_house, still_weather

TEXTURE = TEXTURES["clay"]
EXACT = CapacitiveProbe(noise_ppt=0.0, pieces_drift=0.0, pieces_c=0.0)
C_MIDDLE = 0.09  # water a pF in the middle ground


def house_with(probe: Probe) -> House:
    house = make_house(hub=UTC, zone={"probe": 1})
    return replace(house, strips=tuple(replace(one, probe=probe) for one in house.strips))


@cache
def standing(probe: Probe, suction_error_pf: float = 0.0, content_error: float = 0.0) -> Standing:
    """The second zone's sensor has an error; the first one's has none."""
    house = house_with(probe)
    ground = middle(sides_of(house), -15.0)
    off = replace(
        ground.zones[1], suction_error_pf=suction_error_pf, content_error_m3_m3=content_error
    )
    zones = (ground.zones[0], off)
    return stand(house, replace(ground, zones=zones), still_weather(365), keep=False)


def reads(of: Standing, pf: float, probe: CapacitiveProbe = EXACT) -> list[int | None]:
    """What the hub is shown of both strips at one suction."""
    by_hour = still_weather(1)
    ground = SectionGround(of, by_hour, 0)
    of.settled.section.set_pf(pf)
    plan = house_with(of.strips[0].probe).plan
    return list(Devices(plan, ground, Sky(by_hour, 0), probe=probe).look().soil_vwc_ppt)


def planned_ppt(pf: float) -> float:
    return float(plan_line(TEXTURE).ppt(pf))


@pytest.mark.parametrize("pf", [2.3, 2.5, 2.9, 3.2])
def test_without_error_both_kinds_stand_at_the_plan_s_own_suctions(pf: float) -> None:
    """What a plan takes for pF 2.5 is 416 ppt, and so it is in the middle ground."""
    for probe in (True, "suction"):
        for shown in reads(standing(probe), pf):
            assert shown == pytest.approx(planned_ppt(pf), abs=3.0)


@pytest.mark.parametrize("error", [-0.04, 0.04])
def test_a_capacitive_probe_keeps_the_error_of_its_ground(error: float) -> None:
    """4 % by volume are 0.44 pF in the middle ground: as if the soil stood so much wetter."""
    right, off = reads(standing(True, content_error=error), 3.0)
    assert right is not None and off is not None
    assert right == pytest.approx(planned_ppt(3.0), abs=2.0)
    assert off == pytest.approx(planned_ppt(3.0 - error / C_MIDDLE), abs=3.0)
    assert abs(off - right) > 15


@pytest.mark.parametrize("error_pf", [-0.3, 0.2])
def test_a_suction_sensor_keeps_the_error_of_its_ground(error_pf: float) -> None:
    right, off = reads(standing("suction", suction_error_pf=error_pf), 2.8)
    assert right == pytest.approx(planned_ppt(2.8), abs=4.0)
    assert off == pytest.approx(planned_ppt(2.8 + error_pf), abs=4.0)


def test_a_suction_sensor_shows_nothing_beyond_its_range() -> None:
    most_pf = pf_of_kpa(200.0)
    assert reads(standing("suction"), most_pf + 0.05) == [None, None]
    assert None not in reads(standing("suction"), most_pf - 0.05)
    # One that shows too little reaches further, one that shows too much less far.
    assert reads(standing("suction", suction_error_pf=-0.3), most_pf + 0.2)[0] is None
    assert reads(standing("suction", suction_error_pf=-0.3), most_pf + 0.2)[1] is not None
    assert reads(standing("suction", suction_error_pf=0.2), most_pf - 0.1)[1] is None
    # In wet soil it shows 10 kPa whatever lies below.
    wettest = planned_ppt(pf_of_kpa(10.0))
    assert reads(standing("suction"), 1.5)[0] == pytest.approx(wettest, abs=4.0)


def test_ranges_of_both_kinds_of_suction_sensor() -> None:
    assert np.isnan(GRANULAR_MATRIX.shows_pf(pf_of_kpa(201.0)))
    assert np.isnan(TENSIOMETER.shows_pf(pf_of_kpa(81.0)))
    assert float(TENSIOMETER.shows_pf(pf_of_kpa(79.0))) == pytest.approx(pf_of_kpa(79.0))
    assert float(GRANULAR_MATRIX.shows_pf(0.0)) == pytest.approx(pf_of_kpa(10.0))


def test_readings_scatter_and_repeat_with_the_seed() -> None:
    for probe in (True, "suction"):
        of, by_hour = standing(probe), still_weather(200)
        ground = SectionGround(of, by_hour, 0)
        earth_c = np.full(200 * 24, 20.0)
        for zone in range(2):
            curve, added = ground.sensor(zone, CapacitiveProbe(pieces_c=0.0), earth_c, 7)
            assert len(curve) == 1001 and len(added) == len(earth_c) + 1
            assert np.std(added) == pytest.approx(3.0 if probe is True else 2.0, rel=0.05)
            again = ground.sensor(zone, CapacitiveProbe(pieces_c=0.0), earth_c, 7)
            assert again[1] == added
            assert ground.sensor(zone, CapacitiveProbe(pieces_c=0.0), earth_c, 8)[1] != added


def test_errors_of_judged_grounds_are_as_large_as_the_table_says() -> None:
    """Standard errors of 0.2 pF and 0.04, cut off at two of them: 0.88 of that is left."""
    grounds = judged(sides_of(house_with(True)), -15.0)
    pf = np.array([[zone.suction_error_pf for zone in one.zones] for one in grounds])
    content = np.array([[zone.content_error_m3_m3 for zone in one.zones] for one in grounds])
    assert pf.std() == pytest.approx(0.88 * 0.2, rel=0.1)
    assert content.std() == pytest.approx(0.88 * 0.04, rel=0.1)
    assert abs(pf.mean()) < 0.02 and abs(content.mean()) < 0.004
    assert np.abs(pf).max() <= 0.4 and np.abs(content).max() <= 0.08


def test_a_dead_sensor_comes_back_when_the_soil_is_wet_again() -> None:
    of, by_hour = standing("suction"), still_weather(1)
    ground = SectionGround(of, by_hour, 0)
    device = Devices(house_with("suction").plan, ground, Sky(by_hour, 0))
    section = of.settled.section
    section.set_pf(3.6)
    assert device.look().soil_vwc_ppt == [None, None]
    section.set_pf(2.6)
    device.advance(HOUR_S)
    assert None not in device.look().soil_vwc_ppt


@pytest.mark.parametrize("seed", range(3))
def test_what_is_seen_hangs_not_on_when_someone_looks(seed: int) -> None:
    """Ground that nothing changes is not stepped; whoever looks sees what it would be if it were.

    Rain and water at any second, looked at in every hour, or now and then.
    """
    random = np.random.default_rng(seed)
    days = 40
    wet = random.random(24 * days) < 0.03
    by_hour = replace(
        still_weather(days),
        rain_mm=np.where(wet, random.exponential(2.0, wet.shape), 0.0),
        et0_mm=np.full(wet.shape, 0.2),
    )
    runs = [
        (int(random.integers(2)), int(at_s), int(at_s + random.integers(1, 9000)))
        for at_s in np.sort(random.integers(0, (24 * days - 4) * HOUR_S, 30))
    ]
    seldom = set(random.choice(24 * days, 60, replace=False).tolist())
    found: list[tuple[SectionGround, dict[int, list[float]]]] = []
    for looked in (set(range(24 * days)), seldom):
        ground, seen = SectionGround(standing(True), by_hour, 0), {}
        for hour in range(24 * days + 1):
            if hour in looked:
                ground.catch_up(hour * HOUR_S)
                seen[hour] = [*ground.vwc(), *ground.strip_pf()]
            for zone, from_s, to_s in runs:
                first_s, last_s = max(from_s, hour * HOUR_S), min(to_s, (hour + 1) * HOUR_S)
                if first_s < last_s:
                    ground.water(zone, 30_000, first_s, last_s)
        ground.catch_up(24 * days * HOUR_S)
        found.append((ground, seen))
    (often, all_seen), (rarely, some_seen) = found
    assert all(all_seen[hour] == seen for hour, seen in some_seen.items())
    assert (often.days.pf == rarely.days.pf).all() and (often.days.water == rarely.days.water).all()
    assert max(often.litres().sum(axis=0)) > 0.0 and often.mass_balance_error_mm <= 1e-6
