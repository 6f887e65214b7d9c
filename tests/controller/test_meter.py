"""The flow meter at its thresholds, with water that flows through the bench's pipes."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenclay.controller.events import (
    ALARM,
    BURST,
    CLEARED,
    CLOSED,
    CUT_SHORT,
    DONE,
    FAULT,
    LEAK,
    LEARNED,
    LITRES,
    NO_FLOW,
    OFF_PLAN,
    OK,
    OPENED,
    REFUSED,
    SUPPLY_NO_FLOW,
    TEST,
)
from evenclay.controller.limits import ZONES_MAX
from evenclay.controller.meter import Meter
from evenclay.controller.plan import Plan
from evenclay.controller.ports import ASK_CLEAR, ASK_RUN, ASK_TEST
from tests.bench import (
    DAY_S,
    HOUR_S,
    MIN_S,
    Piped,
    ask,
    edges,
    opened,
    piped,
    runs,
    spans,
    utc_plan,
)
from tests.core import row

FIRST_S = 6 * HOUR_S
NOON_S = 12 * HOUR_S
FOUND_S = 60  # settled after half a minute, measured over another


def metered(zones: int | list[dict[str, int]] = 1, supplies: int = 1, open_max: int = 1) -> Plan:
    return utc_plan(zones, supplies=[{"meter": 1}] * supplies, open_max=open_max)


def learned(bench: Piped, flow_ml_min: int) -> None:
    bench.runner.hub.record.flow_ml_min[:] = [flow_ml_min] * len(bench.plan.zones)


# Flow while open.


@pytest.mark.parametrize(
    ("baseline", "flow_ml_min", "why"),
    [
        (0, 48, NO_FLOW),
        (0, 52, OK),
        (0, 60000, OK),  # without a baseline nothing is too much
        (4000, 396, NO_FLOW),  # the count is in whole millilitres
        (4000, 404, OK),
        (4000, 5996, OK),
        (4000, 6008, BURST),
        (400, 48, NO_FLOW),
    ],
)
def test_flow_is_judged_by_what_was_learned(baseline: int, flow_ml_min: int, why: int) -> None:
    bench = piped(metered())
    learned(bench, baseline)
    bench.flow_ml_min = [flow_ml_min]
    bench.run_until(NOON_S - 1)
    if why == OK:
        assert runs(bench) == [(CLOSED, DONE, FIRST_S + 600)]
        assert bench.told(CLOSED)[0][4] == flow_ml_min * 10
        assert bench.told(ALARM) == []
    else:
        assert runs(bench) == [(CUT_SHORT, FAULT, FIRST_S + FOUND_S)]
        assert edges(bench, why, 0) == [(1, FIRST_S + FOUND_S)]


def test_a_blocked_zone_is_tried_once_a_day_and_the_others_go_on() -> None:
    bench = piped(metered(2))
    bench.flow_ml_min[0] = 0
    bench.run_until(5 * DAY_S)
    tries = opened(bench, 0)
    assert [b - a for a, b in pairwise(tries)] == [DAY_S] * 4
    assert len(opened(bench, 1)) == 10
    assert edges(bench, NO_FLOW) == [(1, FIRST_S + FOUND_S)]
    assert edges(bench, SUPPLY_NO_FLOW) == []
    bench.flow_ml_min[0] = 3000
    bench.run_until(8 * DAY_S)
    assert [on for on, _ in edges(bench, NO_FLOW)] == [1, 0]
    assert bench.runner.hub.record.zone_faults == [0, 0]
    assert len(opened(bench, 0)) >= len(tries) + 3


@pytest.mark.no_cover
def test_a_supply_without_flow_is_tried_once_a_day() -> None:
    zones = [{"supply": 0}, {"supply": 0}, {"supply": 1}]
    bench = piped(metered(zones, 2))
    bench.flow_ml_min = [0, 0, 3000]
    bench.run_until(5 * DAY_S)
    supply_edges = edges(bench, SUPPLY_NO_FLOW, ZONES_MAX + 0)
    assert [on for on, _ in supply_edges] == [1]
    found_s = supply_edges[0][1]
    tries = sorted(up_s for zone in (0, 1) for up_s in opened(bench, zone) if up_s > found_s)
    assert 3 <= len(tries) <= 4
    assert all(b - a >= 23 * HOUR_S for a, b in pairwise([found_s, *tries]))
    assert len(opened(bench, 2)) == 10
    bench.flow_ml_min = [3000, 3000, 3000]
    bench.run_until(9 * DAY_S)
    assert [on for on, _ in edges(bench, SUPPLY_NO_FLOW)] == [1, 0]
    assert [on for on, _ in edges(bench, NO_FLOW)] == [1, 1, 0, 0]


def test_a_burst_stays_until_the_owner_clears_it() -> None:
    bench = piped(metered())
    learned(bench, 1000)
    bench.run_until(NOON_S)
    assert edges(bench, BURST) == [(1, FIRST_S + FOUND_S)]
    bench.flow_ml_min = [1000]
    bench.boot()  # uptime begins again at noon
    clear_s = 2 * DAY_S + 17 * HOUR_S  # five in the morning
    bench.run_until(clear_s)
    assert opened(bench) == [FIRST_S]
    assert ask(bench, ASK_RUN, 0, 600) == (False, FAULT)
    assert ask(bench, ASK_CLEAR, 0) == (True, OK)
    assert edges(bench, BURST)[-1] == (0, clear_s)
    bench.run_until(clear_s + HOUR_S - 1)
    assert opened(bench) == [FIRST_S]  # clearing opens nothing: only the next cycle does
    bench.run_until(clear_s + 2 * HOUR_S)
    assert runs(bench)[-1] == (CLOSED, DONE, clear_s + HOUR_S + 600)


def test_a_silent_meter_judges_nothing() -> None:
    bench = piped(metered())
    learned(bench, 1000)
    bench.seen.meter_ml = [None]
    bench.run_until(DAY_S)
    assert [what for what, _, _ in runs(bench)] == [CLOSED, CLOSED]
    assert bench.told(CLOSED)[0][4] == 0


def test_a_meter_that_begins_again_in_a_run_is_no_fault() -> None:
    bench = piped(metered())
    learned(bench, 3000)
    bench.run_until(FIRST_S + 100)
    bench.count()
    bench.flowed = [0]
    bench.run_until(NOON_S - 1)
    assert runs(bench) == [(CLOSED, DONE, FIRST_S + 600)]


# Flow while shut.


def test_a_litre_through_shut_valves_is_a_leak_and_stops_everything() -> None:
    zones = [{"supply": 0}, {"supply": 1}]
    made = utc_plan(zones, supplies=[{"meter": 1}, {"meter": 1}], open_max=2)
    bench = piped(made)
    bench.run_until(FIRST_S + 2 * MIN_S)
    assert len(bench.open_since) == 2
    bench.run_until(FIRST_S + HOUR_S)
    bench.leak_ml_min[0] = 100
    bench.run_until(FIRST_S + HOUR_S + 9 * MIN_S)
    assert edges(bench, LEAK) == []
    assert ask(bench, ASK_RUN, 1, 3600) == (True, OK)
    bench.run_until(FIRST_S + HOUR_S + 10 * MIN_S)
    leak_s = FIRST_S + HOUR_S + 10 * MIN_S
    assert edges(bench, LEAK) == [(1, leak_s)]
    assert runs(bench, 1)[-1] == (CUT_SHORT, FAULT, leak_s)
    closed = [valve for what, valve, up_s in bench.calls if what == "close" and up_s == leak_s]
    assert sorted(closed[:2]) == [0, 1]
    assert not bench.open_since


def idle(**supply: int) -> Piped:
    """One metered zone at noon, its day's runs given, whose sensors are read every three hours."""
    made = utc_plan(starts_min=(360,), supplies=[{"meter": 1, **supply}], poll_s=3 * HOUR_S)
    bench = piped(made)
    bench.run_until(NOON_S)
    return bench


def test_water_with_all_valves_shut_is_found_in_minutes() -> None:
    bench = idle()
    before_ml = bench.flowed[0] // 60
    bench.leak_ml_min = [20000]
    bench.run_until(NOON_S + HOUR_S)
    ((on, found_s),) = edges(bench, LEAK)
    assert on and found_s <= NOON_S + 2 * MIN_S
    assert bench.flowed[0] // 60 - before_ml == 20000 * 60
    assert ask(bench, ASK_RUN, 0, 600) == (False, FAULT)


def test_a_pulse_that_counts_is_looked_at_at_once() -> None:
    bench = idle()
    for second in (1, 2):
        bench.now_s += 1
        bench.flowed[0] += 60 * 600
        bench.runner.turn()
        assert len(edges(bench, LEAK)) == second - 1


def test_a_look_at_a_meter_reads_no_slow_sensor() -> None:
    """`due_s` is when they are to be read; only the meter is looked at every minute."""
    bench = idle()
    hub = bench.runner.hub
    polls = hub.polls
    wakes = 0
    while bench.now_s < NOON_S + 3 * HOUR_S:
        assert bench.runner.turn() == hub.wake_s == min(bench.now_s + MIN_S, hub.due_s)
        assert hub.due_s > bench.now_s
        bench.now_s = hub.wake_s
        wakes += 1
    assert wakes >= 180 and hub.polls - polls <= 1


def test_a_hub_without_a_meter_wakes_for_none() -> None:
    bench = piped(utc_plan(starts_min=(360,), poll_s=3 * HOUR_S))
    assert bench.runner.hub.wake_s == bench.runner.hub.due_s == 3 * HOUR_S


def test_a_meter_whose_zone_is_open_is_read_as_before() -> None:
    bench = piped(metered())
    bench.run_until(FIRST_S + 2 * MIN_S)
    assert bench.open_since
    assert bench.runner.hub.wake_s == bench.runner.hub.due_s


# Valves that travel.


@pytest.mark.parametrize("flow_ml_min", [3000, 20000])
@pytest.mark.parametrize("reboots", [False, True])
@pytest.mark.no_cover
def test_a_valve_that_travels_is_no_leak_and_a_leak_after_it_is(
    flow_ml_min: int, reboots: bool
) -> None:
    made = utc_plan(2, supplies=[{"meter": 1, "travel_s": 12}], zone={"flow_ml_min": 0})
    bench = piped(made)
    bench.flow_ml_min = [flow_ml_min] * 2
    for second in range(FIRST_S - 60, FIRST_S + 1500):  # on a board, a turn every second
        bench.run_until(second)
    if reboots:  # the power goes in a run: its valve travels shut at boot
        bench.run_until(NOON_S + 100)
        assert bench.open_since
        bench.boot()
        for second in range(5 * HOUR_S):
            bench.run_until(second)
    else:
        bench.run_until(NOON_S + HOUR_S)
    assert bench.told(ALARM) == []
    bench.leak_ml_min = [500]
    bench.run_until(bench.now_s + 10 * MIN_S)
    assert len(edges(bench, LEAK)) == 1


@pytest.mark.parametrize("travel_s", [12, 45, 120])
def test_the_guided_test_outlasts_a_valve_s_travel(travel_s: int) -> None:
    made = utc_plan(2, supplies=[{"meter": 1, "travel_s": travel_s, "gap_s": 120}])
    bench = piped(made)
    assert ask(bench, ASK_TEST) == (True, OK)
    bench.run_until(HOUR_S)
    assert [(e[1], e[3]) for e in bench.told(LEARNED)] == [(0, 3000), (1, 3000)]
    assert bench.told(ALARM) == []


def test_a_leak_is_latched_over_a_reboot_and_raised_again_if_it_goes_on() -> None:
    bench = piped(metered())
    bench.leak_ml_min = [100]
    bench.run_until(HOUR_S)
    assert [on for on, _ in edges(bench, LEAK)] == [1]
    bench.boot()
    bench.run_until(DAY_S)
    assert spans(bench) == []
    assert ask(bench, ASK_CLEAR) == (True, OK)
    assert [on for on, _ in edges(bench, LEAK)] == [1, 0]
    bench.run_until(DAY_S + 11 * MIN_S)
    assert [on for on, _ in edges(bench, LEAK)] == [1, 0, 1]
    bench.leak_ml_min = [0]
    assert ask(bench, ASK_CLEAR) == (True, OK)
    bench.run_until(2 * DAY_S)
    assert [on for on, _ in edges(bench, LEAK)] == [1, 0, 1, 0]
    assert len(opened(bench)) == 2


def test_a_trickle_is_no_leak() -> None:
    meter = Meter(0)
    assert not meter.leaks(5, 0)  # counted from here: no valve has turned yet
    assert not meter.leaks(1004, 10)
    meter.turned(0, 20)
    assert not meter.leaks(998, 21)  # as much as a valve lets through while it shuts
    assert not meter.leaks(999, 22)
    assert not meter.leaks(None, 3601)
    assert meter.leaks(1000, 21 + DAY_S)
    assert not meter.leaks(1998, 21 + DAY_S)  # what was told is not told again
    assert not meter.leaks(1999, 30 + DAY_S)
    assert not meter.leaks(2500, 22 + 2 * DAY_S)  # a new day is counted anew, from 1999
    assert not meter.leaks(2998, 23 + 2 * DAY_S)
    assert not meter.leaks(3, 50 + 2 * DAY_S)  # the counter began again
    assert not meter.leaks(1002, 60 + 2 * DAY_S)
    assert meter.leaks(1003, 61 + 2 * DAY_S)


@pytest.mark.parametrize("pulse_ml", [1000, 10000, 100000])
def test_one_pulse_is_no_leak_and_the_next_is(pulse_ml: int) -> None:
    meter = Meter(0)
    meter.turned(0, 0)
    for up_s in range(60, 600, 60):
        assert not meter.leaks(pulse_ml, up_s)
    assert meter.leaks(2 * pulse_ml, 600)


def test_a_pulse_a_day_is_no_leak() -> None:
    meter = Meter(0)
    meter.turned(0, 0)
    for day in range(1, 9):
        assert not meter.leaks(1000 * day, day * (DAY_S + 1))


@given(
    st.lists(st.tuples(st.integers(1, 5000), st.integers(0, 1500)), max_size=30),
    st.data(),
)
@pytest.mark.no_cover
def test_looks_at_a_meter_that_stands_still_change_nothing(
    steps: list[tuple[int, int]], data: st.DataObject
) -> None:
    """So a simulator, or a board that is woken by pulses, may leave them out."""
    often, seldom = Meter(5), Meter(5)
    up_s = ml = 0
    for meter in (often, seldom):
        meter.turned(0, 0)
        meter.leaks(0, 6)
    up_s = 6
    for step_s, more_ml in steps:
        for look_s in data.draw(st.lists(st.integers(0, step_s - 1), max_size=3).map(sorted)):
            assert not often.leaks(ml, up_s + look_s)
        up_s += step_s
        ml += more_ml
        assert often.leaks(ml, up_s) == seldom.leaks(ml, up_s)
    assert vars(often) == vars(seldom)


@pytest.mark.parametrize("travel_s", [1, 12, 120])
def test_what_passes_while_a_valve_travels_is_no_leak(travel_s: int) -> None:
    meter = Meter(travel_s)
    meter.turned(5000, 1000)
    assert not meter.leaks(6000, 1000)
    assert not meter.leaks(8000, 1000 + travel_s - 1)
    assert not meter.leaks(9000, 1000 + travel_s)  # the one look after it
    assert not meter.leaks(9500, 1060 + travel_s)
    assert meter.leaks(10000, 1120 + travel_s)
    unseen = Meter(travel_s)  # nobody looked while it travelled
    unseen.turned(5000, 1000)
    assert not unseen.leaks(9000, 1060 + travel_s)
    assert not unseen.leaks(9000, 1120 + travel_s)
    assert not unseen.leaks(9500, 1180 + travel_s)
    assert unseen.leaks(10000, 1240 + travel_s)


def test_flow_is_not_known_before_the_pipe_has_settled() -> None:
    meter = Meter(0)
    meter.turned(1000, 100)
    assert meter.flow_ml_min(2000, 129) == -1
    assert meter.flow_ml_min(None, 130) == -1
    assert meter.flow_ml_min(2000, 130) == -1  # measured from here
    assert meter.flow_ml_min(3000, 144) == -1
    assert meter.flow_ml_min(3000, 145) == 4000
    assert meter.flow_ml_min(2999, 200) == -1  # the counter began again
    assert meter.flow_ml_min(3000, 260) == 1
    assert meter.given_ml(1500) == 500
    assert meter.given_ml(500) == 0
    assert meter.given_ml(None) == 0
    meter.turned(None, 300)
    assert meter.given_ml(1500) == 0
    slow = Meter(12)
    slow.turned(0, 300)
    assert slow.flow_ml_min(2000, 341) == -1
    assert slow.settle_up_s(341, True) == 342
    assert slow.flow_ml_min(2000, 342) == -1  # measured from here
    assert slow.flow_ml_min(3000, 357) == 4000
    times_s = (300, 329, 330, 359, 360)
    assert [meter.settle_up_s(up_s, True) for up_s in times_s] == [330, 330, 360, 360, 0]
    assert [meter.settle_up_s(up_s, False) for up_s in times_s] == [360, 360, 360, 360, 0]


# Litres.


def litre_plan(run_ml: int, meter: int = 1, run_s: int = 3600) -> Plan:
    rows = [row(1, 1, starts_min=(360,), run_ml=run_ml, run_s=run_s)]
    return utc_plan(rows=rows, supplies=[{"meter": meter}])


def test_a_run_that_has_its_litres_but_will_not_shut_does_not_wake_the_hub_every_second() -> None:
    bench = piped(litre_plan(3000))
    bench.broken.add((0, "close"))
    bench.run_until(FIRST_S + 2 * MIN_S)
    polls = bench.runner.hub.polls
    bench.calls.clear()
    bench.run_until(FIRST_S + 12 * MIN_S)
    assert [up_s for what, _, up_s in bench.calls if what == "close"][:2]  # still being tried
    assert bench.runner.hub.polls - polls <= 20


@pytest.mark.parametrize("flow_ml_min", [2500, 3000, 6000])
def test_a_run_ends_when_its_litres_are_given(flow_ml_min: int) -> None:
    bench = piped(litre_plan(30000))
    bench.flow_ml_min = [flow_ml_min]
    bench.run_until(NOON_S)
    ((what, why, _),) = runs(bench)
    assert (what, why) == (CLOSED, LITRES)
    given_ml = bench.told(CLOSED)[0][4]
    assert 30000 <= given_ml <= 30000 + flow_ml_min // 10


def test_a_run_of_litres_is_bounded_by_time() -> None:
    bench = piped(litre_plan(30000))
    bench.flow_ml_min = [1500]
    bench.run_until(NOON_S)
    assert spans(bench) == [(FIRST_S, FIRST_S + 30000 * 75 // 3000 + 30)]
    assert runs(bench)[0][:2] == (CLOSED, DONE)
    short = piped(litre_plan(30000, run_s=300))
    short.run_until(NOON_S)
    assert spans(short) == [(FIRST_S, FIRST_S + 300)]


def test_without_a_meter_litres_are_given_by_time() -> None:
    bench = piped(litre_plan(30000, meter=0))
    bench.run_until(NOON_S)
    assert spans(bench) == [(FIRST_S, FIRST_S + 600)]


# The guided test.


def test_the_guided_test_opens_one_zone_at_a_time_whatever_the_hub_may_open() -> None:
    zones = [{"supply": 0}, {"supply": 0}, {"supply": 1}]
    bench = piped(metered(zones, 2, open_max=2))
    assert ask(bench, ASK_TEST) == (True, OK)
    bench.run_until(HOUR_S)
    found = [spans(bench, zone) for zone in range(3)]
    assert [len(each) for each in found] == [1, 1, 1]
    times = sorted(each[0] for each in found)
    assert all(before[1] <= after[0] for before, after in pairwise(times))
    assert bench.told(REFUSED) == []


@pytest.mark.parametrize("open_takes_s", [0, 1, 7, 12])
def test_the_guided_test_learns_each_zone_however_slow_its_driver(open_takes_s: int) -> None:
    bench = piped(metered(3))
    bench.flow_ml_min = [2000, 3000, 4000]
    bench.open_takes_s = open_takes_s
    assert ask(bench, ASK_TEST) == (True, OK)
    bench.run_until(HOUR_S)
    learned = [(e[1], e[3]) for e in bench.told(LEARNED)]
    assert [zone for zone, _ in learned] == [0, 1, 2]
    for (_, found_ml_min), true_ml_min in zip(learned, bench.flow_ml_min, strict=True):
        assert abs(found_ml_min - true_ml_min) <= 2  # a millilitre of the count, over half a minute
    assert [e[1:4] for e in bench.told(OPENED)] == [(zone, TEST, 60) for zone in range(3)]
    assert bench.runner.hub.record.flow_ml_min == [flow for _, flow in learned]


def test_the_guided_test_replaces_a_baseline_and_finds_a_blocked_zone() -> None:
    bench = piped(metered(2))
    learned(bench, 1000)
    bench.flow_ml_min = [4000, 0]
    ask(bench, ASK_TEST)
    bench.run_until(HOUR_S)
    assert [(e[1], e[3]) for e in bench.told(LEARNED)] == [(0, 4000)]
    assert edges(bench, BURST) == []
    assert [e[1] for e in bench.told(ALARM, NO_FLOW)] == [1]
    assert bench.runner.hub.record.flow_ml_min == [4000, 1000]


@pytest.mark.parametrize(
    ("plan_ml_min", "flow_ml_min", "learns"),
    [
        (3000, 1990, False),  # the plan's flow would be a burst by it
        (3000, 2010, True),
        (3000, 4490, True),
        (3000, 4510, False),  # and it is a burst by the plan
        (0, 600, True),
        (0, 60000, True),  # a plan that does not know
    ],
)
def test_a_flow_far_from_the_plan_s_is_not_learned(
    plan_ml_min: int, flow_ml_min: int, learns: bool
) -> None:
    bench = piped(metered([{"flow_ml_min": plan_ml_min}]))
    learned(bench, 2900)
    bench.flow_ml_min = [flow_ml_min]
    ask(bench, ASK_TEST)
    bench.run_until(HOUR_S)
    kept_ml_min = bench.runner.hub.record.flow_ml_min[0]
    if learns:
        assert abs(kept_ml_min - flow_ml_min) <= 2
        assert bench.told(REFUSED) == []
    else:
        assert kept_ml_min == 2900 and bench.told(LEARNED) == []
        ((_, zone, why, value),) = [e[:4] for e in bench.told(REFUSED)]
        assert (zone, why) == (0, OFF_PLAN) and abs(value - flow_ml_min) <= 2


def test_after_a_test_on_a_choked_pipe_a_usual_run_is_no_burst() -> None:
    bench = piped(metered())
    bench.flow_ml_min = [600]
    ask(bench, ASK_TEST)
    bench.run_until(HOUR_S)
    bench.flow_ml_min = [3000]
    bench.run_until(NOON_S - 1)
    assert edges(bench, BURST) == [] and runs(bench)[-1][:2] == (CLOSED, DONE)


def test_the_guided_test_learns_nothing_without_a_meter() -> None:
    bench = piped(utc_plan())
    ask(bench, ASK_TEST)
    bench.run_until(HOUR_S)
    assert bench.told(LEARNED) == [] and len(bench.told(OPENED)) == 1


def test_the_guided_test_leaves_a_faulty_zone_out() -> None:
    bench = piped(metered(2))
    learned(bench, 1000)
    bench.run_until(8 * HOUR_S)
    assert [e[1] for e in bench.told(ALARM, BURST)] == [0, 1]
    ask(bench, ASK_CLEAR, 1)
    bench.events.clear()
    bench.run_until(NOON_S - 300)
    ask(bench, ASK_TEST)
    bench.run_until(NOON_S - 200)
    assert [e[1:3] for e in bench.told(REFUSED)] == [(0, FAULT)]
    assert [e[1] for e in bench.told(LEARNED)] == [1]
    assert bench.told(CLEARED) == []
