"""The trims: one step at a time, rarely, within bounds; and re-wetting, slow and soon over.

Steps and bounds are the plan's defaults (common practice, no source) unless a test sets them.
"""

from collections.abc import Collection
from typing import Any

import pytest

from evenclay.controller.events import (
    AFTER_CYCLE,
    ALARM,
    AUTOMATIC,
    CAP,
    CHECK,
    CLEARED,
    DRY_AT_FULL,
    LOST_CLOCK,
    OK,
    OPENED,
    REWETTING,
    SEASON,
    SKIPPED,
    TOO_SHORT,
    TOO_SOON,
    TRIMMED,
)
from evenclay.controller.journal import Record
from evenclay.controller.plan import AUTO_BOTH, AUTO_DOWN, AUTO_OFF, RowPart
from evenclay.controller.ports import ASK_CHECK, ASK_HOLD, DRY, FIRM, WET
from evenclay.controller.trim import Trim
from tests.bench import DAY_S, HOUR_S, MIN_S, START_S, ask, booted, runs, utc_plan
from tests.core import Bench, row, wall

FIRST_S = 6 * HOUR_S
DAY = 9000  # some day


class Made:
    """A trim of one zone, its record, and what it told."""

    def __init__(self, zone: dict[str, int] | None = None, meter: int = 0, **hub: Any) -> None:
        made = utc_plan(zone=zone, supplies=[{"meter": meter}], **hub)
        self.record = Record(1)
        self.told: list[tuple[int, ...]] = []
        self.trim = Trim(made, self.record, lambda *event: self.told.append(event))


# The owner's blade.


@pytest.mark.parametrize(
    ("before_pct", "readings", "after_pct"),
    [
        (100, (DRY,), 110),
        (100, (WET,), 90),
        (100, (FIRM,), 100),
        (100, (DRY, WET), 90),
        (100, (FIRM, DRY), 110),
        (100, (DRY, WET, FIRM), 90),
        (165, (DRY,), 170),
        (170, (DRY,), 170),
        (55, (WET,), 50),
        (50, (WET,), 50),
    ],
)
def test_a_check_moves_one_step_within_bounds(
    before_pct: int, readings: tuple[int, ...], after_pct: int
) -> None:
    made = Made()
    made.record.trim_pct[0] = before_pct
    assert made.trim.check(0, readings, DAY) == OK
    assert made.record.trim_pct == [after_pct]
    moved = before_pct != after_pct
    assert made.told == ([(TRIMMED, 0, CHECK, after_pct)] if moved else [])
    assert made.record.trim_day == [DAY if moved else 0]


def test_a_trim_moves_at_most_once_in_five_days() -> None:
    made = Made()
    assert made.trim.check(0, (DRY,), DAY) == OK
    assert made.trim.check(0, (DRY,), DAY + 4) == TOO_SOON
    assert made.trim.check(0, (WET,), DAY + 4) == TOO_SOON
    assert made.trim.check(0, (FIRM,), DAY + 4) == OK
    assert made.record.trim_pct == [110]
    assert made.trim.check(0, (DRY,), DAY + 5) == OK
    assert made.record.trim_pct == [120]


def test_a_clock_set_back_does_not_stop_the_trim_for_good() -> None:
    made = Made()
    made.trim.check(0, (DRY,), DAY)
    assert made.trim.check(0, (DRY,), DAY - 1) == OK


def test_two_dry_checks_at_full_trim_raise_one_alarm() -> None:
    made = Made()
    made.record.trim_pct[0] = 170
    alarm = (ALARM, 0, DRY_AT_FULL, 170)
    made.trim.check(0, (DRY,), DAY)
    assert made.told == []
    made.trim.check(0, (DRY,), DAY + 7)
    made.trim.check(0, (DRY,), DAY + 14)
    assert made.told == [alarm]


@pytest.mark.parametrize("reading", [FIRM, WET])
def test_a_check_that_is_not_dry_clears_the_alarm(reading: int) -> None:
    made = Made()
    made.record.trim_pct[0] = 170
    made.record.trim_day[0] = DAY
    for _ in range(2):
        made.trim.check(0, (DRY,), DAY)
    made.told.clear()
    made.trim.check(0, (reading,), DAY)
    made.trim.check(0, (reading,), DAY)
    assert made.told == [(CLEARED, 0, DRY_AT_FULL, 170)]


def test_a_check_that_is_not_dry_begins_the_count_again() -> None:
    made = Made()
    made.record.trim_pct[0] = 170
    made.record.trim_day[0] = DAY
    for reading in (DRY, FIRM, DRY):
        made.trim.check(0, (reading,), DAY)
    assert made.told == [] and made.record.dry_full == [1]


# The hub's own check.


@pytest.mark.parametrize(
    ("auto_trim", "owner_pct", "auto_pct", "soil", "after_pct"),
    [
        (AUTO_DOWN, 100, 0, WET, -10),
        (AUTO_DOWN, 100, -45, WET, -50),
        (AUTO_DOWN, 100, -50, WET, -50),
        (AUTO_DOWN, 100, -10, DRY, 0),
        (AUTO_DOWN, 100, -5, DRY, 0),
        (AUTO_DOWN, 100, 0, DRY, 0),  # above 100 % only if the owner allows it
        (AUTO_DOWN, 120, 0, WET, -10),  # one step, though 110 % is left
        (AUTO_DOWN, 120, 0, DRY, 0),
        (AUTO_DOWN, 80, 0, DRY, 10),  # back towards 100 %
        (AUTO_BOTH, 100, 0, DRY, 10),
        (AUTO_BOTH, 100, 65, DRY, 70),
        (AUTO_BOTH, 100, 70, DRY, 70),
        (AUTO_BOTH, 50, 0, WET, 0),
        (AUTO_BOTH, 100, 0, FIRM, 0),
        (AUTO_BOTH, 100, 0, 0, 0),
    ],
)
def test_the_hub_trims_down_and_up_only_as_allowed(
    auto_trim: int, owner_pct: int, auto_pct: int, soil: int, after_pct: int
) -> None:
    made = Made(auto_trim=auto_trim)
    made.record.trim_pct[0] = owner_pct
    made.record.auto_pct[0] = auto_pct
    made.trim.check_by_probe(0, soil, DAY)
    assert made.record.auto_pct == [after_pct]
    assert made.record.trim_pct == [owner_pct]
    moved = after_pct != auto_pct
    assert made.told == ([(TRIMMED, 0, AUTOMATIC, owner_pct + after_pct)] if moved else [])


def test_owner_and_hub_share_the_five_days() -> None:
    made = Made(auto_trim=AUTO_BOTH)
    made.trim.check(0, (DRY,), DAY)
    made.trim.check_by_probe(0, DRY, DAY + 4)
    assert made.record.auto_pct == [0]
    made.trim.check_by_probe(0, DRY, DAY + 5)
    assert made.record.auto_pct == [10]
    assert made.trim.check(0, (DRY,), DAY + 9) == TOO_SOON


def mondays(auto_trim: int, ppt: int, rain_hour: int = -1) -> Bench:
    """Eight days from Sunday 2025-07-06, with one probe and rain that counts at some hour."""
    made = utc_plan(
        auto_trim=auto_trim, zone={"probe": 1}, starts_min=(360,), rain_skip_um=0, rain_cap_um=1000
    )
    bench = Bench(made, wall(2025, 7, 6))
    bench.seen.soil_vwc_ppt = [ppt]
    bench.boot()
    if rain_hour >= 0:
        bench.run_until(rain_hour * HOUR_S - 1)
        bench.seen.rain_um = 100
    bench.run_until(8 * DAY_S)
    return bench


@pytest.mark.parametrize(
    ("auto_trim", "ppt", "trims"),
    [
        (AUTO_OFF, 360, []),
        (AUTO_DOWN, 360, [90]),
        (AUTO_DOWN, 349, []),
        (AUTO_DOWN, 299, []),
        (AUTO_BOTH, 299, [110]),
        (AUTO_BOTH, 300, []),
    ],
)
def test_the_hub_checks_on_mondays_before_the_first_cycle(
    auto_trim: int, ppt: int, trims: list[int]
) -> None:
    bench = mondays(auto_trim, ppt)
    assert [e[3] for e in bench.told(TRIMMED)] == trims
    assert [e[6] for e in bench.told(TRIMMED)] == [DAY_S + FIRST_S] * len(trims)


def test_the_hub_does_not_check_within_a_day_of_rain() -> None:
    assert len(mondays(AUTO_DOWN, 360, 5).told(TRIMMED)) == 1
    assert len(mondays(AUTO_DOWN, 360, 7).told(TRIMMED)) == 0


def test_the_hub_does_not_check_by_a_probe_it_distrusts_or_never_heard() -> None:
    assert mondays(AUTO_BOTH, 10).told(TRIMMED) == []
    bench = Bench(utc_plan(auto_trim=AUTO_BOTH, zone={"probe": 1}, starts_min=(60,)), START_S)
    bench.offset_s = wall(2025, 7, 7)
    bench.boot()
    bench.run_until(2 * HOUR_S)
    assert bench.told(TRIMMED) == []


# How long a run is.


def test_trim_and_share_multiply_the_row_up_to_the_longest_and_the_cap() -> None:
    minutes = row(1, 1, 1, run_s=600)
    made = Made({"share_pct": 150})
    assert made.trim.run(0, minutes, True) == (900, 0)
    made.record.trim_pct[0] = 170
    assert made.trim.run(0, minutes, True) == (1530, 0)
    made.record.used_s[0] = 7200 - 1000
    assert made.trim.run(0, minutes, True) == (1000, 0)
    made.record.used_s[0] = 7300
    assert made.trim.run(0, minutes, True) == (0, 0)
    assert Made({"longest_s": 500}).trim.run(0, minutes, True) == (500, 0)


def test_a_plan_with_narrower_bounds_narrows_an_old_trim() -> None:
    made = Made(trim_least_pct=80, trim_most_pct=120)
    for before_pct, pct in ((170, 120), (50, 80), (110, 110)):
        made.record.trim_pct[0] = before_pct
        assert made.trim.pct(0, True) == pct


def litres(run_ml: int, run_s: int = 3600) -> RowPart:
    return row(1, 1, 1, run_ml=run_ml, run_s=run_s)


@pytest.mark.parametrize(
    ("meter", "learned", "expected", "run_ml", "run"),
    [
        (0, 0, 3000, 15000, (300, 15000)),  # without a meter, litres are minutes
        (0, 1000, 3000, 15000, (900, 15000)),  # by the learned flow, where there is one
        (0, 0, 0, 15000, (3600, 15000)),  # nobody knows the flow: the bound alone
        (1, 0, 3000, 15000, (405, 15000)),  # a quarter more, and the hose to fill
        (1, 0, 3000, 1000000, (3600, 1000000)),
        (0, 0, 3000, 1, (0, 1)),
    ],
)
def test_litres_are_bounded_by_time(
    meter: int, learned: int, expected: int, run_ml: int, run: tuple[int, int]
) -> None:
    made = Made({"flow_ml_min": expected}, meter)
    made.record.flow_ml_min[0] = learned
    assert made.trim.run(0, litres(run_ml), True) == run


def test_litres_are_trimmed_and_never_become_minutes() -> None:
    made = Made({"flow_ml_min": 0})
    made.record.trim_pct[0] = 50
    assert made.trim.run(0, litres(10000), True)[1] == 5000
    assert made.trim.run(0, litres(1), True)[1] == 1


def test_a_run_trimmed_below_a_minute_is_dropped() -> None:
    bench = booted(utc_plan(run_s=60, starts_min=(360,)))
    bench.runner.hub.record.trim_pct[0] = 90
    bench.run_until(FIRST_S)
    assert runs(bench) == [(SKIPPED, TOO_SHORT, FIRST_S)]


def test_minutes_past_the_cap_are_cut_and_then_dropped() -> None:
    bench = booted(utc_plan(zone={"cap_s": 900}, starts_min=(360, 420, 480)))
    bench.run_until(9 * HOUR_S)
    assert [e[3] for e in bench.told(OPENED)] == [600, 300]
    assert runs(bench)[2] == (SKIPPED, CAP, 8 * HOUR_S)


# Re-wetting.


def test_rewetting_waters_more_but_no_more_than_the_row_and_a_quarter() -> None:
    made = Made()
    made.record.rewet_days[0] = 1
    for owner_pct, pct in ((50, 75), (100, 125), (170, 125)):
        made.record.trim_pct[0] = owner_pct
        assert made.trim.pct(0, True) == pct
        assert made.trim.pct(0, False) == min(owner_pct, 100)


def test_rewetting_gives_no_more_than_eight_millimetres_a_day() -> None:
    made = Made({"rate_um_h": 9000})
    assert made.trim.room_s(0) == 7200
    made.record.rewet_days[0] = 1
    assert made.trim.room_s(0) == 3200  # 8 mm at 9 mm/h
    made.record.used_s[0] = 3000
    assert made.trim.room_s(0) == 200
    unknown = Made({"rate_um_h": 0})
    unknown.record.rewet_days[0] = 1
    assert unknown.trim.room_s(0) == 7200
    slow = Made({"rate_um_h": 1000})
    slow.record.rewet_days[0] = 1
    assert slow.trim.room_s(0) == 7200


def rewetting_days(
    made: Made, dry_on: Collection[int], moist_on: Collection[int] = ()
) -> list[int]:
    """Days after the opening on which re-wetting stood, when a probe says so at midnight."""
    found = []
    for gone in range(80):
        day = DAY + gone
        if not gone:
            made.trim.opened(day)
        made.trim.new_day(0, day, DRY if gone in dry_on else FIRM if gone in moist_on else 0)
        if made.record.rewet_days[0]:
            found.append(gone)
    return found


def test_rewetting_lasts_28_days_from_the_opening() -> None:
    made = Made()
    assert rewetting_days(made, set(range(80))) == list(range(28))
    assert [e for e in made.told if e[0] == REWETTING] == [
        (REWETTING, 0, SEASON, 28),
        (REWETTING, 0, SEASON, 0),
    ]


@pytest.mark.parametrize(
    ("dry_day", "days"), [(14, list(range(14, 28))), (15, []), (0, list(range(28)))]
)
def test_a_strip_found_dry_within_two_weeks_is_rewet(dry_day: int, days: list[int]) -> None:
    assert rewetting_days(Made(), {dry_day}) == days


def test_a_strip_moist_again_is_not_rewet_any_longer() -> None:
    made = Made()
    assert rewetting_days(made, {0}, {5}) == [0, 1, 2, 3, 4]
    assert made.told[-1] == (REWETTING, 0, SEASON, 0)


def test_dry_moist_and_dry_again_is_not_given_twice_the_days() -> None:
    assert rewetting_days(Made(), {0, 10}, {5})[-1] == 27
    assert rewetting_days(Made(rewet_days=3), set(range(80))) == [0, 1, 2]
    assert rewetting_days(Made(rewet_days=0), set(range(80))) == []


@pytest.mark.parametrize(("gone", "left"), [(14, 28), (15, 0)])
def test_a_strip_known_dry_before_the_opening_is_rewet(gone: int, left: int) -> None:
    made = Made()
    made.trim.check(0, (DRY,), DAY - gone)
    assert made.record.rewet_days == [0]
    made.trim.opened(DAY)
    assert made.record.rewet_days == [left]


def test_a_strip_no_longer_dry_is_not_rewet() -> None:
    made = Made()
    made.trim.check(0, (DRY,), DAY - 3)
    made.trim.check(0, (FIRM,), DAY - 2)
    made.trim.opened(DAY)
    assert made.record.rewet_days == [0]


def test_a_clock_set_far_back_ends_rewetting() -> None:
    made = Made()
    made.trim.opened(DAY)
    made.trim.new_day(0, DAY, DRY)
    made.trim.new_day(0, DAY - 1, 0)
    assert made.record.rewet_days == [28]
    made.trim.new_day(0, DAY - 1000, DRY)
    assert made.record.rewet_days == [0]


def test_the_season_opens_and_a_dry_strip_is_rewet() -> None:
    bench = booted(utc_plan(rows=[row(1, 1, 0), row(7, 2, starts_min=(360,))]), wall(2025, 6, 30))
    assert ask(bench, ASK_CHECK, 0, (DRY,)) == (True, OK)
    bench.run_until(2 * DAY_S + FIRST_S)
    assert [e[3] for e in bench.told(REWETTING)] == [28]
    assert [e[3] for e in bench.told(OPENED)] == [750]  # the trim is 110, re-wetting tops it


@pytest.mark.parametrize(("days", "rewets"), [(7, False), (8, True)])
def test_a_hold_of_more_than_seven_dry_days_opens_the_season_again(days: int, rewets: bool) -> None:
    bench = booted(utc_plan(starts_min=(360,)))
    ask(bench, ASK_HOLD, value=START_S + days * DAY_S + HOUR_S)
    bench.run_until((days - 1) * DAY_S)
    assert ask(bench, ASK_CHECK, 0, (DRY,)) == (True, OK)
    bench.run_until(days * DAY_S + 2 * HOUR_S)
    assert [e[3] for e in bench.told(REWETTING)] == ([28] if rewets else [])


# The owner's check, through the hub.


def test_a_check_is_taken_before_the_first_cycle_only() -> None:
    bench = booted(utc_plan())
    assert ask(bench, ASK_CHECK, 0, (WET, DRY)) == (True, OK)
    assert [e[3] for e in bench.told(TRIMMED, CHECK)] == [90]
    bench.run_until(FIRST_S + MIN_S)
    assert ask(bench, ASK_CHECK, 0, (WET,)) == (False, AFTER_CYCLE)
    bench.run_until(FIRST_S + HOUR_S)
    assert ask(bench, ASK_CHECK, 0, (WET,)) == (False, AFTER_CYCLE)
    bench.run_until(DAY_S)
    assert ask(bench, ASK_CHECK, 0, (DRY,)) == (False, TOO_SOON)
    bench.offset_s = None
    assert ask(bench, ASK_CHECK, 0, (DRY,)) == (False, LOST_CLOCK)


def test_a_trim_is_remembered_over_a_reboot() -> None:
    bench = booted(utc_plan())
    ask(bench, ASK_CHECK, 0, (DRY,))
    bench.boot()
    bench.run_until(FIRST_S)
    assert [e[3] for e in bench.told(OPENED)] == [660]
