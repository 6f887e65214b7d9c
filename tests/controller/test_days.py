"""Midnights, cycles and clocks that step, one case at a time, on the bench."""

import pytest

from evenclay.controller import journal
from evenclay.controller.agenda import PER_DAY
from evenclay.controller.civil import day_of
from evenclay.controller.days import _PASSED_MAX
from evenclay.controller.events import (
    ALARM,
    BOOT,
    CAP,
    CLEARED,
    CLOCK,
    CLOSED,
    CUT_SHORT,
    HOLD,
    LOCKED,
    LOST_CLOCK,
    NO_TIME,
    OPENED,
    POWER,
    RELEASED,
    SKIPPED,
)
from evenclay.controller.limits import WALL_MAX
from evenclay.controller.plan import Plan
from evenclay.controller.ports import ASK_HOLD, RECORD
from tests.core import Bench, plan, row, wall

HOUR = 3600
DAY = 86400
# Midnight of 1 June 2026 in the plan's zone, UTC-5.
START_S = wall(2026, 6, 1, 5)


def four_a_day(zones: int = 1, **changes: int) -> Plan:
    """Cycles at 00:00, 06:00, 12:00 and 18:00, all year."""
    rows = [row(1, 1, 4, start_min=0, length_min=1440, run_s=1800)]
    zone = {"share_pct": changes.pop("share_pct", 100), "probe": changes.pop("probe", 0)}
    zone["cap_s"] = changes.pop("cap_s", 7200)
    zone["held"] = 1  # what the cut itself gives is told apart in the campaign of power cuts
    changes.setdefault("frost", 0)
    return plan(zones, rows, None, (), zone, **changes)


def booted(made: Plan, start_s: int | None = START_S, store: object = None) -> Bench:
    bench = Bench(made, start_s, store)  # type: ignore[arg-type]
    bench.boot()
    return bench


def rebooted(bench: Bench, away_s: int, clock: bool = True) -> Bench:
    """Power goes for a while."""
    assert bench.offset_s is not None
    true_s = bench.now_s + bench.offset_s + away_s
    return booted(bench.plan, true_s if clock else None, bench.store)


def step(bench: Bench, seconds: int) -> None:
    assert bench.offset_s is not None
    bench.offset_s += seconds
    bench.runner.turn()


def given_s(bench: Bench) -> int:
    return sum(e[3] for e in bench.told(CLOSED) + bench.told(CUT_SHORT))


# The clock.


@pytest.mark.parametrize(
    "wall_s",
    [None, -1, 0, wall(2000, 1, 3, 4), WALL_MAX, WALL_MAX + 1, 2**40],
)
def test_a_clock_that_cannot_be_true_is_not_trusted(wall_s: int | None) -> None:
    """What a clock chip shows after losing power, too: the first days of 2000 do not count."""
    bench = booted(four_a_day(), wall_s)
    bench.run_until(HOUR)
    assert [event[2] for event in bench.told(LOCKED)] == [LOST_CLOCK]
    assert not bench.told(OPENED)
    assert {event[7] for event in bench.events} == {-1}
    bench.offset_s = START_S
    bench.run_until(8 * HOUR)
    assert len(bench.told(RELEASED, LOST_CLOCK)) == 1
    assert bench.told(OPENED)


@pytest.mark.parametrize("std_s", [-86400, -43200, 0, 50400, 86400])
@pytest.mark.parametrize("back", [True, False])
def test_the_first_and_last_days_of_the_calendar(std_s: int, back: bool) -> None:
    made = four_a_day(std_s=std_s, dst_s=std_s, dst=0)
    bench = booted(made, 3 * DAY if back else WALL_MAX - 2 * DAY)
    bench.run_until(3 * DAY)
    assert len(bench.told(OPENED)) >= 7
    assert bench.told(ALARM) == []
    assert bool(bench.told(LOCKED, LOST_CLOCK)) == (not back)


def test_a_drift_is_no_step() -> None:
    bench = booted(four_a_day())
    bench.run_until(20 * HOUR)
    for _ in range(30):
        step(bench, 60)
        step(bench, -60)
    assert not bench.told(SKIPPED)
    step(bench, 61)
    step(bench, -61)
    assert not bench.told(SKIPPED)


def test_a_lost_clock_shuts_and_waits() -> None:
    bench = booted(four_a_day())
    bench.run_until(6 * HOUR + 600)
    assert bench.open_since
    bench.offset_s = None
    bench.run_until(6 * HOUR + 900)
    assert not bench.open_since
    assert bench.told(CUT_SHORT, LOST_CLOCK)
    bench.run_until(15 * HOUR)
    assert len(bench.told(OPENED)) == 1
    bench.offset_s = START_S
    bench.run_until(18 * HOUR + 60)
    assert [event[2] for event in bench.told(SKIPPED)] == [CLOCK]  # the noon cycle
    assert len(bench.told(OPENED)) == 2


def test_waiting_runs_outlive_a_power_cut_that_loses_the_clock() -> None:
    """The clock is set while their cycle lasts: they get their runs."""
    bench = booted(four_a_day(3))
    bench.run_until(6 * HOUR + 600)  # the first zone is open, two wait
    again = rebooted(bench, 60, clock=False)
    again.run_until(HOUR)
    assert not again.told(OPENED)
    again.offset_s = START_S + 6 * HOUR + 660
    again.run_until(5 * HOUR)
    assert [event[1] for event in again.told(OPENED)] == [1, 2]
    assert not again.told(SKIPPED)


def test_back_less_than_a_day_repeats_nothing() -> None:
    bench = booted(four_a_day())
    bench.run_until(19 * HOUR)
    opened = len(bench.told(OPENED))
    step(bench, -13 * HOUR)
    bench.run_until(31 * HOUR + HOUR // 2)  # 18:30 by the clock, again
    assert len(bench.told(OPENED)) == opened
    bench.run_until(38 * HOUR)
    assert len(bench.told(OPENED)) == opened + 1
    assert not bench.told(ALARM)


def test_further_back_moves_the_mark_with_an_alarm_once() -> None:
    bench = booted(four_a_day(2))
    bench.run_until(42 * HOUR)  # 18:00 on the second day: one opens, one waits
    step(bench, -25 * HOUR - 1)
    alarm = bench.told(ALARM, CLOCK)
    assert [event[3] for event in alarm] == [25 * HOUR + 1]
    assert [event[1] for event in bench.told(SKIPPED, CLOCK)] == [1]
    assert not bench.told(CLEARED, CLOCK)
    bench.run_until(46 * HOUR)
    assert bench.told(CLEARED, CLOCK)
    assert len(bench.told(ALARM)) == 1


def test_exactly_25_hours_back_is_no_alarm() -> None:
    bench = booted(four_a_day())
    bench.run_until(42 * HOUR)
    step(bench, -25 * HOUR)
    assert not bench.told(ALARM)


def test_forward_skips_and_drops_what_waited() -> None:
    bench = booted(four_a_day(2))
    bench.run_until(6 * HOUR + 60)
    step(bench, 13 * HOUR)  # 19:01: noon and 18:00 passed, the second zone waited
    assert [event[1] for event in bench.told(SKIPPED, CLOCK)] == [1, 0, 1, 0, 1]
    assert bench.told(SKIPPED) == bench.told(SKIPPED, CLOCK)


def test_a_step_within_a_cycle_leaves_its_runs_waiting() -> None:
    bench = booted(four_a_day(2))
    bench.run_until(6 * HOUR + 60)
    step(bench, HOUR)
    bench.run_until(8 * HOUR)
    assert [event[1] for event in bench.told(OPENED)] == [0, 1]


@pytest.mark.parametrize(
    ("moved_s", "ends_up_s"), [(-5 * HOUR, 12 * HOUR), (2 * HOUR, 10 * HOUR), (0, 12 * HOUR)]
)
def test_a_waiting_run_s_grace_ends_by_clock_or_uptime(moved_s: int, ends_up_s: int) -> None:
    """Whichever comes first: a clock set back makes no cycle longer."""
    bench = booted(four_a_day(2))
    bench.run_until(6 * HOUR + 60)
    bench.asked = [(ASK_HOLD, -1, START_S + 9 * DAY)]
    step(bench, moved_s)
    bench.run_until(11 * HOUR + HOUR // 2 + 1)
    dropped = [event for event in bench.told(SKIPPED) if event[1] == 1]
    assert [event[6] for event in dropped][:1] == [ends_up_s - 1800 + 1]


@pytest.mark.parametrize("back_s", [61, HOUR, 2 * HOUR, 5 * HOUR])
def test_a_clock_set_back_opens_no_waiting_run_before_its_cycle(back_s: int) -> None:
    """It waits for the cycle's start by the new clock, and no longer than its cycle by uptime."""
    bench = booted(four_a_day(2))
    bench.run_until(6 * HOUR + 60)
    step(bench, -back_s)
    bench.run_until(12 * HOUR - 1)
    second = [event for event in bench.events if event[1] == 1]
    first_s = 6 * HOUR + back_s
    if first_s <= 12 * HOUR - 1800:
        # Set back by a minute, its turn comes after the first zone's as ever.
        opens_s = max(first_s, 6 * HOUR + 1800 + 30)
        assert [e[6] for e in second if e[0] == OPENED] == [opens_s]
        assert not bench.told(SKIPPED)
    else:
        assert [e[2] for e in second] == [CLOCK]


def test_a_clock_found_behind_at_boot_opens_no_waiting_run_before_its_cycle() -> None:
    bench = booted(four_a_day(2))
    bench.run_until(6 * HOUR + 60)
    again = rebooted(bench, -HOUR)
    again.run_until(HOUR - 61)
    assert not again.told(OPENED)
    again.run_until(2 * HOUR)
    assert [event[1] for event in again.told(OPENED)] == [1]
    assert [event[7] for event in again.told(OPENED)] == [START_S + 6 * HOUR]


def test_a_step_just_before_midnight_refills_no_cap() -> None:
    bench = booted(four_a_day(cap_s=3600))
    bench.run_until(34 * HOUR)
    used_s = bench.runner.hub.record.used_s
    assert used_s == [3600]
    step(bench, 14 * HOUR - 60)
    bench.run_until(35 * HOUR)
    assert bench.runner.hub.record.day == day_of(2026, 6, 3)
    assert bench.runner.hub.record.used_s == [3600]
    bench.run_until(58 * HOUR + 120)  # the midnight after
    assert bench.runner.hub.record.used_s == [0]


def test_a_step_over_midnight_refills_no_cap() -> None:
    bench = booted(four_a_day(cap_s=3600))
    bench.run_until(13 * HOUR)  # 06:00 and noon: the cap is used up
    assert given_s(bench) == 3600
    step(bench, 12 * HOUR)  # 01:00 of the next day
    assert bench.runner.hub.record.used_s == [3600]
    bench.run_until(36 * HOUR - 1)
    assert given_s(bench) == 3600
    assert bench.told(SKIPPED, CAP)
    bench.run_until(37 * HOUR)
    assert given_s(bench) == 5400


# Power.


def test_cycles_that_passed_without_power() -> None:
    bench = booted(four_a_day())
    bench.run_until(7 * HOUR)
    again = rebooted(bench, 18 * HOUR)  # 01:00: noon and 18:00 passed; midnight's is under way
    again.run_until(HOUR)
    assert [event[2] for event in again.told(SKIPPED)] == [POWER, POWER]
    assert len(again.told(OPENED)) == 1
    assert again.runner.hub.record.mark_no == day_of(2026, 6, 2) * PER_DAY


def test_a_run_is_not_begun_so_late_that_it_cannot_end() -> None:
    bench = booted(four_a_day())
    bench.run_until(7 * HOUR)
    again = rebooted(bench, 10 * HOUR + 1801)  # 29 min 59 s before the next cycle
    again.run_until(1798)
    assert [event[2] for event in again.told(SKIPPED)] == [NO_TIME]
    assert not again.told(OPENED)


def test_more_passed_cycles_than_are_told_one_by_one() -> None:
    """The rest is a count of days; the one under way is begun late all the same."""
    bench = booted(four_a_day())
    bench.run_until(7 * HOUR)
    again = rebooted(bench, 20 * DAY)
    again.run_until(HOUR)
    each = [event for event in again.told(SKIPPED, POWER) if event[1] == 0]
    rest = [event for event in again.told(SKIPPED, POWER) if event[1] == -1]
    assert len(each) == _PASSED_MAX
    assert [event[3] for event in rest] == [20 - _PASSED_MAX // 4]
    assert len(again.told(OPENED)) == 1
    assert again.runner.hub.record.mark_no == day_of(2026, 6, 21) * PER_DAY + 1


def test_more_passed_cycles_before_a_closed_season() -> None:
    bench = booted(plan(1, frost=0))
    bench.run_until(7 * HOUR)
    again = rebooted(bench, 200 * DAY)  # 18 December
    again.run_until(HOUR)
    assert len(again.told(SKIPPED, POWER)) == _PASSED_MAX + 1
    assert not again.told(OPENED)


@pytest.mark.parametrize("day", [1, 2, 3])
def test_many_passed_cycles_before_a_closed_season(day: int) -> None:
    """Power goes for a fortnight of explicit starts, and comes back in the closed season."""
    starts = (300, 420, 540, 660)
    made = plan(rows=[row(6, 1, starts_min=starts), row(7, 1, 0)])
    before = Bench(made, wall(2026, 6, 16))
    before.boot()
    before.run_until(DAY // 2)
    after = Bench(made, wall(2026, 7, day), before.store)
    after.boot()
    after.run_until(DAY)
    assert [event[2] for event in after.told(BOOT)] == [POWER]
    assert after.told(SKIPPED, POWER)[-1][1] == -1  # a count
    assert not after.runner.hub.record.faults


def test_waiting_runs_are_dropped_when_their_cycle_is_over() -> None:
    bench = booted(four_a_day(2))
    bench.run_until(6 * HOUR + 60)
    again = rebooted(bench, 7 * HOUR)  # the second zone waited at 06:00; noon's is under way
    again.run_until(60)
    assert [(event[1], event[2]) for event in again.told(SKIPPED)] == [(1, POWER)]
    # It goes first now, and once only.
    again.run_until(7 * HOUR)
    assert [event[1] for event in again.told(OPENED)] == [1, 0, 0, 1]


def test_a_boot_late_in_the_day_refills_at_that_day_s_end() -> None:
    """The day after a cut over midnight has its own minutes, and so has the one after it."""
    bench = booted(four_a_day(cap_s=3600))
    bench.run_until(20 * HOUR)
    assert bench.runner.hub.record.used_s == [3600]
    again = rebooted(bench, 15 * HOUR)  # 11:00 the next day
    again.run_until(1)
    assert again.runner.hub.record.used_s == [0]
    again.run_until(13 * HOUR - 1)
    assert given_s(again) == 3600
    again.run_until(13 * HOUR + 60)
    assert again.runner.hub.record.used_s == [0]


def test_a_boot_on_the_same_day_refills_nothing() -> None:
    bench = booted(four_a_day(cap_s=3600))
    bench.run_until(13 * HOUR)
    again = rebooted(bench, HOUR)
    again.run_until(9 * HOUR)
    assert again.runner.hub.record.used_s == [3600]
    assert not again.told(OPENED)


# Holds and seasons.


def test_a_hold_that_ends_while_power_is_away() -> None:
    bench = booted(four_a_day())
    bench.runner.turn()
    bench.asked = [(ASK_HOLD, -1, START_S + 9 * DAY)]
    bench.run_until(2 * DAY + 600)
    again = rebooted(bench, 8 * DAY)
    again.run_until(60)
    assert again.runner.hub.record.hold_s == 0
    assert not again.runner.hub.lockouts.locked[HOLD]


def test_a_zone_without_a_share_gets_no_run() -> None:
    bench = booted(four_a_day(2, share_pct=0))
    bench.run_until(DAY)
    assert not bench.told(OPENED)
    assert not bench.told(SKIPPED)


def test_what_the_record_says_after_a_midnight_is_written() -> None:
    bench = booted(four_a_day())
    bench.run_until(2 * DAY + 60)
    saved = journal.newest((bench.store[RECORD, 0], bench.store[RECORD, 1]))
    assert saved is not None
    record = journal.unpack_record(saved)
    assert record is not None
    assert record.day == day_of(2026, 6, 3)
