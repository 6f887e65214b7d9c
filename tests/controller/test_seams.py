"""Where the hub's rooms meet: rules, faults, waiting runs, the record and what is told."""

from typing import Any

import pytest

from evenclay.controller import journal
from evenclay.controller.events import (
    AFTER_CYCLE,
    AFTER_RAIN,
    ALARM,
    CLEARED,
    CLOCK,
    CLOSED,
    CUT_SHORT,
    DONE,
    DRIVER,
    FAULT,
    FROST,
    HOLD,
    LEAK,
    MANUAL,
    NO_FLOW,
    OK,
    OPENED,
    PROBE,
    QUIET,
    RAIN,
    SKIPPED,
    STALE,
    STORE,
    SUPPLY_NO_FLOW,
    TEST,
)
from evenclay.controller.faults import LEAK_FAULT
from evenclay.controller.journal import _SAVE_RETRY_S, Record
from evenclay.controller.limits import STALE_S, ZONES_MAX
from evenclay.controller.meter import _LEAK_ML
from evenclay.controller.plan import BAN_HOURS, CONTACT, Plan
from evenclay.controller.ports import (
    ASK_CHECK,
    ASK_CLEAR,
    ASK_CLOCK,
    ASK_HOLD,
    ASK_RUN,
    ASK_RUN_ANYWAY,
    ASK_TEST,
    FIRM,
    RECORD,
)
from tests.bench import (
    DAY_S,
    HOUR_S,
    MIN_S,
    START_S,
    Event,
    Piped,
    ask,
    booted,
    piped,
    runs,
    spans,
    utc_plan,
)
from tests.core import Bench, plan, row, wall
from tests.status import status

FIRST_S = 6 * HOUR_S  # the usual plan's cycles
SECOND_S = 12 * HOUR_S
LONG_S = 50 * MIN_S


def kept(bench: Bench) -> Record:
    """The record as a hub that boots now would read it."""
    data = journal.newest((bench.read(RECORD, 0), bench.read(RECORD, 1)))
    assert data is not None
    record = journal.unpack_record(data)
    assert record is not None
    return record


def told(bench: Bench) -> Any:
    """What status() says."""
    return status(bench.runner, bench.up_s())


def alarms(bench: Bench) -> list[tuple[int, str]]:
    """What status() says is wrong."""
    found: list[tuple[int, str]] = told(bench)["alarms"]
    return found


def saves(bench: Bench, slot: int = RECORD) -> list[int]:
    """Uptimes of the writes that did not fail."""
    return [up_s for what, at, up_s in bench.calls if what == "save" and at == slot]


# Local rules during a run.


@pytest.mark.parametrize("what", [ASK_RUN, ASK_RUN_ANYWAY])
@pytest.mark.parametrize("set_to_s", [wall(2025, 7, 1, 16, 30), wall(2025, 6, 30, 16, 30)])
def test_a_clock_step_that_brings_a_ban_into_a_run_ends_it_at_the_ban(
    what: int, set_to_s: int
) -> None:
    """No second of the ban is watered, whichever way the clock went, and whoever asked."""
    bench = booted(utc_plan(bans=((BAN_HOURS, 1000, 1080),)))
    bench.run_until(10 * HOUR_S)
    assert ask(bench, what, 0, LONG_S) == (True, OK)
    bench.run_until(10 * HOUR_S + 10)
    assert ask(bench, ASK_CLOCK, -1, set_to_s) == (True, OK)
    bench.run_until(11 * HOUR_S)
    closed_s = 10 * HOUR_S + 10 + 10 * MIN_S  # 16:40 on the new clock
    assert spans(bench)[-1] == (10 * HOUR_S, closed_s)
    cut = bench.told(CUT_SHORT)
    assert [(e[1], e[2], e[3], e[6]) for e in cut] == [(0, QUIET, 10 * MIN_S + 10, closed_s)]


def test_a_planned_run_is_ended_too_when_the_clock_brings_a_ban() -> None:
    bench = booted(utc_plan(run_s=LONG_S, bans=((BAN_HOURS, 410, 600),)))
    bench.run_until(FIRST_S + 5)
    # 06:49: the run was to end at 06:50, when the ban begins; now it meets it in a minute.
    ask(bench, ASK_CLOCK, -1, START_S + FIRST_S + 49 * MIN_S)
    bench.run_until(FIRST_S + HOUR_S)
    assert spans(bench) == [(FIRST_S, FIRST_S + 65)]
    assert runs(bench) == [(CUT_SHORT, QUIET, FIRST_S + 65)]


def test_a_clock_step_away_from_a_ban_lets_the_run_end() -> None:
    bench = booted(utc_plan(bans=((BAN_HOURS, 1000, 1080),)))
    bench.run_until(15 * HOUR_S + 50 * MIN_S)
    assert ask(bench, ASK_RUN, 0, LONG_S) == (True, OK), "it ends when the ban begins"
    bench.run_until(16 * HOUR_S)
    ask(bench, ASK_CLOCK, -1, START_S + 14 * HOUR_S)
    bench.run_until(18 * HOUR_S)
    assert runs(bench)[-1] == (CLOSED, DONE, 16 * HOUR_S + 40 * MIN_S)


# US Central time: daylight saving begins at 02:00 on the second Sunday of March, and ends at 02:00
# on the first of November (15 U.S.C. 260a).


def central(bans: tuple[tuple[int, int, int], ...], starts_min: tuple[int, ...]) -> Plan:
    rows = [row(1, 1, starts_min=starts_min, run_s=LONG_S, demand_um=0)]
    return plan(1, rows, bans=bans, poll_s=3600, watch_s=600)


@pytest.mark.parametrize("planned", [True, False])
def test_a_run_is_ended_where_daylight_saving_jumps_into_a_ban(planned: bool) -> None:
    """02:00 is 03:00: the ban from 03:00 to 05:00 begins ten minutes into the run."""
    begins_s = 110 * MIN_S  # 01:50
    made = central(((BAN_HOURS, 180, 300),), (110,) if planned else (1200,))
    bench = booted(made, wall(2026, 3, 8, 6))
    bench.run_until(begins_s)
    if not planned:
        assert ask(bench, ASK_RUN, 0, LONG_S) == (True, OK)
    bench.run_until(4 * HOUR_S)
    assert spans(bench) == [(begins_s, begins_s + 10 * MIN_S)]
    assert runs(bench) == [(CUT_SHORT, QUIET, begins_s + 10 * MIN_S)]


@pytest.mark.parametrize("planned", [True, False])
def test_a_run_is_ended_by_a_ban_in_the_hour_that_comes_twice(planned: bool) -> None:
    """02:00 is 01:00 again: a ban from 01:30, past when the run began, comes a second time."""
    begins_s = 110 * MIN_S
    made = central(((BAN_HOURS, 90, 105),), (110,) if planned else (1200,))
    bench = booted(made, wall(2026, 11, 1, 5))
    bench.run_until(begins_s)
    if not planned:
        assert ask(bench, ASK_RUN, 0, LONG_S) == (True, OK)
    bench.run_until(4 * HOUR_S)
    assert spans(bench) == [(begins_s, begins_s + 40 * MIN_S)]
    assert runs(bench) == [(CUT_SHORT, QUIET, begins_s + 40 * MIN_S)]


# A supply without flow.

NO_FLOW_ALARMS = [(0, "no_flow"), (1, "no_flow"), (ZONES_MAX, "supply_no_flow")]


def dried_up() -> Piped:
    """Two zones of one supply, both found to be without flow in the first cycle."""
    bench = Piped(utc_plan(2, supplies=[{"meter": 1}]))
    bench.flow_ml_min = [0, 0]
    bench.boot()
    bench.run_until(8 * HOUR_S)
    assert [e[1:3] for e in bench.told(ALARM)] == [
        (0, NO_FLOW),
        (1, NO_FLOW),
        (ZONES_MAX, SUPPLY_NO_FLOW),
    ]
    assert alarms(bench) == NO_FLOW_ALARMS
    return bench


@pytest.mark.parametrize("reboot", [False, True])
def test_clearing_everything_clears_a_supply_without_flow(reboot: bool) -> None:
    bench = dried_up()
    if reboot:
        bench.boot()
        bench.run_until(HOUR_S)
    assert ask(bench, ASK_CLEAR) == (True, OK)
    assert {e[1:3] for e in bench.told(CLEARED)} == {
        (0, NO_FLOW),
        (1, NO_FLOW),
        (ZONES_MAX, SUPPLY_NO_FLOW),
    }
    assert len(bench.told(CLEARED)) == 3
    assert alarms(bench) == [] and kept(bench).zone_faults == [0, 0]


@pytest.mark.parametrize("zone", [0, 1])
def test_clearing_one_zone_clears_its_supply_but_not_the_other_zone(zone: int) -> None:
    bench = dried_up()
    assert ask(bench, ASK_CLEAR, zone) == (True, OK)
    assert {e[1:3] for e in bench.told(CLEARED)} == {(zone, NO_FLOW), (ZONES_MAX, SUPPLY_NO_FLOW)}
    assert alarms(bench) == [(1 - zone, "no_flow")]
    bench.run_until(SECOND_S + HOUR_S)
    assert len(bench.told(ALARM, SUPPLY_NO_FLOW)) == 2, "it is tried, and found dry again"
    assert sorted(alarms(bench)) == NO_FLOW_ALARMS


def test_a_supply_without_flow_stands_after_a_reboot_and_is_not_raised_again() -> None:
    bench = dried_up()
    before = len(bench.told(ALARM))
    bench.boot()
    bench.run_until(0)
    assert alarms(bench) == NO_FLOW_ALARMS
    bench.run_until(6 * HOUR_S)  # past the second cycle: a restart tries nothing sooner
    assert [valve for what, valve, _ in bench.calls if what == "open"] == [0, 1]
    bench.run_until(23 * HOUR_S)  # past the next day's first: the supply is tried, by one zone
    assert [valve for what, valve, _ in bench.calls if what == "open"] == [0, 1, 0]
    assert len(bench.told(ALARM)) == before and alarms(bench) == NO_FLOW_ALARMS


# A leak beside a run.


@pytest.mark.parametrize("planned", [True, False])
@pytest.mark.no_cover
def test_a_leak_ends_the_run_of_another_supply(planned: bool) -> None:
    zones = [{}, {"supply": 1, "share_pct": 0}]
    made = utc_plan(zones, run_s=1800, supplies=[{"meter": 1}, {"meter": 1}], open_max=2)
    bench = piped(made)
    begins_s = FIRST_S if planned else HOUR_S
    bench.run_until(begins_s)
    if not planned:
        assert ask(bench, ASK_RUN, 0, 1800) == (True, OK)
    bench.run_until(begins_s + 5 * MIN_S)
    assert bench.open_since == {0: begins_s}
    bench.leak_ml_min[1] = 500
    bench.calls.clear()
    bench.run_until(begins_s + 10 * MIN_S)
    assert [(e[1], e[2], e[3]) for e in bench.told(ALARM)] == [(-1, LEAK, 1)]
    found_s = bench.told(ALARM)[0][6]
    leaked_s = _LEAK_ML * 60 // 500
    assert 0 <= found_s - (begins_s + 5 * MIN_S + leaked_s) <= MIN_S, "at the next look"
    cut = bench.told(CUT_SHORT)
    assert [(e[1], e[2], e[3], e[6]) for e in cut] == [(0, FAULT, found_s - begins_s, found_s)]
    assert abs(cut[0][4] - (found_s - begins_s) * 50) <= 1, "3 l/min went through its meter"
    assert {valve for what, valve, _ in bench.calls if what == "close"} == {0, 1}
    assert not bench.told(CLOSED) and kept(bench).faults == LEAK_FAULT
    bench.leak_ml_min[1] = 0
    bench.run_until(2 * DAY_S)
    assert not [c for c in bench.calls if c[0] == "open"]


def test_a_leak_does_not_change_why_a_run_ended_whose_valve_is_still_to_shut() -> None:
    made = utc_plan([{}, {"supply": 1, "share_pct": 0}], supplies=[{}, {"meter": 1}], open_max=2)
    bench = piped(made)
    bench.run_until(FIRST_S)
    bench.broken.add((0, "close"))
    bench.run_until(FIRST_S + 601)
    bench.leak_ml_min[1] = _LEAK_ML
    bench.run_until(FIRST_S + 900)
    assert [e[2] for e in bench.told(ALARM)] == [DRIVER, LEAK]
    assert not runs(bench) and list(bench.open_since) == [0]
    bench.broken.clear()
    bench.run_until(FIRST_S + 910)
    assert [run[:2] for run in runs(bench)] == [(CLOSED, DONE)], "it had all it was to have"


# A run by hand, or the guided test, of a zone whose planned run waits.


def held_at_first() -> Bench:
    """Two zones whose planned runs wait for the end of a hold at 08:00; it is 07:00."""
    bench = booted(utc_plan(2))
    bench.run_until(HOUR_S)
    ask(bench, ASK_HOLD, -1, START_S + 8 * HOUR_S)
    bench.run_until(7 * HOUR_S)
    assert bench.runner.hub.record.waiting == 3
    return bench


def test_a_run_by_hand_stands_in_for_the_waiting_run_and_says_so() -> None:
    bench = held_at_first()
    assert ask(bench, ASK_RUN_ANYWAY, 1, 600) == (True, OK)
    bench.run_until(SECOND_S - 1)
    assert runs(bench, 1) == [
        (SKIPPED, MANUAL, 7 * HOUR_S),
        (CLOSED, DONE, 7 * HOUR_S + 600),
    ]
    assert runs(bench, 0) == [(CLOSED, DONE, 8 * HOUR_S + 600)], "its own run came after the hold"
    assert bench.runner.hub.record.used_s == [600, 600]
    bench.run_until(14 * HOUR_S)
    assert [run[:2] for run in runs(bench, 1)[2:]] == [(CLOSED, DONE)], "the next cycle is its own"


def test_a_run_by_hand_of_a_zone_that_rests_stands_in_for_its_run() -> None:
    bench = booted(utc_plan(starts_min=(360, 400), zone={"rest_s": HOUR_S}))
    bench.run_until(410 * MIN_S)
    assert bench.runner.hub.record.waiting == 1, "it rests until 07:10"
    assert ask(bench, ASK_RUN, 0, 600) == (True, OK)
    bench.run_until(DAY_S - 1)
    assert runs(bench)[1:] == [
        (SKIPPED, MANUAL, 410 * MIN_S),
        (CLOSED, DONE, 420 * MIN_S),
    ]
    assert len(spans(bench)) == 2


def test_a_shorter_run_by_hand_leaves_the_waiting_run_be() -> None:
    bench = held_at_first()
    assert ask(bench, ASK_RUN_ANYWAY, 1, 599) == (True, OK)
    bench.run_until(SECOND_S - 1)
    own_s = 8 * HOUR_S + 600 + 30
    assert runs(bench, 1) == [(CLOSED, DONE, 7 * HOUR_S + 599), (CLOSED, DONE, own_s + 600)]
    assert bench.runner.hub.record.used_s == [600, 1199]


def test_a_shorter_run_by_hand_is_followed_by_its_rest_before_the_waiting_run() -> None:
    bench = booted(utc_plan(starts_min=(360, 400), zone={"rest_s": HOUR_S}))
    bench.run_until(410 * MIN_S)
    assert ask(bench, ASK_RUN, 0, 300) == (True, OK)
    bench.run_until(DAY_S - 1)
    assert spans(bench)[1:] == [
        (410 * MIN_S, 415 * MIN_S),
        (475 * MIN_S, 485 * MIN_S),
    ]


def test_the_guided_test_leaves_the_waiting_runs_be() -> None:
    bench = held_at_first()
    assert ask(bench, ASK_TEST) == (True, OK)
    bench.run_until(SECOND_S - 1)
    begun_s, own_s = 7 * HOUR_S, 8 * HOUR_S
    assert runs(bench, 0) == [(CLOSED, DONE, begun_s + 60), (CLOSED, DONE, own_s + 600)]
    assert runs(bench, 1) == [(CLOSED, DONE, begun_s + 150), (CLOSED, DONE, own_s + 1230)]


def test_the_guided_test_stands_in_for_a_waiting_run_of_a_minute() -> None:
    bench = booted(utc_plan(2, run_s=60))
    ask(bench, ASK_HOLD, -1, START_S + 8 * HOUR_S)
    bench.run_until(7 * HOUR_S)
    assert ask(bench, ASK_TEST) == (True, OK)
    bench.run_until(SECOND_S - 1)
    begun_s = 7 * HOUR_S
    assert runs(bench, 0) == [(SKIPPED, TEST, begun_s), (CLOSED, DONE, begun_s + 60)]
    assert runs(bench, 1) == [(SKIPPED, TEST, begun_s + 90), (CLOSED, DONE, begun_s + 150)]


def test_a_run_by_hand_that_is_refused_leaves_the_waiting_run_be() -> None:
    bench = held_at_first()
    assert ask(bench, ASK_RUN, 1, 300) == (False, HOLD)
    bench.run_until(SECOND_S - 1)
    assert runs(bench, 1) == [(CLOSED, DONE, 8 * HOUR_S + 600 + 30 + 600)]


# What status() says.


def test_status_shows_a_closed_season_for_every_zone() -> None:
    rows = [row(1, 1, 0), row(7, 2, starts_min=(360,), run_s=600, demand_um=0)]
    bench = booted(utc_plan(2, rows=rows))
    assert [z["held_back"] for z in told(bench)["zones"]] == ["closed_season"] * 2
    bench.run_until(DAY_S)
    assert [z["held_back"] for z in told(bench)["zones"]] == ["ok", "ok"]


def test_status_shows_a_probe_that_is_not_trusted() -> None:
    bench = booted(utc_plan([{}, {"probe": 1}], frost=0))
    assert alarms(bench) == []
    bench.seen.soil_vwc_ppt[1] = 900
    bench.run_until(MIN_S)
    assert alarms(bench) == [(1, "probe")]
    assert [e[1:3] for e in bench.told(ALARM)] == [(1, PROBE)]
    bench.seen.soil_vwc_ppt[1] = 320
    bench.run_until(2 * DAY_S)
    assert alarms(bench) == []


def test_status_shows_a_thermometer_that_is_silent() -> None:
    bench = booted(utc_plan())
    bench.seen.temp_mc = None
    bench.run_until(STALE_S - 1)
    assert alarms(bench) == []
    bench.run_until(STALE_S)
    assert alarms(bench) == [(-1, "stale")]
    bench.seen.temp_mc = 15000
    bench.run_until(STALE_S + MIN_S)
    assert alarms(bench) == []
    assert [e[2] for e in bench.told(CLEARED)] == [STALE]


def test_status_shows_a_clock_that_went_far_back_until_the_next_cycle() -> None:
    bench = booted(utc_plan())
    bench.run_until(DAY_S + 7 * HOUR_S)
    ask(bench, ASK_CLOCK, -1, START_S - 3 * DAY_S + 7 * HOUR_S)
    assert alarms(bench) == [(-1, "clock")]
    assert len(bench.told(ALARM, CLOCK)) == 1
    bench.run_until(DAY_S + SECOND_S - 1)
    assert alarms(bench) == [(-1, "clock")]
    bench.run_until(DAY_S + SECOND_S)
    assert alarms(bench) == []


# When a blade may be read.


def test_a_check_is_taken_on_any_hour_of_a_day_without_water() -> None:
    """In a hold of many days cycles come and go, and give nothing."""
    bench = booted(utc_plan(estimate=1))
    bench.run_until(7 * HOUR_S)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (False, AFTER_CYCLE)
    ask(bench, ASK_HOLD, -1, START_S + 9 * DAY_S)
    bench.run_until(8 * HOUR_S)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (False, AFTER_CYCLE), "today it had water"
    for day in (1, 5):
        for hour in (1, 7, 15, 23):
            bench.run_until(day * DAY_S + hour * HOUR_S)
            assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (True, OK), (day, hour)
    assert len(spans(bench)) == 1


def test_a_check_is_taken_after_a_run_by_hand_before_the_first_cycle() -> None:
    bench = booted(utc_plan(estimate=1))
    bench.run_until(4 * HOUR_S)
    ask(bench, ASK_RUN, 0, 600)
    bench.run_until(4 * HOUR_S + 300)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (False, AFTER_CYCLE), "while it runs"
    bench.run_until(5 * HOUR_S)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (True, OK)
    ask(bench, ASK_HOLD, -1, START_S + DAY_S)
    bench.run_until(7 * HOUR_S)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (True, OK), "the first cycle gave nothing"
    ask(bench, ASK_RUN_ANYWAY, 0, 600)
    bench.run_until(8 * HOUR_S)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (False, AFTER_CYCLE)


def test_a_check_is_taken_in_a_closed_season_whose_days_have_no_first_cycle() -> None:
    bench = booted(utc_plan(estimate=1, rows=[row(1, 1, 0), row(8, 1, starts_min=(360,))]))
    bench.run_until(7 * HOUR_S)
    assert ask(bench, ASK_RUN_ANYWAY, 0, 600) == (True, OK)
    bench.run_until(8 * HOUR_S)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (True, OK)
    assert len(spans(bench)) == 1


def test_a_check_is_refused_for_the_zone_that_the_first_cycle_watered() -> None:
    bench = booted(utc_plan([{}, {"probe": 1}, {}], estimate=1))
    bench.seen.soil_vwc_ppt[1] = 360
    bench.run_until(7 * HOUR_S)
    assert [len(spans(bench, zone)) for zone in range(3)] == [1, 0, 1]
    checks = [ask(bench, ASK_CHECK, zone, (FIRM,)) for zone in range(3)]
    assert checks == [(False, AFTER_CYCLE), (True, OK), (False, AFTER_CYCLE)]
    bench.run_until(DAY_S + 5 * HOUR_S)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (True, OK), "before the next day's first"


def test_a_check_late_in_the_morning_is_before_tonight_s_first_cycle() -> None:
    """A window from 21:00 to 09:00 belongs to the day it begins on."""
    night = [row(1, 1, 3, run_s=1800, demand_um=0, start_min=1260, length_min=720)]
    bench = booted(utc_plan(estimate=1, opening_um=60000, rows=night))
    at_s = DAY_S + 11 * HOUR_S
    bench.run_until(at_s)
    begun = [span[0] for span in spans(bench)]
    assert begun[-3:] == [21 * HOUR_S, 25 * HOUR_S, 29 * HOUR_S]
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (True, OK)
    bench.run_until(DAY_S + 22 * HOUR_S)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (False, AFTER_CYCLE)


# Commands are judged by what the sensors say now.


def slow(**changes: Any) -> Bench:
    """A hub that reads its sensors once an hour, half an hour after the last time."""
    bench = booted(utc_plan(poll_s=3600, **changes))
    bench.run_until(90 * MIN_S)
    assert bench.runner.hub.wake_s == 2 * HOUR_S
    return bench


def test_rain_that_began_since_the_last_poll_refuses_a_run_and_a_check() -> None:
    bench = slow(rain_kind=CONTACT)
    bench.seen.rain_wet = True
    assert ask(bench, ASK_RUN, 0, 300) == (False, RAIN)
    bench = slow(estimate=1)
    bench.seen.rain_um = 3000
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (False, AFTER_RAIN)
    assert not spans(bench)


def test_cold_that_came_since_the_last_poll_refuses_even_an_override() -> None:
    bench = slow()
    bench.seen.temp_mc = 1000
    assert ask(bench, ASK_RUN_ANYWAY, 0, 300) == (False, FROST)
    assert not spans(bench)


def test_soil_that_dried_since_the_last_poll_does_not_hold_a_run_back() -> None:
    bench = booted(utc_plan(poll_s=3600, zone={"probe": 1}))
    bench.seen.soil_vwc_ppt = [360]
    bench.run_until(90 * MIN_S)
    bench.seen.soil_vwc_ppt = [330]
    assert ask(bench, ASK_RUN, 0, 300) == (True, OK)


# The store.


def test_an_owed_record_is_saved_again_though_nothing_else_is_due() -> None:
    """One run ends, its account cannot be written, and the other run has long to go."""
    zones = [{"share_pct": 20}, {"supply": 1}]
    made = utc_plan(
        zones, run_s=LONG_S, supplies=[{}, {}], open_max=2, poll_s=3600, watch_s=600, frost=0
    )
    bench = booted(made)
    ended_s = FIRST_S + LONG_S // 5
    bench.run_until(ended_s - 1)
    bench.store_broken = True
    bench.calls.clear()
    bench.run_until(ended_s + 1)
    assert runs(bench, 0) == [(CLOSED, DONE, ended_s)]
    assert [e[6] for e in bench.told(ALARM, STORE)] == [ended_s]
    assert list(bench.open_since) == [1]
    assert bench.runner.hub.wake_s == ended_s + _SAVE_RETRY_S
    bench.store_broken = False
    bench.run_until(ended_s + _SAVE_RETRY_S - 1)
    assert saves(bench) == [] and kept(bench).used_s == [0, 0]
    bench.run_until(FIRST_S + LONG_S - 1)
    assert saves(bench) == [ended_s + _SAVE_RETRY_S]
    assert kept(bench).used_s == [LONG_S // 5, 0]
    assert [e[6] for e in bench.told(CLEARED, STORE)] == [ended_s + _SAVE_RETRY_S]


# What is told.


class Mute(Bench):
    """A bench whose display fails for the next events of one kind."""

    mute_what = -1

    def report(self, event: Event) -> None:
        if event[0] == self.mute_what:
            raise OSError("nothing is shown")
        super().report(event)


@pytest.mark.parametrize(
    ("broken", "alarmed"), [(0, 0), (1, ZONES_MAX)], ids=["the zone's valve", "its master"]
)
def test_what_did_not_open_is_told_as_opened_nowhere(broken: int, alarmed: int) -> None:
    bench = booted(utc_plan(supplies=[{"master": 1}]))
    bench.broken.add((broken, "open"))
    bench.run_until(8 * HOUR_S)
    logged = bench.runner.hub.faults.log.events()
    for told in (bench.events, logged):
        kinds = [e[:3] for e in told]
        assert not [e for e in told if e[0] == OPENED]
        assert (ALARM, alarmed, DRIVER) in kinds and (SKIPPED, 0, DRIVER) in kinds
    assert ("close", 0, FIRST_S) in bench.calls and not bench.open_since
    assert bench.runner.hub.record.used_s == [0] and kept(bench).opening == 0


def test_what_did_open_is_in_the_log_though_it_could_not_be_shown() -> None:
    bench = Mute(utc_plan(), START_S)
    bench.mute_what = OPENED
    bench.boot()
    bench.run_until(8 * HOUR_S)
    assert not bench.told(OPENED)
    logged = [e for e in bench.runner.hub.faults.log.events() if e[0] == OPENED]
    assert [(e[1], e[6]) for e in logged] == [(0, FIRST_S)]


def test_what_did_open_is_told_though_another_event_could_not_be_shown() -> None:
    """The store is found mended in the moment in which the valve opens: two events at once."""
    bench = Mute(utc_plan(), START_S)
    bench.boot()
    bench.run_until(FIRST_S - 1)
    bench.store_broken = True
    bench.run_until(FIRST_S)
    assert len(bench.told(ALARM, STORE)) == 1
    bench.store_broken = False
    bench.mute_what = CLEARED
    bench.run_until(8 * HOUR_S)
    opened_s = FIRST_S + _SAVE_RETRY_S
    assert spans(bench) == [(opened_s, opened_s + 600)]
    logged = [e for e in bench.runner.hub.faults.log.events() if e[0] == OPENED]
    assert [(e[1], e[6]) for e in logged] == [(0, opened_s)]


# Fairness.


@pytest.mark.parametrize("reboot", [False, True])
def test_zones_dropped_twice_running_take_turns_by_whose_water_is_longest_ago(
    reboot: bool,
) -> None:
    """Six cycles, an hour each, of which one run of forty minutes fits: no side is starved."""
    rows = [row(1, 1, 6, run_s=2400, demand_um=0, start_min=360, length_min=360)]
    bench = booted(utc_plan(3, rows=rows))
    if reboot:  # in the third hour, its run over and two zones waiting
        bench.run_until(8 * HOUR_S + 50 * MIN_S)
        bench.boot()
    bench.run_until(3 * HOUR_S + 10 * MIN_S if reboot else SECOND_S)
    assert [e[1] for e in bench.told(OPENED)] == [0, 1, 2, 0, 1, 2]
