"""Informed: the property's own hub and hoses, told the truth."""

from collections import defaultdict
from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenclay.controller import events
from evenclay.controller.limits import DAY_S
from evenclay.controller.plan import CONTACT, GAUGE, NO_RAIN_SENSOR
from evenclay.controller.probe import Probe
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.ground.plausible import middle
from evenclay.sim.house.devices import PROBE
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import SectionGround, Standing, sides_of, stand
from evenclay.sim.judge import informed, strip
from evenclay.sim.judge.policies import probed
from evenclay.sim.judge.weigh import record_of, targets_pf
from evenclay.sim.replay.life import Policy
from evenclay.sim.replay.lived import Lived, live
from evenclay.sim.replay.stay import stay_of, weather_of
from evenclay.sim.section.layout import LAYOUT
from evenclay.sim.types import Floats
from evenclay.tools.property.plan_ranges import check_plan
from tests.houses import make_house, row
from tests.published.test_replays import record

ROWS = [
    row(month=4, cycles=3, run_s=300, start_min=300, length_min=600),
    row(month=11, cycles=0, run_s=0),
]
FROST_ON_MC, FROST_OFF_MC = 11000, 13000  # high, so that there are such days in an open season


@cache
def lived() -> tuple[House, Standing, Floats, Floats, Lived[informed.ToldGround]]:
    """House, ground, unwatered strips, targets, and two years of Tunis under informed."""
    frost = {"frost": 1, "frost_on_mc": FROST_ON_MC, "frost_off_mc": FROST_OFF_MC}
    house = probed(make_house(zones=2, rows=ROWS, hub=frost | {"rain_kind": GAUGE}))
    stay = stay_of(record("tunis"), date(1989, 1, 1), date(1990, 12, 31))
    sky, by_hour, climate = weather_of(house, stay, 1)
    standing = stand(house, middle(sides_of(house), -30.0, 0.4), climate, keep=False)
    dry = SectionGround(standing, by_hour, sky.start_s)
    live(dry, Policy("none", None, None), sky)
    unwatered = record_of(dry)
    targets = targets_pf(house, standing, unwatered.strip_pf, 0.4)
    made = informed.live_informed(house, standing, by_hour, sky, targets)
    return house, standing, unwatered.strip_pf, targets, made


def test_targets_are_by_the_true_level_of_the_ground() -> None:
    _, standing, unwatered, targets, _ = lived()
    mean = strip.mean_pf(unwatered, LAYOUT.edges_m)
    assert mean.mean(axis=0) == pytest.approx(standing.level_pf, abs=0.1)  # whole record
    assert np.all(targets >= standing.level_pf - 0.4 - 1e-9) and np.all(targets >= 2.5)


def test_informed_waters_and_keeps_its_strips_nearer_to_their_targets() -> None:
    _, _, unwatered, targets, made = lived()
    summer = slice(150, 300)
    wet, dry = (
        strip.mean_pf(pf, LAYOUT.edges_m)[summer]
        for pf in (record_of(made.ground).strip_pf, unwatered)
    )
    assert made.ground.litres().sum() > 1000.0
    assert np.all(np.abs(wet - targets).mean(axis=0) < 0.5 * np.abs(dry - targets).mean(axis=0))


def test_nothing_opens_in_a_closed_season_nor_in_frost() -> None:
    *_, made = lived()
    time_s = made.ground.start_s
    sky = made.devices.sky if made.devices else None
    assert sky is not None
    litres = made.ground.litres()
    months = np.array([(date(1989, 1, 1) + timedelta(days=day)).month for day in range(730)])
    assert litres[(months < 4) | (months > 10)].sum() == 0.0
    opened = [h.at_s for h in made.heard if h.event[0] == events.OPENED]
    assert len(opened) > 100
    frosty = 0
    for at_s in opened:
        temp_mc = sky.temp_mc[(at_s - time_s) // HOUR_S]
        assert temp_mc > FROST_ON_MC
    for hour, temp_mc in enumerate(sky.temp_mc[:-1]):
        frosty += temp_mc <= FROST_ON_MC and months[hour // 24] in (4, 5, 10)
    assert frosty > 10


def test_no_run_is_longer_than_its_row_and_no_day_than_its_cap() -> None:
    house, _, _, _, made = lived()
    plan = informed.informed_plan(house)
    given_s: dict[tuple[int, int], int] = defaultdict(int)
    for heard in made.heard:
        what, zone = heard.event[0], heard.event[1]
        if what in (events.CLOSED, events.CUT_SHORT):
            seconds = heard.event[3]
            part = plan.zones[zone]
            assert seconds <= plan.rows[0].run_s * part.share_pct // 100
            given_s[zone, (heard.at_s - made.ground.start_s) // DAY_S] += seconds
    most = {zone: max(s for (z, _), s in given_s.items() if z == zone) for zone in range(2)}
    for zone, seconds in most.items():
        assert seconds <= plan.zones[zone].cap_s
        # On some day it takes all that fits: its cap, or half of the window's cycles.
        share = plan.zones[zone].share_pct / 100
        assert seconds > 0.9 * plan.rows[0].cycles * plan.rows[0].run_s * share


def test_the_plan_keeps_what_is_the_property_s_and_drops_what_guesses() -> None:
    bans = {"weekdays": 31, "rain_kind": GAUGE, "estimate": 1}
    house = probed(make_house(zones=2, rows=ROWS, hub=bans))
    plan = informed.informed_plan(house)
    check_plan(plan)
    assert plan.hub.rain_kind == NO_RAIN_SENSOR and plan.hub.estimate == 0
    assert plan.hub.weekdays == 31 and plan.supplies == house.plan.supplies
    assert all(zone.probe and not zone.sensor for zone in plan.zones)
    assert [zone.cap_s for zone in plan.zones] == [zone.cap_s for zone in house.plan.zones]
    for mine, own in zip(plan.rows, house.plan.rows, strict=True):
        assert (mine.cycles, mine.start_min, mine.length_min) == (
            own.cycles,
            own.start_min,
            own.length_min,
        )
    contact = informed.informed_plan(make_house(zones=1, rows=ROWS, hub={"rain_kind": CONTACT}))
    assert contact.hub.rain_kind == CONTACT


@given(
    cycles=st.integers(1, 8),
    length_min=st.integers(120, 900),
    share_pct=st.sampled_from([0, 40, 100, 250]),
    rest_min=st.integers(0, 60),
    zones=st.integers(1, 4),
)
def test_raised_rows_are_a_good_plan_and_a_cycle_fits(
    cycles: int, length_min: int, share_pct: int, rest_min: int, zones: int
) -> None:
    rows = [row(cycles=cycles, run_s=60, start_min=600, length_min=length_min)]
    zone = {"share_pct": share_pct, "rest_s": 60 * rest_min}
    house = make_house(zones=zones, rows=rows, zone=zone)
    plan = informed.informed_plan(house)
    check_plan(plan)
    (mine,) = plan.rows
    taken_s = 0
    for own, part in zip(house.plan.zones, plan.zones, strict=True):
        assert (part.share_pct == 0) == (own.share_pct == 0)
        assert part.cap_s == own.cap_s
        run_s = mine.run_s * part.share_pct // 100
        assert run_s * cycles <= max(part.cap_s, 60 * cycles)
        taken_s += run_s + plan.supplies[0].gap_s
    assert taken_s <= 60 * length_min // cycles or mine.run_s == 60


@given(wet=st.lists(st.integers(1, 900), min_size=1, max_size=5))
def test_a_hub_believes_what_the_probes_show_however_long_ground_stays_wet(wet: list[int]) -> None:
    """Wet for so many days, dry for three, and so on: only one day in seventeen months is amiss."""
    plan = informed.informed_plan(make_house(zones=1, rows=ROWS))
    probe = Probe(plan.zones[0], 10800)
    shown = [[True] * days + [False] * 3 for days in wet]
    truth = [one for spell in shown for one in spell]
    ground = informed.Shown(1)
    up_s, amiss = 0, 0
    for is_wet in truth:
        (ppt,) = ground.on_a_day(np.array([is_wet]))
        for _ in range(8):
            probe.read(round(1000.0 * ppt), up_s, 0, 0, 0)
            up_s += 10800
            assert probe.trusted
        amiss += probe.wet != is_wet
    assert amiss <= len(truth) // informed.WET_DAYS_MOST


def test_its_sensors_show_what_there_is() -> None:
    shown, added = informed.ToldGround.sensor(None, 0, PROBE, np.zeros(24), 1)  # type: ignore[arg-type]
    assert shown == list(range(1001))
    assert added == [0.0] * 25
