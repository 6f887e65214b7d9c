"""Any small house in any week: what the decisions say is safe, and it is what the water did."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from evenclay.controller.civil import LocalTime, day_of
from evenclay.controller.plan import BAN_HOURS, CONTACT, NO_RAIN_SENSOR, BanPart, PlanError
from evenclay.controller.ports import (
    ASK_CHECK,
    ASK_CLEAR,
    ASK_CLOCK,
    ASK_HOLD,
    ASK_RUN,
    ASK_RUN_ANYWAY,
    ASK_SAMPLE,
    ASK_STOP,
    ASK_TEST,
)
from evenclay.sim.house.devices import Devices
from evenclay.sim.house.faults import Fault, PowerCut, Trouble
from evenclay.sim.house.house import House, Owner
from evenclay.sim.house.site import Sky
from evenclay.sim.house.standing import SectionGround
from evenclay.sim.replay.life import Action, Policy, Script
from evenclay.sim.replay.lived import Lived, live
from evenclay.sim.report import outputs
from evenclay.sim.weather.hourly import Hourly
from evenclay.tools.property.plan_ranges import check_plan
from tests.decisions import parse, verify
from tests.grounds import even_ground
from tests.houses import make_house, row

DAYS = 8
DAY_S = 86400
LITRE = 3_600_000
STEPPED_S = 3 * 3600


@dataclass(frozen=True)
class Case:
    """A house, its week, and what happens from outside."""

    house: House
    by_hour: Hourly
    sky: Sky
    script: Script
    stepped_clock: bool


def rows(draw: st.DrawFn) -> list[Any]:
    months = sorted(draw(st.sets(st.integers(1, 12), min_size=1, max_size=3)))
    return [
        row(
            month=month,
            cycles=draw(st.sampled_from([2, 1, 3, 4, 6, 0])),
            run_s=draw(st.sampled_from([900, 60, 400, 1800, 5400])),
            run_ml=draw(st.sampled_from([0, 0, 0, 30_000])),
            start_min=draw(st.integers(0, 1439)),
            length_min=draw(st.sampled_from([720, 30, 240, 1440])),
        )
        for month in months
    ]


def house(draw: st.DrawFn) -> House:
    zones = draw(st.integers(1, 4))
    each_zone = [
        {
            "probe": draw(st.integers(0, 1)),
            "held": draw(st.integers(0, 1)),
            "share_pct": draw(st.sampled_from([100, 130, 200, 40, 0])),
            "rest_s": draw(st.sampled_from([0, 1800, 7200])),
            "cap_s": draw(st.sampled_from([7200, 3600, 1500, 600])),
        }
        for _ in range(zones)
    ]
    heard = [0, *(1 + zone for zone, part in enumerate(each_zone) if part["probe"])]
    for part in each_zone:
        part["sensor"] = draw(st.sampled_from(heard))
        part["target_um"] = draw(st.sampled_from([20000, 50000]))
    supplies = [
        {
            "gap_s": draw(st.integers(0, 300)),
            "meter": draw(st.integers(0, 1)),
            "master": draw(st.integers(0, 1)),
        }
        for _ in range(draw(st.integers(1, 2)))
    ]
    hub = {
        "open_max": draw(st.integers(1, len(supplies))),
        "rain_kind": draw(st.integers(NO_RAIN_SENSOR, CONTACT)),
        "weekdays": draw(st.sampled_from([127, 127, 0b0010101])),
        "poll_s": draw(st.sampled_from([600, 3600])),
        "watch_s": draw(st.sampled_from([60, 600])),
        "estimate": draw(st.integers(0, 1)),
    }
    first = draw(st.integers(0, 1440))
    last = (first + draw(st.integers(10, 400))) % 1440
    bans = [BanPart({"kind": BAN_HOURS, "first": first, "last": last})]
    return make_house(
        zones=zones,
        hub=hub,
        supplies=supplies,
        each_zone=each_zone,
        rows=rows(draw),
        bans=bans if draw(st.booleans()) else [],
        owner=Owner(checks=draw(st.booleans()), weekday=draw(st.integers(0, 6))),
    )


def week(draw: st.DrawFn) -> Hourly:
    hours = 24 * DAYS
    random = np.random.default_rng(draw(st.integers(0, 2**32)))
    wet_share = draw(st.sampled_from([0.0, 0.03, 0.3]))
    rain_mm = np.where(random.random(hours) < wet_share, random.exponential(3.0, hours), 0.0)
    sun = np.clip(np.sin((np.arange(hours) % 24 - 6) / 12 * np.pi), 0.0, 1.0)
    mean_c = draw(st.sampled_from([22.0, 15.0, 3.0]))
    return Hourly(rain_mm, mean_c + 6.0 * sun, draw(st.floats(0.0, 0.9)) * sun)


def asking(what: int, zone: int, value: object) -> Action:
    return lambda device: device.ask((what, zone, value))


def actions(draw: st.DrawFn, zones: int, start_s: int, clock: bool) -> list[tuple[int, Action]]:
    found: list[tuple[int, Action]] = []
    for _ in range(draw(st.integers(0, 6))):
        at_s = start_s + draw(st.integers(0, DAYS * DAY_S - 1))
        zone = draw(st.integers(-1, zones))
        what = draw(
            st.sampled_from(
                [ASK_HOLD, ASK_CHECK, ASK_SAMPLE, ASK_RUN, ASK_RUN_ANYWAY, ASK_STOP, ASK_CLEAR]
            )
        )
        value: object = draw(st.integers(0, 8000))
        if what == ASK_CHECK:
            value = (draw(st.integers(1, 3)),)
        elif what == ASK_SAMPLE:
            value = draw(st.integers(0, 4))
        elif what == ASK_HOLD:
            value = at_s + draw(st.integers(-DAY_S, 3 * DAY_S))
        found.append((at_s, asking(what, zone, value)))
    if clock:
        at_s = start_s + draw(st.integers(0, DAYS * DAY_S - 1))
        by_s = draw(st.sampled_from([-90_000, -3600, -61, 61, 3600, 200_000]))
        found.append((at_s, lambda device: device.step_clock(by_s)))
        found.append((at_s + 5 * 3600, Devices.lose_clock))
        found.append((at_s + 9 * 3600, lambda device: device.ask((ASK_CLOCK, -1, device.now_s))))
    if draw(st.booleans()):
        at_s = start_s + draw(st.integers(0, DAYS * DAY_S - 1))
        found.append((at_s, lambda device: device.ask((ASK_TEST, -1, 0))))
    return found


@st.composite
def cases(draw: st.DrawFn, clock: bool = False, faults: bool = False) -> Case:
    drawn = house(draw)
    try:
        check_plan(drawn.plan)
        drawn.plan.pack()
    except PlanError:
        assume(False)
    by_hour = week(draw)
    day = day_of(2024, 1, 1) + draw(st.integers(0, 3000))
    start_s = day * DAY_S - drawn.plan.hub.std_s
    zones = len(drawn.strips)
    found = []
    if faults:
        for _ in range(draw(st.integers(1, 3))):
            what = draw(st.sampled_from([t for t in Trouble if t is not Trouble.STUCK_OPEN]))
            at_s = start_s + draw(st.integers(0, DAYS * DAY_S))
            which = draw(st.integers(0, zones - 1))
            found.append(Fault(what, at_s, at_s + draw(st.integers(60, 3 * DAY_S)), which))
    script = Script(actions(draw, zones, start_s, clock), found)
    return Case(drawn, by_hour, Sky(by_hour, start_s), script, clock)


def replayed(case: Case) -> tuple[Lived[SectionGround], Devices]:
    owner = case.house.owner if case.house.owner.checks else None
    policy = Policy("hub", case.house.plan, owner)
    ground = even_ground(case.house, case.by_hour, case.sky.start_s)
    lived = live(ground, policy, case.sky, script=case.script)
    assert lived.devices is not None
    return lived, lived.devices


def lines_of(case: Case, devices: Devices) -> list[str]:
    calendar = outputs.Calendar(LocalTime(case.house.plan.hub), 0)
    found = outputs.decisions(case.house, calendar, devices)
    return [outputs.json_line(line) for line in found]


def check(case: Case, caps: bool) -> int:
    """Assert that a replayed week was safe. Returns how many runs it had."""
    lived, devices = replayed(case)
    plan, lines = parse(lines_of(case, devices))
    runs = verify(plan, lines, caps)
    assert devices.most_open_on_supply <= 1
    assert devices.most_open_at_once <= case.house.plan.hub.open_max
    for zone, strip in enumerate(case.house.strips):
        told = sum(run.line["litres"] for run in runs if run.zone == strip.name)
        assert abs(told - devices.given[zone] / LITRE) <= 0.0005 * len(runs) + 1e-9
    assert lived.ground.mass_balance_error_mm <= 1e-6
    assert np.isfinite(lived.ground.days.pf).all()
    return len(runs)


@pytest.mark.parametrize(
    ("values", "caps"),
    [({}, True), ({"clock": True}, False), ({"faults": True}, True)],
    ids=["any week", "a clock that steps and is lost", "devices that fail"],
)
def test_a_week_is_safe_and_its_water_is_accounted_for(values: dict[str, bool], caps: bool) -> None:
    runs = 0

    @given(cases(**values))
    @settings(max_examples=60)
    def each(case: Case) -> None:
        nonlocal runs
        runs += check(case, caps)

    each()
    assert runs >= 300  # so that no drawing of empty weeks can pass


@given(cases())
@settings(max_examples=15)
def test_the_same_week_twice_gives_the_same_lines(case: Case) -> None:
    assert lines_of(case, replayed(case)[1]) == lines_of(case, replayed(case)[1])


@given(cases(clock=True), st.integers(0, DAYS * DAY_S - STEPPED_S))
@settings(max_examples=25, phases=[Phase.explicit, Phase.reuse, Phase.generate])  # slow to shrink
def test_hours_stepped_every_second_decide_the_same(case: Case, of_week_s: int) -> None:
    if case.script.actions:  # where something happens, rather than anywhere
        of_week_s = case.script.actions[0][0] - case.sky.start_s - STEPPED_S // 2
    from_s = case.sky.start_s + of_week_s
    stepped = replace(case.script, stepped=[(from_s, from_s + STEPPED_S)])
    _, devices = replayed(replace(case, script=stepped))
    assert lines_of(case, devices) == lines_of(case, replayed(case)[1])


@given(cases(faults=True), st.integers(0, DAYS * DAY_S), st.integers(1, DAY_S), st.data())
@settings(max_examples=30, phases=[Phase.explicit, Phase.reuse, Phase.generate])  # slow to shrink
def test_looks_at_a_meter_that_stands_still_may_be_left_out(
    case: Case, from_s: int, for_s: int, data: st.DataObject
) -> None:
    """A replay leaves them out; where all are taken nothing is decided otherwise."""
    start_s = case.sky.start_s + from_s
    which = data.draw(st.integers(0, len(case.house.strips) - 1))
    stuck = Fault(Trouble.STUCK_OPEN, start_s, start_s + for_s, which)
    case = replace(case, script=replace(case.script, faults=[*case.script.faults, stuck]))
    fewer, devices = replayed(case)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Devices, "meter_runs", lambda _: True)
        more, all_looked = replayed(case)
    assert devices.heard == all_looked.heard and devices.copies == all_looked.copies
    assert fewer.wakes <= more.wakes


@given(cases(), st.integers(1, 100_000), st.integers(0, 4), st.integers(1, 4000))
@settings(max_examples=40)
def test_power_that_goes_at_any_call_opens_no_two_valves(
    case: Case, call: int, quarter: int, outage_s: int
) -> None:
    def arm(devices: Devices) -> None:
        devices.cut_after(call, 25 * quarter)

    start = [(case.sky.start_s + DAY_S, arm)]
    script = replace(case.script, actions=[*case.script.actions, *start], outage_s=outage_s)
    _, devices = replayed(replace(case, script=script))
    assert devices.most_open_on_supply <= 1
    assert devices.most_open_at_once <= case.house.plan.hub.open_max


def test_a_power_cut_is_no_exception_that_a_handler_could_catch() -> None:
    assert not issubclass(PowerCut, Exception)
