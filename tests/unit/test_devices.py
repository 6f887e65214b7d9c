"""The simulated hardware does what its ports promise, and knows the truth about the water."""

from dataclasses import replace
from math import exp
from typing import Any

import numpy as np
import pytest

from evenclay.controller import events
from evenclay.controller.plan import CONTACT
from evenclay.controller.ports import ASK_STOP, PLAN, RECORD
from evenclay.sim.ground.retention import plan_line
from evenclay.sim.ground.textures import TEXTURES
from evenclay.sim.house.devices import Devices
from evenclay.sim.house.faults import DriverError, Fault, PowerCut, Trouble
from evenclay.sim.house.hoses import CLOGGED_FLOOR, CLOGGING_YEARS
from evenclay.sim.house.house import House
from evenclay.sim.house.sensors import CapacitiveProbe, TippingBucket
from evenclay.sim.house.site import PER_LITRE, Sky
from evenclay.sim.house.standing import SectionGround
from evenclay.sim.weather.hourly import Hourly
from tests.grounds import even_ground
from tests.houses import UTC, make_house, still_weather

START_S = 86400 * 1000
# Sensors that show the truth, but for whole ppt and whole tips.
SOUND = CapacitiveProbe(noise_ppt=0.0, pieces_drift=0.0, pieces_c=0.0)
EXACT: dict[str, Any] = {
    "probe": SOUND,
    "gauge": TippingBucket(tip_s=0.0, caught=1.0, wetting_um=0.0),
}


def devices(house: House | None = None, by_hour: Hourly | None = None, **values: Any) -> Devices:
    house = house or make_house(hub=UTC)
    by_hour = by_hour or still_weather(3)
    ground = even_ground(house, by_hour, START_S)
    return Devices(house.plan, ground, Sky(by_hour, START_S), **EXACT | values)


def ground_of(device: Devices) -> SectionGround:
    assert isinstance(device.ground, SectionGround)
    return device.ground


def given_mm(device: Devices) -> Any:
    """What the ground was given, of each hour and zone."""
    return 1000.0 * ground_of(device)._hours.water_m


def assert_alike(one: SectionGround, other: SectionGround) -> None:
    """Two grounds were given the same and are alike."""
    for name in ("passed", "seconds"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    np.testing.assert_array_equal(one._hours.water_m, other._hours.water_m)
    assert one.vwc() == other.vwc()


def planned_ppt(pf: float) -> float:
    """What a plan takes a suction for, which is what there is in the middle ground."""
    return float(plan_line(TEXTURES["clay"]).ppt(pf))


def litres(device: Devices, zone: int) -> float:
    device.catch_up()
    return device.given[zone] / 3_600_000


def test_open_valve_gives_its_flow() -> None:
    device = devices()
    device.open(0, 3600)
    device.advance(START_S + 1800)
    device.close(0)
    device.advance(START_S + 7200)
    assert litres(device, 0) == 40.0
    assert litres(device, 1) == 0.0
    device.advance(START_S + 86400)
    device.catch_up()
    ground = ground_of(device)
    assert ground.passed[0].tolist() == [40.0 * PER_LITRE, 0.0]
    assert ground.seconds[0].tolist() == [1800, 0.0]
    assert ground.passed[1:].sum() == 0.0
    assert given_mm(device)[0, 0] == pytest.approx(40.0 / 12.0)
    assert ground.days.water["water_mm"][0].tolist() == pytest.approx([40.0 / 12.0, 0.0])


def test_a_hose_closes_with_the_years() -> None:
    """As `hoses.aged` has it: e-fold in CLOGGING_YEARS, down to CLOGGED_FLOOR of a new one."""
    house = make_house(hub=UTC)
    old, new = replace(house.strips[0], hose_years=1.0), house.strips[1]
    house = replace(house, strips=(old, new))
    by_hour = still_weather(400)
    device = devices(house, by_hour)
    found = []
    for day in (0, 365):
        for zone in (0, 1):
            before = litres(device, zone)
            device.advance(START_S + 86400 * day + 7200 * zone)
            device.open(zone, 3600)
            device.advance(START_S + 86400 * day + 7200 * zone + 3600)
            device.close(zone)
            found.append(litres(device, zone) - before)
    assert found[0] == old.flow_l_h
    left = [CLOGGED_FLOOR + (1 - CLOGGED_FLOOR) * exp(-y / CLOGGING_YEARS) for y in (1.0, 2.0)]
    assert found[2] == pytest.approx(old.flow_l_h * left[1] / left[0], rel=1e-3)
    assert found[1] == found[3] == new.flow_l_h  # it says nothing of years: it gives it still


def test_water_is_split_at_the_full_hour_however_time_passes() -> None:
    grounds = []
    for step_s in (1, 977, 7200):
        device = devices()
        device.advance(START_S + 3000)
        device.open(1, 3600)
        for at_s in range(START_S + 3000, START_S + 5400, step_s):
            device.advance(min(at_s + step_s, START_S + 5400))
        device.close(1)
        device.ground.catch_up(START_S + 7200)
        grounds.append(ground_of(device))
    assert grounds[0].seconds[:2, 1].tolist() == [600, 1800]
    for ground in grounds[1:]:
        assert_alike(ground, grounds[0])


def test_looking_early_changes_no_water() -> None:
    looked, blind = devices(), devices()
    for device in (looked, blind):
        device.advance(START_S + 1000)
        device.open(0, 9000)
        for at_s in range(START_S + 1000, START_S + 9000, 500):
            device.advance(at_s)
            if device is looked:
                device.catch_up()
        device.close(0)
        device.ground.catch_up(START_S + 4 * 3600)
    assert_alike(ground_of(looked), ground_of(blind))


def test_driver_shuts_at_its_own_deadline() -> None:
    device = devices()
    device.open(0, 600)
    device.advance(START_S + 3600)
    assert not device.open_valves[0]
    assert litres(device, 0) == pytest.approx(80.0 / 6.0)


def test_overlap_is_seen_where_it_is() -> None:
    device = devices(make_house(zones=3, hub=UTC, supplies=[{}, {}]))
    device.open(0, 600)
    device.open(1, 600)
    assert (device.most_open_at_once, device.most_open_on_supply) == (2, 1)
    device.open(2, 600)
    assert (device.most_open_at_once, device.most_open_on_supply) == (3, 2)


def test_a_supply_gives_no_more_than_it_has() -> None:
    device = devices(make_house(hub=UTC, supplies=[{"flow_ml_min": 1500}]))
    device.open(0, 3600)
    device.open(1, 3600)
    device.advance(START_S + 3600)
    assert litres(device, 0) == litres(device, 1) == 45.0


def test_nothing_flows_behind_a_shut_master() -> None:
    device = devices(make_house(hub=UTC, supplies=[{"master": 1}]))
    device.open(0, 3600)
    device.advance(START_S + 600)
    device.catch_up()
    assert device.given == [0, 0]
    device.open(2, 3600)
    device.advance(START_S + 1200)
    device.catch_up()
    assert device.given[0] == 80_000 * 600


@pytest.mark.parametrize(
    ("what", "part"), [(Trouble.BLOCKED, 0.0), (Trouble.BURST, 3.0), (Trouble.PROBE_OPEN, 1.0)]
)
def test_hose_troubles(what: Trouble, part: float) -> None:
    device = devices(faults=[Fault(what, START_S, START_S + 86400)])
    device.open(0, 3600)
    device.advance(START_S + 3600)
    assert litres(device, 0) == 80.0 * part


def test_a_stuck_valve_opens_and_stays_open_until_the_trouble_ends() -> None:
    fault = Fault(Trouble.STUCK_OPEN, START_S + 60, START_S + 120, which=1)
    device = devices(faults=[fault])
    device.advance(START_S + 60)
    device.turn_faults()
    device.close(1)
    device.advance(START_S + 120)
    device.catch_up()
    assert device.given[1] == 80_000 * 60
    device.turn_faults()
    device.close(1)
    device.advance(START_S + 240)
    device.catch_up()
    assert device.given[1] == 80_000 * 60


def test_a_driver_that_raises_moves_nothing() -> None:
    device = devices(faults=[Fault(Trouble.DRIVER_RAISES, START_S, START_S + 60)])
    with pytest.raises(DriverError):
        device.open(0, 60)
    assert not device.open_valves[0]
    device.open(1, 60)
    assert device.open_valves[1]


def test_meter_counts_all_water_since_boot() -> None:
    device = devices(make_house(hub=UTC, supplies=[{"meter": 1}]))
    assert device.look().meter_ml == [0]
    device.open(0, 3600)
    device.advance(START_S + 90)
    assert device.look().meter_ml == [2000]
    device.power_off()
    device.advance(START_S + 180)
    device.power_on()
    assert device.look().meter_ml == [0]
    device.advance(START_S + 225)
    assert device.look().meter_ml == [1000]


def test_gauge_counts_whole_tips_since_boot() -> None:
    device = devices(by_hour=still_weather(2, rain_mm=1.0))
    device.advance(START_S + 2700)
    assert device.look().rain_um == 600
    device.power_off()
    device.power_on()
    assert device.look().rain_um == 0
    device.advance(START_S + 7200)
    assert device.look().rain_um == 1400


def test_a_gauge_misses_drizzle_and_a_part_of_the_rest() -> None:
    house, by_hour = make_house(hub=UTC), still_weather(2, rain_mm=1.0)
    ground = even_ground(house, by_hour, START_S)
    device = Devices(house.plan, ground, Sky(by_hour, START_S))
    seen = []
    for minute in range(0, 48 * 60, 7):
        device.advance(START_S + 60 * minute)
        seen.append(device.look().rain_um)
    assert all(um is not None and um % 200 == 0 for um in seen)
    assert seen == sorted(seen, key=lambda um: um or 0)
    assert seen[-1] == pytest.approx(0.95 * 1000 * 48 - 100, abs=400)


def test_a_probe_reads_by_its_piece_the_warmth_and_the_gap_of_dry_clay() -> None:
    house = make_house(hub=UTC, zone={"probe": 1})

    def reads(start_pf: float, temp_c: float = 20.0, **values: Any) -> list[int]:
        by_hour = still_weather(2, temp_c=temp_c)
        ground = even_ground(house, by_hour, START_S, start_pf)
        device = Devices(house.plan, ground, Sky(by_hour, START_S), **EXACT | values)
        return [ppt for ppt in device.look().soil_vwc_ppt if ppt is not None]

    true_ppt = planned_ppt(3.0)
    assert reads(3.0) == pytest.approx([true_ppt] * 2, abs=2.0)
    assert reads(4.5)[0] < planned_ppt(4.5) - 100.0
    assert reads(3.0, 8.0) == reads(3.0)  # by its thermometer
    bare = replace(SOUND, per_degree_ppt=1.0, taken_off_ppt=0.0)
    assert reads(3.0, 8.0, probe=bare)[0] == pytest.approx(reads(3.0)[0] - 12.0, abs=1.0)
    for what, spread in (("pieces_drift", 0.5), ("pieces_c", 15.0)):
        pieces = reads(3.0, -20.0, probe=replace(SOUND, **{what: spread}), seed=1)
        assert pieces[0] != pieces[1], what
    assert reads(6.5, -40.0, probe=replace(bare, gap_share=0.99)) == [0, 0]


def test_contact_dries_after_rain() -> None:
    rain_mm = np.zeros(48)
    rain_mm[1] = 2.0
    by_hour = Hourly(rain_mm, np.full(48, 10.0), np.zeros(48))
    device = devices(make_house(hub=UTC | {"rain_kind": CONTACT}), by_hour)
    seen = []
    for hour in range(5):
        device.advance(START_S + 3600 * hour + 1800)
        seen.append(device.look().rain_wet)
    assert seen == [False, True, True, False, False]


@pytest.mark.parametrize(
    ("what", "shown_mc"),
    [
        (Trouble.THERMOMETER_SILENT, None),
        (Trouble.THERMOMETER_STUCK, 1000),
        (Trouble.THERMOMETER_COLD, -100_000),
        (Trouble.THERMOMETER_HOT, 100_000),
    ],
)
def test_thermometer_reads_the_hour_or_what_a_trouble_makes_of_it(
    what: Trouble, shown_mc: int | None
) -> None:
    temp_c = np.arange(24.0)
    by_hour = Hourly(np.zeros(24), temp_c, np.zeros(24))
    fault = Fault(what, START_S + 3600 + 60, START_S + 5 * 3600)
    device = devices(by_hour=by_hour, faults=[fault])
    shown = []
    for at_s in (0, 3600, 3660, 2 * 3600, 5 * 3600 - 1, 5 * 3600):
        device.advance(START_S + at_s)
        shown.append(device.look().temp_mc)
    assert shown == [0, 1000, shown_mc, shown_mc, shown_mc, 5000]


@pytest.mark.parametrize(
    ("what", "begun_um", "later_um", "after_um"),
    [
        (Trouble.GAUGE_SILENT, None, None, 4000),
        (Trouble.GAUGE_BLOCKED, 1000, 1000, 3000),
        (Trouble.GAUGE_CHATTERS, 1000, 1400 + 180 * 200, 4000 + 360 * 200),
        (Trouble.GAUGE_DRIPS, 1000, 1400 + 30 * 200, 4000 + 60 * 200),
    ],
)
def test_gauge_troubles(
    what: Trouble, begun_um: int | None, later_um: int | None, after_um: int
) -> None:
    """Of a millimetre an hour; what it missed or made up stays so when the trouble is over."""
    fault = Fault(what, START_S + 3600, START_S + 2 * 3600)
    device = devices(by_hour=still_weather(2, rain_mm=1.0), faults=[fault])
    shown = []
    for at_s in (3600, 3600 + 1800, 4 * 3600):
        device.advance(START_S + at_s)
        shown.append(device.look().rain_um)
    device.power_off()
    device.power_on()
    assert shown == [begun_um, later_um, after_um] and device.look().rain_um == 0


def test_probe_reads_the_watered_strip_half_a_metre_down() -> None:
    device = devices(make_house(hub=UTC, each_zone=[{"probe": 1}, {}]))
    first, none = device.look().soil_vwc_ppt

    def true_ppt() -> int:
        return round(1000.0 * ground_of(device).vwc()[0])

    assert first == true_ppt() == pytest.approx(planned_ppt(2.9), abs=2.0)
    assert none is None
    device.open(0, 10 * 3600)
    device.advance(START_S + 10 * 3600)
    wetter = device.look().soil_vwc_ppt[0]
    assert wetter == true_ppt()
    assert first is not None and wetter is not None and wetter > first + 10


@pytest.mark.parametrize(
    ("what", "ppt"),
    [
        (Trouble.PROBE_OPEN, 0),
        (Trouble.PROBE_SHORT, 900),
        (Trouble.PROBE_SILENT, None),
        (Trouble.PROBE_STUCK, -1),
    ],
)
def test_probe_troubles(what: Trouble, ppt: int | None) -> None:
    house = make_house(hub=UTC, zone={"probe": 1})
    device = devices(house, faults=[Fault(what, START_S + 3600, START_S + 3 * 86400, which=0)])
    before = device.look().soil_vwc_ppt[0]
    device.open(0, 40 * 3600)
    device.open(1, 40 * 3600)
    device.advance(START_S + 40 * 3600)
    seen = device.look().soil_vwc_ppt
    assert seen[0] == (before if ppt == -1 else ppt)
    assert before is not None and seen[1] is not None and seen[1] > before


@pytest.mark.parametrize("what", [Trouble.PROBE_OPEN, Trouble.PROBE_SHORT, Trouble.PROBE_STUCK])
@pytest.mark.parametrize("look_s", [18 * 3600, 20 * 3600, 20 * 3600 + 300])
def test_what_a_probe_shows_does_not_depend_on_looks_before(what: Trouble, look_s: int) -> None:
    """Neither as a fault begins within an hour, nor while it lasts, nor once it is over."""
    begins_s, ends_s = START_S + 20 * 3600 + 900, START_S + 40 * 3600 + 900

    def shown(more_s: list[int]) -> list[int | None]:
        house = make_house(hub=UTC, zone={"probe": 1})
        device = devices(house, faults=[Fault(what, begins_s, ends_s, which=0)])
        device.look()
        device.advance(START_S + 17 * 3600)
        device.open(0, 50 * 3600)  # its ground gets wetter from hour to hour
        found = []
        for at_s in sorted([*more_s, begins_s, begins_s + 1800, ends_s, ends_s + 1800]):
            device.advance(at_s)
            if at_s in (begins_s, ends_s):
                device.turn_faults()
            ppt = device.look().soil_vwc_ppt[0]
            if at_s not in more_s:
                found.append(ppt)
        return found

    seldom = shown([])
    assert seldom == shown([START_S + look_s, ends_s - 600])
    assert len(set(seldom)) == 2
    assert seldom[0] == seldom[1] and seldom[2] == seldom[3]


def test_probe_noise_repeats_with_the_seed() -> None:
    house = make_house(hub=UTC, zone={"probe": 1})

    def readings(seed: int) -> list[int | None]:
        by_hour = still_weather(3)
        ground = even_ground(house, by_hour, START_S)
        device = Devices(house.plan, ground, Sky(by_hour, START_S), seed=seed)
        found = []
        for hour in range(20):
            device.advance(START_S + 3600 * hour)
            found += device.look().soil_vwc_ppt
        return found

    assert readings(4) == readings(4)
    assert readings(4) != readings(5)
    assert len(set(readings(4))) > 3


def test_clock_steps_and_is_lost_while_uptime_goes_on() -> None:
    device = devices()
    device.advance(START_S + 100)
    assert (device.up_s(), device.wall_s()) == (100, START_S + 100)
    device.step_clock(-3600)
    assert (device.up_s(), device.wall_s()) == (100, START_S - 3500)
    device.lose_clock()
    device.step_clock(7)
    assert device.wall_s() is None
    device.set_wall_s(START_S)
    device.advance(START_S + 160)
    assert (device.up_s(), device.wall_s()) == (160, START_S + 60)


@pytest.mark.parametrize("drift_ppm", [-200, 0, 35, 100_000])
def test_a_wake_comes_at_the_first_second_of_its_uptime(drift_ppm: int) -> None:
    device = devices(drift_ppm=drift_ppm)
    for up_s in (1, 59, 3600, 100_003):
        at_s = device.at_up_s(up_s)
        device.now_s = at_s
        assert device.up_s() >= up_s
        device.now_s = at_s - 1
        assert device.up_s() < up_s


def test_power_cut_shuts_held_valves_and_leaves_latching_ones() -> None:
    device = devices(make_house(hub=UTC, each_zone=[{"held": 1}, {"held": 0}]))
    device.open(0, 600)
    device.open(1, 600)
    device.ask((ASK_STOP, -1, 0))
    device.power_off()
    device.advance(START_S + 1800)
    device.catch_up()
    assert device.given == [0, 80_000 * 1800]  # no timer runs without power
    device.power_on()
    assert device.take_asked() == []
    assert (device.up_s(), device.wall_s()) == (0, START_S + 1800)


@pytest.mark.parametrize(
    ("torn_pct", "left"), [(0, b"old old"), (50, b"new old"), (100, b"new new")]
)
def test_a_write_is_torn_where_power_goes(torn_pct: int, left: bytes) -> None:
    device = devices()
    device.write(RECORD, 1, b"old old")
    device.cut_after(1, torn_pct)
    with pytest.raises(PowerCut):
        device.write(RECORD, 1, b"new new")
    assert device.read(RECORD, 1) == left
    assert device.saves == 1


def test_every_port_call_can_be_the_last() -> None:
    calls = [
        ("up_s", ()),
        ("wall_s", ()),
        ("set_wall_s", (START_S,)),
        ("look", ()),
        ("take_asked", ()),
        ("close", (0,)),
        ("open", (0, 60)),
        ("read", (RECORD, 0)),
        ("write", (RECORD, 0, b"x")),
        ("report", ((events.BOOT, -1, 0, 0, 0, 1, 0, 0),)),
        ("feed", ()),
    ]
    for place, (name, arguments) in enumerate(calls):
        device = devices()
        device.cut_after(place + 1)
        for earlier, given in calls[:place]:
            getattr(device, earlier)(*given)
        with pytest.raises(PowerCut):
            getattr(device, name)(*arguments)
        getattr(device, name)(*arguments)  # power is back, and does not go again


def test_saves_that_fail() -> None:
    device = devices(faults=[Fault(Trouble.SAVE_RAISES, START_S, START_S + 1)])
    with pytest.raises(DriverError):
        device.write(RECORD, 0, b"x")
    assert device.read(RECORD, 0) == b""
    device = devices(faults=[Fault(Trouble.SAVE_LOST, START_S, START_S + 1)])
    device.write(RECORD, 0, b"x")
    assert device.read(RECORD, 0) == b""


def test_the_plan_stands_in_the_store() -> None:
    device = devices()
    assert device.read(PLAN, 0) == device.plan.pack()
    assert device.read(PLAN, 1) == b""


def test_a_closing_line_carries_the_water_since_the_last() -> None:
    device = devices()
    closed = (events.CLOSED, 0, events.DONE, 60, 0, 1, 0, 0)
    for _ in range(2):
        device.open(0, 600)
        device.advance(device.now_s + 60)
        device.close(0)
        device.report(closed)
    device.report((events.SKIPPED, 0, events.RAIN, 0, 0, 1, 0, 0))
    assert [heard.water for heard in device.heard] == [80_000 * 60, 80_000 * 60, 0]
    assert device.untold(0) == 0


def test_battery_falls_and_is_changed_after_a_complaint() -> None:
    device = devices(make_house(hub=UTC | {"battery": 1}), still_weather(800))
    fresh = device.look().battery_mv
    assert fresh == 7000 * 135 // 100
    device.advance(START_S + 86400 * 500)
    low = device.look().battery_mv
    assert low is not None and low < 7000
    device.report((events.LOCKED, -1, events.LOW_BATTERY, low, 0, 1, 0, 0))
    device.advance(START_S + 86400 * 502)
    assert device.look().battery_mv < low  # type: ignore[operator]
    device.advance(START_S + 86400 * 503)
    assert device.look().battery_mv == fresh


def hose_devices(flow_ml_min: int, drain_l_h: float) -> Devices:
    """Zones whose hoses hold 3 L and give 60 L/h."""
    house = make_house(
        hub=UTC,
        supplies=[{"flow_ml_min": flow_ml_min, "meter": 1}],
        strip={"flow_l_h": 60.0, "hose_l": 3.0, "drain_l_h": drain_l_h},
    )
    return devices(house)


def on_ground(device: Devices, zone: int) -> float:
    """Litres that reached a strip."""
    return float(given_mm(device)[:, zone].sum() * device.ground.strips[zone].area_m2)


@pytest.mark.parametrize(("flow_ml_min", "fill_s"), [(9500, 20), (0, 10), (1000, 360)])
def test_a_hose_fills_before_it_gives_its_flow(flow_ml_min: int, fill_s: int) -> None:
    # Half of 60 L/h comes out meanwhile: 9 of 9.5 L/min fill 3 L in 20 s.
    device = hose_devices(flow_ml_min, 0.0)
    supply_l_min = flow_ml_min / 1000 or 19.0
    device.open(0, 3600)
    device.advance(START_S + fill_s // 2)
    assert litres(device, 0) == pytest.approx(supply_l_min * (fill_s // 2) / 60)
    device.advance(START_S + 720)
    device.close(0)
    device.advance(START_S + 3000)
    through = supply_l_min * fill_s / 60 + (720 - fill_s) / 60
    assert litres(device, 0) == pytest.approx(through, abs=0.2)
    assert device.look().meter_ml == [int(1000 * litres(device, 0))]
    assert on_ground(device, 0) == pytest.approx(litres(device, 0) - 3.0, abs=0.2)
    # Its hose holds what did not come out, and nothing else.
    assert on_ground(device, 0) + device._in_hose[0] / 3_600_000 == pytest.approx(
        litres(device, 0), rel=1e-12
    )
    assert ground_of(device).passed[:, 0].sum() == device.given[0]


def test_a_hose_that_drained_fills_again_and_its_water_is_not_lost() -> None:
    flat, falling = hose_devices(9500, 0.0), hose_devices(9500, 1.0)
    for device in (flat, falling):
        for hour in range(3):
            device.advance(START_S + 3600 * hour)
            device.open(0, 600)
            device.advance(START_S + 3600 * hour + 600)
    # An hour but ten minutes drain 0.83 L, twice.
    more = litres(falling, 0) - litres(flat, 0)
    assert 2 * 0.83 * 0.9 < more < 2 * 0.83 * 1.1
    for device in (flat, falling):
        kept = device._in_hose[0] / 3_600_000
        assert on_ground(device, 0) + kept == pytest.approx(litres(device, 0), rel=1e-12)


def test_filling_does_not_depend_on_when_someone_looks() -> None:
    once, often = hose_devices(9500, 1.0), hose_devices(9500, 1.0)
    for device, step_s in ((once, 3600), (often, 1)):
        for from_s in (0, 1900, 2600, 7000):
            device.advance(START_S + from_s)
            device.open(0, 3600)
            for at_s in range(from_s, from_s + 500, step_s):
                device.advance(START_S + at_s)
            device.advance(START_S + from_s + 500)
            device.close(0)
    assert once.given == often.given
    assert_alike(ground_of(once), ground_of(often))
