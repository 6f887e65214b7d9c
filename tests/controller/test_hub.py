"""The hub on ports in memory: drivers that raise, stores that fail, meters, plans, commands."""

from typing import Any

from evenclay.controller.events import (
    ACCEPTED,
    ALARM,
    BOOT,
    BURST,
    BUSY,
    CAP,
    CLEARED,
    CLOSED,
    CUT_SHORT,
    DONE,
    DRIVER,
    FAULT,
    GAP,
    LEAK,
    LEARNED,
    LITRES,
    LOW_BATTERY,
    MANUAL,
    NO_FLOW,
    NO_TIME,
    OPENED,
    OWNER,
    POWER,
    QUIET,
    RAIN,
    REFUSED,
    RELEASED,
    SKIPPED,
    STORE,
    SUPPLY_NO_FLOW,
    TEST,
    TOO_SHORT,
)
from evenclay.controller.events import PLAN as NEW_PLAN
from evenclay.controller.faults import (
    _DRIVER_FAULT,
    _FAULT_RETRY_S,
    BURST_FAULT,
    LEAK_FAULT,
    NO_FLOW_FAULT,
)
from evenclay.controller.journal import _SAVE_RETRY_S
from evenclay.controller.limits import ZONES_MAX
from evenclay.controller.owner import answer
from evenclay.controller.plan import BAN_HOURS, CONTACT, Plan
from evenclay.controller.ports import (
    ASK_CLEAR,
    ASK_HOLD,
    ASK_PLAN,
    ASK_RUN,
    ASK_RUN_ANYWAY,
    ASK_STOP,
    ASK_TEST,
    CLOSE,
    OPEN,
    PLAN,
    RECORD,
    REPORT,
    SAVE,
)
from tests.core import Bench, plan, row, wall
from tests.status import status

HOUR = 3600
DAY = 86400
FROM_S = wall(2027, 7, 5, 6)  # local midnight
FIRST = 5 * HOUR  # the day's one cycle


def house(zones: Any = 2, **changes: Any) -> Plan:
    """Some zones with one long cycle a day; local time stands six hours behind UTC."""
    usual: dict[str, Any] = {
        "zones": zones,
        "rows": [row(1, 1, 1, run_s=600, start_min=300, length_min=720)],
        "std_s": -21600,
        "dst": 0,
    }
    usual.update(changes)
    return plan(**usual)


def booted(made: "Plan | None" = None) -> Bench:
    bench = Bench(made or house(), FROM_S)
    bench.boot()
    return bench


def turn_at(bench: Bench, at_s: int) -> None:
    bench.run_until(at_s - 1)
    bench.now_s = at_s
    bench.runner.turn()


def ask(bench: Bench, *asked: tuple[int, int, object]) -> None:
    bench.asked += asked
    bench.runner.turn()


def pour(bench: Bench, from_s: int, to_s: int, ml_min: int, supply: int = 0) -> None:
    """Let a meter count while time passes: at each wake it shows what has flowed by then."""
    start_ml = bench.seen.meter_ml[supply] or 0
    bench.now_s = from_s
    while bench.now_s < to_s:
        bench.seen.meter_ml[supply] = start_ml + (bench.now_s - from_s) * ml_min // 60
        wake_s = bench.runner.turn()
        bench.now_s = min(max(wake_s, bench.now_s + 1), to_s)


# A usual day.


def test_a_day_runs_each_zone_once_in_order() -> None:
    bench = booted()
    bench.run_until(12 * HOUR)
    assert [c for c in bench.calls if c[0] == "open"] == [
        ("open", 0, FIRST),
        ("open", 1, FIRST + 630),
    ]
    assert [e[:4] for e in bench.told(CLOSED)] == [(CLOSED, 0, DONE, 600), (CLOSED, 1, DONE, 600)]


def test_what_is_to_be_given_is_written_before_the_valve_opens() -> None:
    bench = booted()
    bench.run_until(FIRST - 1)
    bench.calls.clear()
    bench.now_s = FIRST
    bench.runner.turn()
    assert bench.calls == [("save", RECORD, FIRST), ("open", 0, FIRST)]


def test_stepping_early_gives_nothing() -> None:
    bench = booted()
    bench.run_until(100)
    hub = bench.runner.hub
    for up_s in (100, 101, hub.wake_s - 1):
        assert hub.step(up_s, FROM_S + up_s, bench.seen) == []
        assert hub.wake_s == 3600


def test_status_says_what_is_open_waits_and_is_held_back() -> None:
    bench = booted(house(zones=[{"probe": 1}, {}, {}]))
    bench.seen.soil_vwc_ppt = [360, None, None]
    turn_at(bench, FIRST)
    bench.run_until(FIRST + 100)
    bench.runner.hub.record.zone_faults[2] = BURST_FAULT
    told = status(bench.runner, bench.up_s())
    zones: Any = told["zones"]
    assert [z["held_back"] for z in zones] == ["wet_soil", "ok", "fault"]
    assert [z["waiting"] for z in zones] == [1, 0, 1]
    assert [z["soil_vwc_ppt"] for z in zones] == [360, -1, -1]
    assert zones[1]["open_s"] == 100
    assert (told["boots"], told["alarms"]) == (1, [])


# Drivers that raise.


def test_a_valve_that_will_not_open_is_a_fault_and_is_tried_a_day_later() -> None:
    bench = booted()
    bench.broken.add((0, "open"))
    bench.run_until(12 * HOUR)
    assert [e[1:3] for e in bench.told(ALARM)] == [(0, DRIVER)]
    assert [e[1:3] for e in bench.told(SKIPPED)] == [(0, DRIVER)]
    assert [e[1] for e in bench.told(OPENED)] == [1]
    assert bench.runner.hub.record.zone_faults[0] == _DRIVER_FAULT
    assert ("close", 0, FIRST) in bench.calls, "it may have opened after all"
    bench.broken.clear()
    bench.run_until(FIRST + _FAULT_RETRY_S + HOUR)
    assert [e[1:3] for e in bench.told(CLEARED)] == [(0, DRIVER)]
    assert bench.runner.hub.record.zone_faults[0] == 0


def test_a_master_that_will_not_open_keeps_its_zones_shut() -> None:
    bench = booted(house(supplies=[{"master": 1}]))
    bench.broken.add((2, "open"))
    bench.run_until(12 * HOUR)
    assert [e[1:3] for e in bench.told(ALARM)] == [(ZONES_MAX, DRIVER)]
    assert {e[1:3] for e in bench.told(SKIPPED)} == {(0, DRIVER), (1, DRIVER)}
    assert not bench.told(OPENED) and not bench.open_since


def test_a_master_that_opens_again_clears_its_alarm() -> None:
    bench = booted(house(supplies=[{"master": 1}], frost=0))
    bench.broken.add((2, "open"))
    bench.run_until(DAY)
    assert [e[1:3] for e in bench.told(ALARM)] == [(ZONES_MAX, DRIVER)]
    bench.broken.clear()
    bench.run_until(2 * DAY)
    assert [e[1:3] for e in bench.told(CLEARED)] == [(ZONES_MAX, DRIVER)]
    assert bench.runner.hub.faults.alarms == [] and len(bench.told(OPENED)) == 2


def test_a_master_opens_before_and_closes_after_its_zone() -> None:
    bench = booted(house(zones=1, supplies=[{"master": 1}]))
    bench.run_until(FIRST - 1)
    bench.calls.clear()
    bench.run_until(FIRST + HOUR)
    valves = [(what, valve) for what, valve, _ in bench.calls if what != "save"]
    assert valves == [("open", 1), ("open", 0), ("close", 0), ("close", 1)]


def test_a_valve_that_will_not_close_is_tried_until_it_does() -> None:
    bench = booted()
    bench.run_until(FIRST)
    bench.broken.add((0, "close"))
    bench.run_until(FIRST + 1000)
    tries = [at_s for what, valve, at_s in bench.calls if (what, valve) == ("close", 0)]
    assert tries[-3:] == [FIRST + 980, FIRST + 990, FIRST + 1000]
    assert [e[1:3] for e in bench.told(ALARM)] == [(0, DRIVER)]
    assert not bench.told(CLOSED) and not [c for c in bench.calls if c[:2] == ("open", 1)]
    bench.broken.clear()
    bench.run_until(FIRST + HOUR)
    assert [e[1:3] for e in bench.told(CLEARED)] == [(0, DRIVER)]
    assert bench.told(CLOSED)[0][:4] == (CLOSED, 0, DONE, 1010), "all of it is counted"
    assert [e[1] for e in bench.told(OPENED)] == [0, 1]


def test_a_valve_that_will_not_close_at_boot_keeps_its_supply_shut() -> None:
    made = house(zones=[{}, {"supply": 1}], supplies=[{}, {}], open_max=2)
    bench = Bench(made, FROM_S)
    bench.broken.add((0, "close"))
    bench.boot()
    bench.run_until(12 * HOUR)
    assert [e[1] for e in bench.told(OPENED)] == [1]
    assert len(bench.told(BOOT)) == 1
    bench.run_until(FIRST + DAY)
    assert [e[1:3] for e in bench.told(SKIPPED)] == [(0, FAULT)]


def test_two_supplies_run_side_by_side() -> None:
    made = house(zones=[{}, {"supply": 1}], supplies=[{}, {}], open_max=2)
    bench = booted(made)
    bench.run_until(FIRST)
    assert sorted(bench.open_since) == [0, 1]


# Stores that fail.


def test_a_store_that_fails_once_delays_a_run_and_is_an_alarm() -> None:
    bench = booted()
    bench.run_until(FIRST - 1)
    bench.store_broken = True
    bench.now_s = FIRST
    bench.runner.turn()
    assert [e[1:3] for e in bench.told(ALARM)] == [(-1, STORE)]
    assert not bench.open_since
    bench.store_broken = False
    bench.run_until(12 * HOUR)
    assert [e[1:3] for e in bench.told(CLEARED)] == [(-1, STORE)]
    assert [(e[1], e[6]) for e in bench.told(OPENED)] == [
        (0, FIRST + _SAVE_RETRY_S),
        (1, FIRST + _SAVE_RETRY_S + 630),
    ]


def test_with_a_store_that_fails_for_long_nothing_opens_and_all_is_said() -> None:
    bench = booted()
    bench.run_until(FIRST - 1)
    bench.store_broken = True
    bench.run_until(FIRST + DAY)
    ask(bench, (ASK_RUN, 0, 600))
    assert [e[1:3] for e in bench.told(REFUSED)] == [(0, STORE)], "at once, not once it was tried"
    assert not bench.told(OPENED)
    assert len(bench.told(ALARM, STORE)) == 1
    assert {e[1:3] for e in bench.told(SKIPPED)} == {(0, NO_TIME), (1, NO_TIME)}


def test_a_run_by_hand_whose_intent_cannot_be_written_is_refused() -> None:
    bench = booted()
    bench.run_until(HOUR)
    bench.store_broken = True
    ask(bench, (ASK_RUN, 0, 600))
    assert [e[1:3] for e in bench.told(REFUSED)] == [(0, FAULT)]
    assert not bench.runner.hub.record.opening


def test_a_record_of_another_plan_is_carried_over_by_tag() -> None:
    bench = booted()
    bench.run_until(12 * HOUR)
    other = house(zones=[{"tag": 2}, {"tag": 7}])
    bench.store[(PLAN, 0)] = other.pack()
    bench.boot()
    bench.run_until(60)
    record = bench.runner.hub.record
    assert record.plan_crc == other.crc
    assert record.used_s == [600, 0]
    assert [e[2] for e in bench.told(BOOT)] == [POWER, NEW_PLAN]


# Power.


def cut_during_first_run(made: Plan, away_s: int = 30, lost: bool = False) -> Bench:
    bench = booted(made)
    bench.run_until(FIRST + 100)
    bench.open_since.clear()
    bench.events.clear()
    bench.now_s += away_s
    if lost:
        bench.offset_s = None
    bench.boot()
    bench.runner.turn()
    return bench


def test_a_latching_valve_had_water_until_the_boot_and_a_held_one_no_longer_than_its_run() -> None:
    assert cut_during_first_run(house()).told(CUT_SHORT)[0][1:4] == (0, POWER, 130)
    bench = cut_during_first_run(house(zone={"held": 1}), away_s=2 * HOUR)
    assert bench.told(CUT_SHORT)[0][1:4] == (0, POWER, 600)
    assert bench.runner.hub.record.used_s == [600, 0]


def test_without_a_clock_the_whole_cap_is_booked() -> None:
    bench = cut_during_first_run(house(), lost=True)
    assert bench.told(CUT_SHORT)[0][1:4] == (0, POWER, 7200)


def test_the_rest_of_a_zone_outlasts_a_power_cut() -> None:
    bench = booted(house(zones=1, zone={"rest_s": 40000, "longest_s": 3600}))
    bench.run_until(FIRST + 700)
    bench.boot()
    bench.runner.turn()
    assert bench.runner.hub.runs._shut_up_s == [-100]


def test_rain_outlasts_a_power_cut() -> None:
    bench = booted(house(zones=1))
    bench.run_until(2 * HOUR)
    bench.seen.rain_um = 12000
    bench.run_until(3 * HOUR + 60)
    bench.seen.rain_um = 0
    bench.now_s += 30
    bench.boot()
    bench.run_until(HOUR)
    assert bench.runner.hub.record.rain_today_um == 12000


# Meters.


def metered(**changes: Any) -> Bench:
    bench = Bench(house(supplies=[{"meter": 1}], **changes), FROM_S)
    bench.seen.meter_ml = [0]
    bench.boot()
    return bench


def test_zones_without_flow_are_faults_and_together_a_supply_fault() -> None:
    bench = metered()
    bench.run_until(12 * HOUR)
    assert [e[1:3] for e in bench.told(ALARM)] == [
        (0, NO_FLOW),
        (1, NO_FLOW),
        (ZONES_MAX, SUPPLY_NO_FLOW),
    ]
    assert [e[1:3] for e in bench.told(CUT_SHORT)] == [(0, FAULT), (1, FAULT)]
    # A day later both are tried again, and flow.
    bench.run_until(FIRST + 2 * DAY - 1)
    pour(bench, FIRST + 2 * DAY, FIRST + 2 * DAY + 1300, 3000)
    cleared = [e[1:3] for e in bench.told(CLEARED)]
    assert cleared[1] == (ZONES_MAX, SUPPLY_NO_FLOW)
    assert sorted(cleared[::2]) == [(0, NO_FLOW), (1, NO_FLOW)]
    assert bench.runner.hub.record.zone_faults == [0, 0]
    assert bench.told(CLOSED)[0][4] > 29000, "the volume is counted"


def test_too_much_flow_is_a_burst_until_the_owner_clears_it() -> None:
    bench = metered()
    bench.runner.hub.record.flow_ml_min[:] = [3000, 3000]
    bench.run_until(FIRST - 1)
    pour(bench, FIRST, FIRST + 120, 5000)
    assert [e[1:3] for e in bench.told(ALARM)] == [(0, BURST)]
    assert [e[1:3] for e in bench.told(CUT_SHORT)] == [(0, FAULT)]
    assert bench.runner.hub.record.zone_faults[0] == BURST_FAULT
    ask(bench, (ASK_CLEAR, 0, 0))
    assert [e[1:3] for e in bench.told(CLEARED)] == [(0, BURST)]


def test_water_with_every_valve_shut_closes_all_and_stops_all_until_cleared() -> None:
    bench = metered()
    bench.run_until(2 * HOUR)
    bench.calls.clear()
    pour(bench, 2 * HOUR, 2 * HOUR + 600, 1000)
    assert [e[1:3] for e in bench.told(ALARM)] == [(-1, LEAK)]
    assert {c[1] for c in bench.calls if c[0] == "close"} == {0, 1}
    bench.run_until(FIRST + HOUR)
    assert not bench.told(OPENED)
    ask(bench, (ASK_CLEAR, -1, 0))
    assert [e[1:3] for e in bench.told(CLEARED)] == [(-1, LEAK)]
    assert {e[1:3] for e in bench.told(SKIPPED)} == {(0, FAULT), (1, FAULT)}
    bench.run_until(16 * HOUR)
    assert not bench.told(OPENED), "clearing opens nothing"
    bench.run_until(DAY + 8 * HOUR)
    assert len(bench.told(OPENED)) == 2


def test_a_leak_during_a_run_of_another_supply_stops_that_run() -> None:
    made = house(zones=[{}, {"supply": 1}], supplies=[{}, {"meter": 1}])
    bench = Bench(made, FROM_S)
    bench.seen.meter_ml = [None, 0]
    bench.boot()
    bench.run_until(FIRST)
    pour(bench, FIRST, FIRST + 400, 1000, 1)
    assert bench.runner.hub.record.faults == LEAK_FAULT
    assert bench.told(CUT_SHORT)[0][1] == 0


def test_a_row_in_litres_ends_by_the_meter() -> None:
    litres = [row(1, 1, 1, run_s=1800, run_ml=20000, start_min=300, length_min=720)]
    bench = metered(rows=litres, zones=1)
    bench.run_until(FIRST - 1)
    pour(bench, FIRST, FIRST + 700, 3000)
    closed = bench.told(CLOSED)
    assert [e[1:3] for e in closed] == [(0, LITRES)]
    assert 20000 <= closed[0][4] <= 20100


def test_the_guided_test_opens_each_zone_for_a_minute_and_learns_its_flow() -> None:
    bench = metered()
    bench.run_until(HOUR)
    bench.asked.append((ASK_TEST, -1, 0))
    pour(bench, HOUR, HOUR + 200, 2400)
    assert [(e[1], e[2], e[3]) for e in bench.told(OPENED)] == [(0, TEST, 60), (1, TEST, 60)]
    learned = bench.told(LEARNED)
    assert [e[1] for e in learned] == [0, 1]
    assert all(abs(e[3] - 2400) <= 4 for e in learned)


def test_the_guided_test_leaves_out_what_may_not_be_opened() -> None:
    bench = booted()
    bench.run_until(HOUR)
    bench.runner.hub.record.zone_faults[0] = BURST_FAULT
    ask(bench, (ASK_TEST, -1, 0))
    assert [e[1:4] for e in bench.told(REFUSED)] == [(0, FAULT, TEST)]
    assert [e[1:3] for e in bench.told(OPENED)] == [(1, TEST)]


def test_the_guided_test_ends_if_no_zone_may_be_opened() -> None:
    bench = booted()
    bench.run_until(HOUR)
    bench.runner.hub.record.zone_faults[:] = [BURST_FAULT, BURST_FAULT]
    ask(bench, (ASK_TEST, -1, 0))
    assert [e[1] for e in bench.told(REFUSED)] == [0, 1]
    assert not bench.runner.hub.runs.test and not bench.told(OPENED)


# What holds a run back, and what ends it.


def test_a_battery_below_its_reserve_shuts_an_open_valve() -> None:
    bench = Bench(house(battery=1), FROM_S)
    bench.seen.battery_mv = 8000
    bench.boot()
    bench.run_until(FIRST)
    bench.seen.battery_mv = 6000
    bench.run_until(FIRST + 400)
    assert bench.told(CUT_SHORT)[0][1:3] == (0, LOW_BATTERY)


def test_a_run_waits_for_the_end_of_banned_hours() -> None:
    bench = booted(house(zones=1, bans=[(BAN_HOURS, 290, 330)]))
    bench.run_until(12 * HOUR)
    assert [e[6] for e in bench.told(OPENED)] == [330 * 60]


def test_a_run_that_would_meet_banned_hours_waits_for_their_end() -> None:
    bench = booted(house(zones=1, bans=[(BAN_HOURS, 305, 330)]))
    bench.run_until(12 * HOUR)
    assert [e[6] for e in bench.told(OPENED)] == [330 * 60]


def test_a_wet_contact_ends_a_run_and_holds_until_it_is_dry() -> None:
    bench = Bench(house(zones=1, rain_kind=CONTACT, dry_after_s=1000), FROM_S)
    bench.seen.rain_wet = False
    bench.boot()
    bench.run_until(FIRST)
    bench.seen.rain_wet = True
    bench.run_until(FIRST + 700)
    assert bench.told(CUT_SHORT)[0][1:3] == (0, RAIN)
    bench.seen.rain_wet = False
    dry_s = FIRST + 600 + HOUR  # the next poll sees that it is dry
    bench.run_until(dry_s + 999)
    assert not bench.told(RELEASED)
    bench.run_until(12 * HOUR)
    assert [(e[2], e[6]) for e in bench.told(RELEASED)] == [(RAIN, dry_s + 1000)]


def test_a_run_too_short_or_past_the_cap_is_dropped_with_its_reason() -> None:
    short = [row(1, 1, 2, run_s=600, start_min=300, length_min=720)]
    zones = [{"share_pct": 5}, {"cap_s": 620}]
    bench = booted(house(zones=zones, rows=short))
    bench.run_until(20 * HOUR)
    skipped = [e[1:3] for e in bench.told(SKIPPED)]
    assert skipped == [(0, TOO_SHORT), (0, TOO_SHORT), (1, CAP)]


def test_a_valve_opens_only_if_its_intent_was_written() -> None:
    bench = booted(house(zones=1))
    bench.run_until(FIRST - 1)
    hub = bench.runner.hub
    commands = hub.step(FIRST, FROM_S + FIRST, bench.seen)
    assert [c[:2] for c in commands] == [(SAVE, RECORD), (OPEN, 0)]
    bench.seen.done = 0
    given_up = hub.step(FIRST, FROM_S + FIRST, bench.seen)
    assert {c[0] for c in given_up} == {REPORT}  # nothing to close, and not at once again
    assert (hub.record.waiting, hub.record.opening) == (1, 0)
    assert not hub.guard.open_zones


def test_stop_closes_what_is_open_and_drops_what_waits_or_is_intended() -> None:
    bench = booted()
    bench.run_until(FIRST + 100)
    ask(bench, (ASK_STOP, -1, 0))
    assert bench.told(CUT_SHORT)[0][1:3] == (0, OWNER)
    assert bench.told(SKIPPED)[0][1:3] == (1, OWNER)
    assert not bench.open_since


def test_stop_reaches_a_run_that_opens_in_the_same_moment() -> None:
    bench = booted(house(zones=1))
    bench.run_until(FIRST - 1)
    hub = bench.runner.hub
    commands = hub.step(FIRST, FROM_S + FIRST, bench.seen)
    bench.seen.done = len(commands)
    after = hub.step(FIRST, FROM_S + FIRST, bench.seen, [(ASK_STOP, -1, 0)])
    assert after[0] == (CLOSE, 0)
    bench.seen.done = len(after)
    hub.step(FIRST, FROM_S + FIRST, bench.seen)
    assert (hub.record.waiting, hub.record.opening) == (0, 0)


def test_stop_leaves_a_valve_alone_that_is_being_closed() -> None:
    bench = booted(house(zones=1))
    bench.run_until(FIRST)
    bench.broken.add((0, "close"))
    bench.run_until(FIRST + 605)
    ask(bench, (ASK_STOP, -1, 0))
    bench.broken.clear()
    bench.run_until(FIRST + 700)
    assert bench.told(CLOSED)[0][2] == DONE


# Owner and plans.


def test_a_run_by_hand_obeys_gap_and_says_so() -> None:
    bench = booted()
    bench.run_until(FIRST + 1230 + 10)
    ask(bench, (ASK_RUN, 0, 600))
    assert bench.told(REFUSED)[0][1:3] == (0, GAP)
    bench.run_until(FIRST + 2000)
    ask(bench, (ASK_RUN, 0, 600))
    assert bench.told(OPENED)[-1][1:4] == (0, MANUAL, 600)


def test_clearing_nothing_says_nothing() -> None:
    bench = booted()
    bench.run_until(100)
    ask(bench, (ASK_CLEAR, -1, 0), (ASK_CLEAR, 1, 0))
    assert not bench.told(CLEARED) and len(bench.told(ACCEPTED)) == 2


def test_clearing_one_zone_leaves_the_others_and_drops_its_waiting_run() -> None:
    bench = booted()
    bench.runner.hub.record.zone_faults[:] = [BURST_FAULT, NO_FLOW_FAULT]
    bench.boot()
    turn_at(bench, FIRST)
    hub = bench.runner.hub
    hub.record.zone_faults[:] = [BURST_FAULT, NO_FLOW_FAULT]
    hub.faults.alarms = [(0, BURST), (1, NO_FLOW)]
    hub.record.waiting = 1
    answer(hub, [(ASK_CLEAR, 0, 0)], bench.up_s())
    assert hub.record.zone_faults == [0, NO_FLOW_FAULT]
    assert status(bench.runner, bench.up_s())["alarms"] == [(1, "no_flow")]
    assert not hub.record.waiting & 1


def test_a_new_plan_shuts_all_takes_over_and_keeps_what_was_used() -> None:
    bench = booted()
    bench.run_until(FIRST + 100)
    other = house(zones=[{"tag": 2}, {"tag": 1}, {"tag": 3}])
    ask(bench, (ASK_PLAN, -1, other.pack()), (ASK_PLAN, -1, other.pack()))
    assert bench.told(REFUSED)[0][2] == BUSY
    assert bench.told(CUT_SHORT)[0][1:4] == (0, NEW_PLAN, 100)
    assert bench.told(SKIPPED)[0][1:3] == (1, NEW_PLAN)
    hub = bench.runner.hub
    assert hub.plan.crc == other.crc and hub.record.new_plan is None
    assert hub.record.used_s == [0, 100, 0]
    assert bench.store[(PLAN, 1)] == other.pack()


def test_a_new_plan_that_cannot_be_kept_is_refused_and_the_old_one_stays() -> None:
    bench = booted()
    bench.run_until(100)
    before = bench.runner.hub.plan.crc
    bench.store_broken = True
    ask(bench, (ASK_PLAN, -1, house(3).pack()))
    assert bench.told(REFUSED)[0][2] == STORE
    assert bench.runner.hub.plan.crc == before and bench.runner.hub.record.new_plan is None
    bench.store_broken = False
    bench.run_until(12 * HOUR)
    assert len(bench.told(OPENED)) == 2


def test_run_anyway_opens_in_a_hold() -> None:
    bench = booted()
    bench.run_until(100)
    ask(bench, (ASK_HOLD, -1, FROM_S + DAY))
    ask(bench, (ASK_RUN_ANYWAY, 1, 300))
    assert bench.told(OPENED)[0][1:4] == (1, MANUAL, 300)


def test_without_a_clock_nothing_is_due_but_what_is_open_still_ends() -> None:
    bench = booted()
    bench.run_until(FIRST + 100)
    bench.offset_s = None
    bench.run_until(FIRST + 2 * HOUR)
    assert len(bench.told(CUT_SHORT)) == 1 and not bench.open_since


def test_quiet_lasts_without_a_clock() -> None:
    """With local rules to keep and no clock, even an override must wait."""
    bench = booted(house(bans=[(BAN_HOURS, 600, 660)]))
    bench.offset_s = None
    bench.run_until(100)
    ask(bench, (ASK_RUN_ANYWAY, 1, 300))
    assert bench.told(REFUSED)[0][2] == QUIET
