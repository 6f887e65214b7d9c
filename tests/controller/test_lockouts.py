"""Each lockout at its exact threshold, as the owner of a hub meets it: on the bench, by events.

Figures are the plan's own defaults (common practice, no source) unless a test sets them.
"""

from collections.abc import Callable
from typing import Any

import pytest

from evenclay.controller.civil import Clock, LocalTime
from evenclay.controller.events import (
    AFTER_RAIN,
    BOOT,
    CLOCK,
    CLOSED,
    CLOSED_SEASON,
    CRASH,
    CUT_SHORT,
    DONE,
    FROST,
    HOLD,
    LOST_CLOCK,
    LOW_BATTERY,
    OK,
    PLAN,
    POWER,
    PROBE,
    QUIET,
    RAIN,
    RAIN_STALE,
    SKIPPED,
    STALE,
    STUCK,
    WET_SOIL,
)
from evenclay.controller.journal import NO_RAIN, NO_TEMPERATURE, Record, newest, unpack_record
from evenclay.controller.lockouts import Lockouts, quiet
from evenclay.controller.plan import (
    BAN_DATES,
    BAN_HOURS,
    CONTACT,
    EVEN_DATES,
    GAUGE,
    NO_RAIN_SENSOR,
    ODD_DATES,
    Plan,
)
from evenclay.controller.ports import (
    ASK_CHECK,
    ASK_CLOCK,
    ASK_HOLD,
    ASK_PLAN,
    ASK_RUN,
    ASK_RUN_ANYWAY,
    FIRM,
    RECORD,
)
from tests.bench import (
    DAY_S,
    HOUR_S,
    MIN_S,
    START_S,
    ask,
    booted,
    edges,
    opened,
    runs,
    spans,
    utc_plan,
)
from tests.core import Bench, plan, row, wall

FIRST_S = 6 * HOUR_S  # the day's first cycle
NOON_S = 12 * HOUR_S


def rain_um(bench: Bench) -> int:
    found: int = bench.runner.hub.record.rain_today_um
    return found


def reboot(bench: Bench, away_s: int = 0) -> None:
    """Cut the power now; it comes back `away_s` later."""
    bench.now_s += away_s
    bench.seen.rain_um = 0
    bench.boot()
    bench.run_until(0)


def swap(bench: Bench, made: Plan) -> None:
    """Give the hub a new plan, and let it be taken."""
    assert ask(bench, ASK_PLAN, value=made.pack()) == (True, OK)
    bench.run_until(bench.now_s + 1)
    assert bench.runner.hub.plan.crc == made.crc


# Rain, by a gauge.


def test_a_gauge_holds_nothing_back_by_itself() -> None:
    bench = booted(utc_plan())
    bench.seen.rain_um = 60000
    bench.run_until(DAY_S)
    assert edges(bench, RAIN) == []
    assert opened(bench) == [FIRST_S, NOON_S]


def test_midnight_is_the_midnight_of_local_time() -> None:
    bench = Bench(plan(1, poll_s=60), wall(2025, 7, 2, 4, 0))  # 23:00 of July 1, five hours west
    bench.boot()
    bench.run_until(0)
    bench.seen.rain_um = 9000
    bench.run_until(HOUR_S - 1)
    assert rain_um(bench) == 9000
    bench.run_until(HOUR_S)
    assert rain_um(bench) == 0


def test_the_gauge_may_begin_again() -> None:
    bench = booted(utc_plan())
    bench.run_until(HOUR_S - 1)
    bench.seen.rain_um = 4000
    bench.run_until(2 * HOUR_S)
    bench.seen.rain_um = 1000  # its counter began again
    bench.run_until(3 * HOUR_S)
    assert rain_um(bench) == 5000
    bench.seen.rain_um = -50
    bench.run_until(4 * HOUR_S)
    assert rain_um(bench) == 5000
    assert edges(bench, RAIN_STALE) == []


def test_a_gauge_that_counts_more_than_any_sky_gives_is_an_alarm() -> None:
    """What it counts is then no rain, today and tomorrow, and holds no check back."""
    bench = booted(utc_plan())
    bench.run_until(DAY_S + 5 * HOUR_S - 1)
    bench.seen.rain_um = 299999
    bench.run_until(DAY_S + 6 * HOUR_S - 1)
    hub = bench.runner.hub
    assert hub.record.gaps & NO_RAIN == 0 and rain_um(bench) == 299999
    checks_up_s = hub.lockouts.after_rain_up_s
    bench.seen.rain_um = 1 << 60
    bench.run_until(2 * DAY_S - 1)
    assert rain_um(bench) == 0 and hub.record.gaps & NO_RAIN
    bench.seen.rain_um += 7000
    bench.run_until(3 * DAY_S - 1)
    assert rain_um(bench) == 0 and hub.record.gaps & NO_RAIN
    assert hub.lockouts.after_rain_up_s == checks_up_s
    bench.run_until(3 * DAY_S + HOUR_S)
    bench.seen.rain_um += 7000
    bench.run_until(4 * DAY_S - 1)
    assert rain_um(bench) == 7000 and hub.record.gaps & NO_RAIN == 0
    assert edges(bench, RAIN_STALE) == [(1, DAY_S + 6 * HOUR_S), (0, 3 * DAY_S + MIN_S)]


def test_so_is_one_that_counts_so_much_in_two_days() -> None:
    bench = booted(utc_plan())
    bench.run_until(20 * HOUR_S)
    bench.seen.rain_um = 160000
    bench.run_until(DAY_S + 5 * HOUR_S - 1)
    bench.seen.rain_um += 139999
    bench.run_until(DAY_S + 6 * HOUR_S - 1)
    hub = bench.runner.hub
    assert hub.record.gaps & NO_RAIN == 0 and rain_um(bench) == 139999
    bench.seen.rain_um += 1
    bench.run_until(2 * DAY_S - 1)
    assert rain_um(bench) == 0 and hub.record.gaps & NO_RAIN
    bench.run_until(3 * DAY_S - 1)
    assert hub.record.gaps & NO_RAIN == 0
    assert edges(bench, RAIN_STALE) == [(1, DAY_S + 6 * HOUR_S), (0, 2 * DAY_S + MIN_S)]


@pytest.mark.parametrize("pause_h", [None, 95])
def test_so_is_one_that_counts_for_four_days_without_a_pause(pause_h: int | None) -> None:
    """It drips, even if no more than any sky gives. One poll without rain is a pause."""
    bench = booted(utc_plan(poll_s=HOUR_S, watch_s=HOUR_S))
    for hour in range(1, 120):
        bench.run_until(hour * HOUR_S - 1)
        if hour not in (pause_h, 110):
            bench.seen.rain_um = (bench.seen.rain_um or 0) + 200
    bench.run_until(120 * HOUR_S)
    alarm = [(1, 96 * HOUR_S), (0, 110 * HOUR_S)]
    assert edges(bench, RAIN_STALE) == (alarm if pause_h is None else [])


def test_a_gauge_that_says_nothing_for_three_hours_is_an_alarm() -> None:
    bench = booted(utc_plan())
    bench.run_until(DAY_S + 4 * HOUR_S)
    bench.seen.rain_um = None
    bench.run_until(DAY_S + 7 * HOUR_S - 1)
    assert bench.runner.hub.record.gaps & NO_RAIN == 0
    bench.run_until(DAY_S + 10 * HOUR_S - 1)
    bench.seen.rain_um = 500
    bench.run_until(DAY_S + 11 * HOUR_S)
    assert edges(bench, RAIN_STALE) == [(1, DAY_S + 7 * HOUR_S), (0, DAY_S + 10 * HOUR_S)]
    assert bench.runner.hub.record.gaps & NO_RAIN  # for the rest of the day
    assert rain_um(bench) == 500


@pytest.mark.parametrize(("range_mc", "stuck"), [(0, True), (299, True), (300, False)])
def test_a_thermometer_that_stays_put_all_day_is_an_alarm(range_mc: int, stuck: bool) -> None:
    bench = booted(utc_plan())
    bench.run_until(DAY_S + 5 * HOUR_S)
    bench.seen.temp_mc = 15000 + range_mc
    bench.run_until(2 * DAY_S - 1)
    assert edges(bench, STUCK) == []
    bench.run_until(2 * DAY_S + HOUR_S)
    assert edges(bench, STUCK) == ([(1, 2 * DAY_S)] if stuck else [])
    bench.seen.temp_mc = 21000
    bench.run_until(4 * DAY_S - 1)
    assert edges(bench, STUCK) == ([(1, 2 * DAY_S), (0, 3 * DAY_S)] if stuck else [])


@pytest.mark.parametrize("temp_mc", [-(10**9), -60001, -60000, 60000, 60001])
@pytest.mark.no_cover
def test_a_thermometer_that_shows_what_no_air_is_counts_as_silent(temp_mc: int) -> None:
    bench = booted(utc_plan())
    bench.run_until(DAY_S + 5 * HOUR_S - 1)
    bench.seen.temp_mc = temp_mc
    bench.run_until(2 * DAY_S)
    air = abs(temp_mc) <= 60000
    missed_s = DAY_S + 8 * HOUR_S - MIN_S
    assert edges(bench, STALE) == ([] if air else [(1, missed_s)])
    assert edges(bench, FROST) == ([(1, DAY_S + 5 * HOUR_S)] if temp_mc == -60000 else [])
    assert edges(bench, STUCK) == []


def test_a_silent_thermometer_spoils_its_day() -> None:
    bench = booted(utc_plan())
    bench.run_until(DAY_S + HOUR_S)
    bench.seen.temp_mc = None
    bench.run_until(DAY_S + 4 * HOUR_S - 1)
    assert bench.runner.hub.record.gaps & NO_TEMPERATURE == 0
    bench.run_until(DAY_S + 4 * HOUR_S)
    assert bench.runner.hub.record.gaps & NO_TEMPERATURE


def test_a_power_cut_forgets_less_than_three_millimetres() -> None:
    bench = booted(utc_plan(rows=[row(1, 1, 0)]))
    bench.seen.rain_um = 3000
    bench.run_until(5 * HOUR_S)
    bench.seen.rain_um = 5999
    bench.run_until(6 * HOUR_S)
    assert rain_um(bench) == 5999
    reboot(bench, MIN_S)
    assert rain_um(bench) == 3000


def test_a_hub_that_crashed_does_not_book_the_rain_since_boot_again() -> None:
    bench = booted(utc_plan())
    bench.seen.rain_um = 4000
    bench.run_until(2 * HOUR_S)

    def raises(*_: object) -> None:
        raise RuntimeError

    bench.runner.hub.step = raises
    bench.runner.turn()
    bench.run_until(3 * HOUR_S)
    assert [event[2] for event in bench.told(BOOT)] == [POWER, CRASH]
    assert bench.runner.trouble.count == 1
    assert rain_um(bench) == 4000
    bench.seen.rain_um = 4500
    bench.run_until(4 * HOUR_S)
    assert rain_um(bench) == 4500


def test_rain_at_boot_counts_when_the_gauge_is_heard_late() -> None:
    made = utc_plan()
    bench = Bench(made, START_S)
    bench.seen.rain_um = None
    bench.boot()
    bench.run_until(2 * HOUR_S)
    bench.seen.rain_um = 9000
    bench.run_until(3 * HOUR_S)
    assert rain_um(bench) == 9000


def test_without_a_gauge_no_rain_counts() -> None:
    bench = booted(utc_plan(rain_kind=NO_RAIN_SENSOR))
    bench.seen.rain_um = 50000
    bench.seen.rain_wet = True
    bench.run_until(NOON_S)
    assert opened(bench) == [FIRST_S, NOON_S]


def test_a_blade_is_refused_for_a_day_after_rain_that_counts() -> None:
    bench = booted(utc_plan(starts_min=(1380,), estimate=1))
    bench.seen.rain_um = 2000
    bench.run_until(HOUR_S)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (True, OK)
    bench.seen.rain_um = 2001
    bench.run_until(HOUR_S + MIN_S)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (False, AFTER_RAIN)
    bench.run_until(HOUR_S + MIN_S + DAY_S - 1)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (False, AFTER_RAIN)
    bench.run_until(HOUR_S + MIN_S + DAY_S)
    assert ask(bench, ASK_CHECK, 0, (FIRM,)) == (True, OK)


# Rain, by a contact.


def contact_plan(zones: int = 1, **hub: Any) -> Plan:
    return utc_plan(zones, rain_kind=CONTACT, dry_after_s=2 * HOUR_S, **hub)


def test_a_contact_locks_while_wet_and_until_it_has_dried() -> None:
    bench = booted(contact_plan(2))
    bench.seen.rain_wet = False
    bench.run_until(3 * HOUR_S - 1)
    bench.seen.rain_wet = True
    bench.run_until(5 * HOUR_S - 1)
    bench.seen.rain_wet = False
    bench.run_until(DAY_S)
    # Seen dry at 05:00, dried at 07:00: the waiting run starts at that very second.
    assert edges(bench, RAIN) == [(1, 3 * HOUR_S), (0, 7 * HOUR_S)]
    assert spans(bench) == [(7 * HOUR_S, 7 * HOUR_S + 600), (NOON_S, NOON_S + 600)]
    assert all(e[1] == -1 for e in bench.events if e[2] == RAIN)  # one edge for all zones
    assert opened(bench, 1)[0] == 7 * HOUR_S + 600 + 30


def test_a_contact_wetted_again_begins_to_dry_again() -> None:
    bench = booted(contact_plan())
    for up_s, wet in ((1, True), (3, False), (4, True), (7, False)):
        bench.run_until(up_s * HOUR_S - 1)
        bench.seen.rain_wet = wet
    bench.run_until(DAY_S)
    assert edges(bench, RAIN) == [(1, HOUR_S), (0, 9 * HOUR_S)]
    assert opened(bench) == [9 * HOUR_S, NOON_S]


def test_a_contact_that_says_nothing_is_not_dry() -> None:
    bench = booted(contact_plan())
    bench.seen.rain_wet = True
    bench.run_until(4 * HOUR_S - 1)
    bench.seen.rain_wet = None
    bench.run_until(15 * HOUR_S - 1)
    bench.seen.rain_wet = False
    bench.run_until(DAY_S)
    assert edges(bench, RAIN) == [(1, MIN_S), (0, 17 * HOUR_S)]
    missed_s = 7 * HOUR_S - MIN_S  # three hours after the last reading
    assert edges(bench, RAIN_STALE) == [(1, missed_s), (0, 15 * HOUR_S)]
    assert opened(bench) == [17 * HOUR_S]


def test_a_contact_that_falls_silent_while_dry_stops_nothing() -> None:
    bench = booted(contact_plan())
    bench.seen.rain_wet = False
    bench.run_until(HOUR_S)
    bench.seen.rain_wet = None
    bench.run_until(DAY_S - 1)
    assert edges(bench, RAIN_STALE) == [(1, 4 * HOUR_S)]
    assert edges(bench, RAIN) == [] and opened(bench) == [FIRST_S, NOON_S]


@pytest.mark.parametrize(
    ("away_s", "released_s"),
    [(0, HOUR_S), (30 * MIN_S, 30 * MIN_S), (2 * HOUR_S, None)],
)
def test_a_contact_s_drying_time_outlives_a_restart(away_s: int, released_s: int | None) -> None:
    """It goes on by the clock while power is away: two hours in all from 04:00, cut at 05:00."""
    bench = booted(contact_plan())
    for up_s, wet in ((3 * HOUR_S, True), (4 * HOUR_S, False)):
        bench.run_until(up_s - 1)
        bench.seen.rain_wet = wet
    bench.run_until(5 * HOUR_S)
    bench.events.clear()
    reboot(bench, away_s)
    bench.run_until(HOUR_S)
    assert edges(bench, RAIN) == ([(1, 0), (0, released_s)] if released_s else [])


def test_a_drying_time_outlives_a_restart_that_loses_the_clock() -> None:
    """Nobody knows how long power was away: what was left is left still."""
    bench = booted(contact_plan())
    for up_s, wet in ((3 * HOUR_S, True), (4 * HOUR_S, False)):
        bench.run_until(up_s - 1)
        bench.seen.rain_wet = wet
    bench.run_until(5 * HOUR_S)
    bench.offset_s = None
    bench.events.clear()
    reboot(bench)
    bench.run_until(3 * HOUR_S)
    assert edges(bench, RAIN) == [(1, 0), (0, 2 * HOUR_S)]  # as the record of 04:00 says


def test_a_contact_that_was_wet_at_a_cut_dries_from_the_boot_on() -> None:
    bench = booted(contact_plan())
    bench.run_until(3 * HOUR_S - 1)
    bench.seen.rain_wet = True
    bench.run_until(5 * HOUR_S)
    bench.events.clear()
    for wet, edge in ((None, [(1, 0)]), (False, [(1, 0), (0, 2 * HOUR_S)])):
        bench.seen.rain_wet = wet
        bench.events.clear()
        reboot(bench, 9 * HOUR_S)
        bench.run_until(3 * HOUR_S)
        assert edges(bench, RAIN) == edge


def test_a_contact_cuts_a_run_short() -> None:
    bench = booted(contact_plan())
    bench.run_until(FIRST_S + 90)
    bench.seen.rain_wet = True
    bench.run_until(NOON_S - 1)
    assert spans(bench) == [(FIRST_S, FIRST_S + 120)]
    assert runs(bench) == [(CUT_SHORT, RAIN, FIRST_S + 120)]


# Frost.


def at_temperatures(bench: Bench, *steps: tuple[int, int | None]) -> None:
    """Change the temperature just before each hour's look: (hour, thousandths of a degree)."""
    for hour, temp_mc in steps:
        bench.run_until(hour * HOUR_S - 1)
        bench.seen.temp_mc = temp_mc


@pytest.mark.parametrize(("temp_mc", "locked"), [(2001, False), (2000, True), (-9000, True)])
def test_frost_locks_at_its_temperature(temp_mc: int, locked: bool) -> None:
    bench = booted(utc_plan())
    at_temperatures(bench, (5, temp_mc))
    bench.run_until(NOON_S - 1)
    assert edges(bench, FROST) == ([(1, 5 * HOUR_S)] if locked else [])
    assert runs(bench)[0][:2] == ((SKIPPED, FROST) if locked else (CLOSED, DONE))


def test_frost_ends_after_some_hours_at_a_higher_temperature() -> None:
    bench = booted(utc_plan())
    at_temperatures(bench, (1, 1000), (3, 3999), (4, 4000), (5, 3999), (6, 4000))
    bench.run_until(DAY_S)
    assert edges(bench, FROST) == [(1, HOUR_S), (0, 8 * HOUR_S)]
    assert opened(bench) == [8 * HOUR_S, NOON_S]  # it waited, and started when frost ended


def test_frost_cuts_a_run_short() -> None:
    bench = booted(utc_plan())
    bench.run_until(FIRST_S + 100)
    bench.seen.temp_mc = 2000
    bench.run_until(NOON_S)
    assert runs(bench)[0] == (CUT_SHORT, FROST, FIRST_S + 120)


def test_a_hub_that_starts_in_the_cold_takes_it_for_frost() -> None:
    for temp_mc, frost in ((3999, [(1, 0)]), (4000, [])):
        bench = Bench(utc_plan(), START_S)
        bench.seen.temp_mc = temp_mc
        bench.boot()
        bench.run_until(0)
        assert edges(bench, FROST) == frost


@pytest.mark.parametrize("away_s", [30, 30 * DAY_S])
@pytest.mark.parametrize("temp_mc", [4000, None])
def test_a_frost_outlives_a_restart(away_s: int, temp_mc: int | None) -> None:
    """Until it has been warm for its two hours, however it is when power comes back."""
    bench = booted(utc_plan())
    at_temperatures(bench, (1, 1000), (4, 4000))
    bench.run_until(5 * HOUR_S)
    bench.seen.temp_mc = temp_mc
    bench.events.clear()
    reboot(bench, away_s)
    assert edges(bench, FROST) == [(1, 0)]
    at_temperatures(bench, (1, 4000))
    bench.run_until(4 * HOUR_S)
    warm_s = 0 if temp_mc else HOUR_S
    assert edges(bench, FROST) == [(1, 0), (0, warm_s + 2 * HOUR_S)]


def test_a_frost_that_ended_is_over_after_a_restart() -> None:
    bench = booted(utc_plan())
    at_temperatures(bench, (1, 1000), (2, 4000))
    bench.run_until(7 * HOUR_S)  # past a save that followed
    assert edges(bench, FROST) == [(1, HOUR_S), (0, 4 * HOUR_S)]
    reboot(bench)
    bench.run_until(6 * HOUR_S)
    assert not bench.runner.hub.lockouts.locked[FROST]
    assert opened(bench)[-1] == 5 * HOUR_S, "noon's run"


def test_a_plan_without_a_thermometer_forgets_a_frost() -> None:
    bench = booted(utc_plan())
    at_temperatures(bench, (1, 1000))
    bench.run_until(2 * HOUR_S)
    swap(bench, utc_plan(frost=0))
    bench.run_until(NOON_S)
    assert opened(bench) == [FIRST_S, NOON_S]
    bench.seen.temp_mc = 4000
    bench.run_until(NOON_S + HOUR_S)
    swap(bench, utc_plan())
    assert not bench.runner.hub.lockouts.locked[FROST]


def test_a_silent_thermometer_is_an_alarm_and_holds_nothing_back() -> None:
    bench = booted(utc_plan())
    at_temperatures(bench, (2, None))
    missed_s = 5 * HOUR_S - MIN_S  # three hours after the last reading
    bench.run_until(missed_s - 1)
    assert edges(bench, STALE) == []
    bench.run_until(7 * HOUR_S - 1)
    assert edges(bench, STALE) == [(1, missed_s)]
    assert opened(bench) == [FIRST_S]
    bench.seen.temp_mc = 3999  # heard again, and too cold to say that there was no frost
    bench.run_until(8 * HOUR_S)
    assert edges(bench, STALE) == [(1, missed_s), (0, 7 * HOUR_S)]
    assert edges(bench, FROST) == [(1, 7 * HOUR_S)]


def test_a_thermometer_that_says_nothing_is_not_warm() -> None:
    bench = booted(utc_plan())
    at_temperatures(bench, (1, 1000), (2, None), (8, 4000), (9, None), (10, 4000))
    bench.run_until(NOON_S - 1)
    assert edges(bench, STALE) == [(1, 5 * HOUR_S - MIN_S), (0, 8 * HOUR_S)]
    assert edges(bench, FROST) == [(1, HOUR_S)] and spans(bench) == []
    bench.run_until(DAY_S)
    assert edges(bench, FROST) == [(1, HOUR_S), (0, NOON_S)], "two hours of warm readings"


def test_a_thermometer_silent_from_the_start_is_missed_after_three_hours() -> None:
    bench = Bench(utc_plan(), START_S)
    bench.seen.temp_mc = None
    bench.boot()
    bench.run_until(DAY_S)
    assert edges(bench, STALE) == [(1, 3 * HOUR_S)]
    assert opened(bench) == [FIRST_S, NOON_S]


def test_without_a_thermometer_there_is_no_frost() -> None:
    bench = booted(utc_plan(frost=0))
    bench.seen.temp_mc = -20000
    bench.run_until(NOON_S)
    assert edges(bench, FROST) == [] and opened(bench) == [FIRST_S, NOON_S]


# A frost of which nothing new is heard ends after a week.


def in_frost(temp_mc: int | None) -> Bench:
    """A frost begins at one o'clock; an hour later the thermometer says this, and only this."""
    bench = booted(utc_plan())
    at_temperatures(bench, (1, 1000), (2, temp_mc))
    bench.run_until(2 * HOUR_S)
    return bench


def drift(bench: Bench, until_s: int, least_mc: int, range_mc: int) -> None:
    """Let the thermometer go up and down, hour by hour."""
    while bench.now_s < until_s:
        bench.seen.temp_mc = least_mc + range_mc * (bench.now_s // HOUR_S % 2)
        bench.run_until(bench.now_s + HOUR_S)


@pytest.mark.parametrize("temp_mc", [None, 60001, 1000, -9000, 3999])
@pytest.mark.no_cover
def test_a_frost_ends_when_nothing_new_was_heard_for_a_week(temp_mc: int | None) -> None:
    """Of whole days, on which the thermometer was silent, showed what no air is, or stuck."""
    bench = in_frost(temp_mc)
    bench.run_until(9 * DAY_S)
    assert edges(bench, FROST) == [(1, HOUR_S), (0, 8 * DAY_S)]
    assert opened(bench)[0] == 8 * DAY_S + FIRST_S
    silent = temp_mc in (None, 60001)
    assert [on for on, _ in edges(bench, STALE if silent else STUCK)] == [1], "which stands"


@pytest.mark.parametrize(("range_mc", "ends"), [(299, True), (300, False)])
@pytest.mark.no_cover
def test_a_frost_that_is_heard_of_does_not_end_by_itself(range_mc: int, ends: bool) -> None:
    bench = in_frost(-5000)
    drift(bench, 20 * DAY_S, -5000, range_mc)
    assert edges(bench, FROST) == [(1, HOUR_S)] + [(0, 8 * DAY_S)] * ends


def test_one_reading_after_a_silence_is_something_new() -> None:
    bench = in_frost(None)
    bench.run_until(8 * DAY_S - HOUR_S)
    bench.seen.temp_mc = -5000
    bench.run_until(8 * DAY_S - MIN_S)
    bench.seen.temp_mc = None
    bench.run_until(15 * DAY_S)
    assert edges(bench, FROST) == [(1, HOUR_S), (0, 14 * DAY_S)]


@pytest.mark.parametrize("temp_mc", [None, 1000])
@pytest.mark.no_cover
def test_no_frost_begins_anew_before_something_new_is_heard(temp_mc: int | None) -> None:
    """If that is cold, though it would begin no frost by itself, nobody knows of a frost before."""
    bench = in_frost(temp_mc)
    bench.run_until(10 * DAY_S - 1)
    assert edges(bench, FROST) == [(1, HOUR_S), (0, 8 * DAY_S)]
    bench.seen.temp_mc = 3500
    at_temperatures(bench, (246, 4000))
    bench.run_until(11 * DAY_S)
    assert edges(bench, FROST)[2:] == [(1, 10 * DAY_S), (0, 10 * DAY_S + 8 * HOUR_S)]


@pytest.mark.parametrize("temp_mc", [None, 1000])
@pytest.mark.no_cover
def test_power_cuts_make_no_frost_longer(temp_mc: int | None) -> None:
    """As long as power is there at midnight."""
    bench = in_frost(temp_mc)
    for _ in range(7):
        bench.run_until(bench.now_s + DAY_S - 1)
        reboot(bench)
        assert bench.runner.hub.lockouts.locked[FROST]
    bench.run_until(DAY_S)
    assert not bench.runner.hub.lockouts.locked[FROST]


def test_after_a_restart_a_stuck_thermometer_is_believed_until_midnight() -> None:
    """Nobody knows whether it was mended while power was away."""
    bench = in_frost(1000)
    bench.run_until(10 * DAY_S)
    assert edges(bench, FROST) == [(1, HOUR_S), (0, 8 * DAY_S)]
    bench.events.clear()
    reboot(bench)
    bench.run_until(3 * DAY_S)
    assert edges(bench, FROST) == [(1, 0), (0, DAY_S)]


def test_a_midnight_without_power_is_none_of_the_week() -> None:
    bench = in_frost(None)
    bench.run_until(5 * DAY_S)
    bench.events.clear()
    reboot(bench, 40 * DAY_S)
    bench.run_until(4 * DAY_S)
    assert edges(bench, FROST) == [(1, 0), (0, 3 * DAY_S)]


def test_a_clock_that_steps_makes_no_week() -> None:
    bench = in_frost(None)
    for _ in range(20):
        assert bench.offset_s is not None
        bench.offset_s += DAY_S
        bench.run_until(bench.now_s + HOUR_S)
    assert edges(bench, FROST) == [(1, HOUR_S)]


# Battery.


def battery_bench(battery_mv: int | None) -> Bench:
    bench = Bench(utc_plan(battery=1), START_S)
    bench.seen.battery_mv = battery_mv
    bench.boot()
    bench.run_until(0)
    return bench


@pytest.mark.parametrize(("battery_mv", "locked"), [(7000, False), (6999, True)])
def test_nothing_opens_on_a_low_battery(battery_mv: int, locked: bool) -> None:
    bench = battery_bench(battery_mv)
    bench.run_until(NOON_S - 1)
    assert edges(bench, LOW_BATTERY) == ([(1, 0)] if locked else [])
    assert runs(bench)[0][:2] == ((SKIPPED, LOW_BATTERY) if locked else (CLOSED, DONE))


def test_a_battery_must_recover_by_a_margin() -> None:
    bench = battery_bench(6999)
    for hour, battery_mv in ((5, 7199), (8, 7200)):
        bench.run_until(hour * HOUR_S - 1)
        bench.seen.battery_mv = battery_mv
    bench.run_until(NOON_S)
    assert edges(bench, LOW_BATTERY) == [(1, 0), (0, 8 * HOUR_S)]
    assert opened(bench) == [8 * HOUR_S, NOON_S]


@pytest.mark.parametrize(("battery_mv", "closed"), [(6500, False), (6499, True)])
def test_below_the_reserve_an_open_valve_is_shut_at_once(battery_mv: int, closed: bool) -> None:
    bench = battery_bench(8000)
    bench.run_until(FIRST_S + 100)
    bench.seen.battery_mv = battery_mv
    bench.run_until(NOON_S - 1)
    assert edges(bench, LOW_BATTERY) == [(1, FIRST_S + 120)]
    expected = (CUT_SHORT, LOW_BATTERY, FIRST_S + 120) if closed else (CLOSED, DONE, FIRST_S + 600)
    assert runs(bench)[0] == expected


def test_a_battery_may_fall_below_the_reserve_after_it_was_low() -> None:
    bench = battery_bench(8000)
    bench.run_until(FIRST_S + 100)
    bench.seen.battery_mv = 6800
    bench.run_until(FIRST_S + 200)
    bench.seen.battery_mv = 6400
    bench.run_until(NOON_S - 1)
    assert edges(bench, LOW_BATTERY) == [(1, FIRST_S + 120)]
    assert spans(bench) == [(FIRST_S, FIRST_S + 240)]


def test_an_unknown_battery_is_not_sure_to_shut_a_valve() -> None:
    bench = battery_bench(None)
    bench.run_until(FIRST_S + HOUR_S)
    assert edges(bench, LOW_BATTERY) == [(1, 0)] and spans(bench) == []
    bench.run_until(8 * HOUR_S - 1)
    bench.seen.battery_mv = 8000
    bench.run_until(8 * HOUR_S)
    bench.seen.battery_mv = None  # 08:00 was the last reading
    bench.run_until(11 * HOUR_S - 1)
    assert edges(bench, LOW_BATTERY) == [(1, 0), (0, 8 * HOUR_S)]
    bench.run_until(NOON_S)
    assert edges(bench, LOW_BATTERY)[2:] == [(1, 11 * HOUR_S)]
    assert opened(bench) == [8 * HOUR_S]


# Quiet rules.


def quiet_plan(*bans: tuple[int, int, int], **hub: Any) -> Plan:
    return utc_plan(bans=bans, **hub)


def local(month: int, day: int, hour: int = 0, minute: int = 0, second: int = 0) -> int:
    return wall(2025, month, day, hour, minute, second)


@pytest.mark.parametrize(
    ("made", "local_s", "banned"),
    [
        (quiet_plan(), local(7, 1), False),
        (quiet_plan(weekdays=1 << 1), local(7, 1), False),  # Tuesdays only
        (quiet_plan(weekdays=1 << 1), local(7, 1, 23, 59, 59), False),
        (quiet_plan(weekdays=1 << 1), local(7, 2), True),
        (quiet_plan(weekdays=0), local(7, 1), True),
        (quiet_plan(dates=ODD_DATES), local(7, 31), False),
        (quiet_plan(dates=ODD_DATES), local(8, 1), False),
        (quiet_plan(dates=ODD_DATES), local(8, 2), True),
        (quiet_plan(dates=EVEN_DATES), local(8, 2), False),
        (quiet_plan(dates=EVEN_DATES), local(7, 31), True),
        (quiet_plan((BAN_HOURS, 600, 1080)), local(7, 1, 9, 59, 59), False),
        (quiet_plan((BAN_HOURS, 600, 1080)), local(7, 1, 10), True),
        (quiet_plan((BAN_HOURS, 600, 1080)), local(7, 1, 17, 59, 59), True),
        (quiet_plan((BAN_HOURS, 600, 1080)), local(7, 1, 18), False),
        (quiet_plan((BAN_HOURS, 1320, 360)), local(7, 1, 22), True),
        (quiet_plan((BAN_HOURS, 1320, 360)), local(7, 1, 5, 59), True),
        (quiet_plan((BAN_HOURS, 1320, 360)), local(7, 1, 6), False),
        (quiet_plan((BAN_DATES, 7 * 32 + 1, 8 * 32 + 15)), local(7, 1), True),
        (quiet_plan((BAN_DATES, 7 * 32 + 1, 8 * 32 + 15)), local(8, 15, 23, 59), True),
        (quiet_plan((BAN_DATES, 7 * 32 + 1, 8 * 32 + 15)), local(8, 16), False),
        (quiet_plan((BAN_DATES, 7 * 32 + 1, 8 * 32 + 15)), local(6, 30), False),
        (quiet_plan((BAN_DATES, 12 * 32 + 1, 32 + 31)), local(12, 31), True),
        (quiet_plan((BAN_DATES, 12 * 32 + 1, 32 + 31)), local(1, 31), True),
        (quiet_plan((BAN_DATES, 12 * 32 + 1, 32 + 31)), local(2, 1), False),
        (quiet_plan((BAN_DATES, 12 * 32 + 1, 32 + 31)), local(11, 30), False),
    ],
)
def test_quiet_times(made: Plan, local_s: int, banned: bool) -> None:
    assert quiet(made, local_s)[0] is banned


def lockouts(made: Plan) -> Lockouts:
    """With a clock whose uptime is the time of day: the plan's is UTC."""
    clock = Clock(LocalTime(made.hub))
    clock.trusted = True
    return Lockouts(made, Record(len(made.zones)), clock, False, lambda *_: None)


def test_a_plan_has_quiet_times_or_none() -> None:
    assert not lockouts(quiet_plan()).has_quiet
    assert lockouts(quiet_plan(weekdays=126)).has_quiet
    assert lockouts(quiet_plan(dates=ODD_DATES)).has_quiet
    assert lockouts(quiet_plan((BAN_HOURS, 0, 1))).has_quiet


@pytest.mark.parametrize(
    ("made", "local_s", "run_s", "why"),
    [
        (quiet_plan((BAN_HOURS, 600, 610)), local(7, 1, 9, 50), 600, OK),
        (quiet_plan((BAN_HOURS, 600, 610)), local(7, 1, 9, 50), 601, QUIET),
        (quiet_plan((BAN_HOURS, 600, 610)), local(7, 1, 9, 50), 0, OK),  # it runs already
        (quiet_plan((BAN_HOURS, 600, 610)), local(7, 1, 9, 30), 7200, QUIET),  # whole inside it
        (quiet_plan((BAN_HOURS, 600, 610)), local(7, 1, 10, 10), 600, OK),
        (quiet_plan(), local(7, 1), 14400, OK),
        (quiet_plan((BAN_HOURS, 600, 600)), local(7, 1, 9, 50), 1200, OK),  # no hours
        (quiet_plan(weekdays=2), local(7, 1, 23, 55), 301, QUIET),
        (quiet_plan(weekdays=2), local(7, 1, 23, 55), 300, OK),
    ],
)
def test_a_run_must_not_meet_a_quiet_time(made: Plan, local_s: int, run_s: int, why: int) -> None:
    for anyway in (False, True):
        assert lockouts(made).why(0, local_s, anyway, run_s) == why


def test_the_next_quiet_edge_is_a_midnight_or_an_hour() -> None:
    assert quiet(quiet_plan(weekdays=1), local(7, 1, 23))[1] == HOUR_S
    both = quiet_plan((BAN_HOURS, 600, 1440), (BAN_DATES, 33, 34))
    assert quiet(both, local(7, 1, 9, 59, 59))[1] == 1
    assert quiet(both, local(7, 1, 10))[1] == 14 * HOUR_S
    assert quiet(both, local(7, 1, 0))[1] == 10 * HOUR_S


def test_a_run_waits_for_the_end_of_quiet_hours() -> None:
    bench = booted(quiet_plan((BAN_HOURS, 300, 425)))
    bench.run_until(DAY_S)
    assert spans(bench)[0] == (425 * MIN_S, 425 * MIN_S + 600)


def test_a_run_that_quiet_hours_outlast_is_dropped_for_them() -> None:
    bench = booted(quiet_plan((BAN_HOURS, 300, 715)))
    bench.run_until(DAY_S)
    assert runs(bench)[0] == (SKIPPED, QUIET, NOON_S - 600 + 1)


def test_quiet_weekdays_drop_their_runs() -> None:
    bench = booted(quiet_plan(weekdays=1 << 2))  # Wednesdays
    bench.run_until(3 * DAY_S - 1)
    # The noon of Tuesday waits for six hours, and so never sees Wednesday.
    assert opened(bench) == [DAY_S + FIRST_S, DAY_S + NOON_S]
    assert {(what, why) for what, why, _ in runs(bench)} == {(SKIPPED, QUIET), (CLOSED, DONE)}


def test_a_clock_set_into_quiet_hours_ends_a_run() -> None:
    bench = booted(quiet_plan((BAN_HOURS, 1000, 1100)))
    bench.run_until(FIRST_S + 100)
    assert ask(bench, ASK_CLOCK, value=START_S + 1000 * MIN_S) == (True, OK)
    assert (CUT_SHORT, QUIET, FIRST_S + 100) in runs(bench)


# Hold.


def test_a_hold_cuts_a_run_short_and_the_next_waits_for_its_end() -> None:
    bench = booted(utc_plan())
    bench.run_until(FIRST_S + 100)
    assert ask(bench, ASK_HOLD, value=START_S + NOON_S + HOUR_S) == (True, OK)
    bench.run_until(DAY_S)
    assert edges(bench, HOLD) == [(1, FIRST_S + 100), (0, NOON_S + HOUR_S)]
    assert spans(bench) == [
        (FIRST_S, FIRST_S + 100),
        (NOON_S + HOUR_S, NOON_S + HOUR_S + 600),
    ]


def test_a_run_that_a_hold_outlasts_is_dropped_for_it() -> None:
    bench = booted(utc_plan())
    ask(bench, ASK_HOLD, value=START_S + NOON_S - 599)  # one second too long
    bench.run_until(NOON_S - 1)
    assert runs(bench) == [(SKIPPED, HOLD, NOON_S - 599)]


def test_a_hold_that_ends_at_the_last_second_lets_the_run_be() -> None:
    bench = booted(utc_plan())
    ask(bench, ASK_HOLD, value=START_S + NOON_S - 600)
    bench.run_until(NOON_S - 1)
    assert spans(bench) == [(NOON_S - 600, NOON_S - 1)]


def test_a_hold_may_be_ended_early_and_outlives_a_reboot() -> None:
    bench = booted(utc_plan())
    ask(bench, ASK_HOLD, value=START_S + 3 * DAY_S)
    bench.run_until(7 * HOUR_S)
    reboot(bench, HOUR_S)
    assert ask(bench, ASK_RUN, 0, 600) == (False, HOLD)
    assert ask(bench, ASK_HOLD, value=0) == (True, OK)
    assert edges(bench, HOLD) == [(1, 0), (1, 0), (0, 0)]  # a boot says anew what stands
    bench.run_until(MIN_S)
    assert spans(bench) == [(30, MIN_S)]  # the settling gap of boot


# Closed season.


def test_a_closed_season_begins_and_ends_with_its_rows() -> None:
    rows = [row(7, 3, 0), row(7, 5, starts_min=(360,)), row(7, 7, 0)]
    bench = booted(utc_plan(rows=rows), wall(2025, 7, 2))
    bench.run_until(6 * DAY_S)
    assert edges(bench, CLOSED_SEASON) == [(1, 0), (0, 3 * DAY_S), (1, 5 * DAY_S)]
    assert opened(bench) == [3 * DAY_S + FIRST_S, 4 * DAY_S + FIRST_S]
    assert ask(bench, ASK_RUN, 0, 600) == (False, CLOSED_SEASON)
    assert ask(bench, ASK_RUN_ANYWAY, 0, 600) == (True, OK)


# Lost clock.


def test_a_lost_clock_shuts_valves_until_it_is_set() -> None:
    bench = booted(utc_plan())
    bench.run_until(FIRST_S + 60)
    bench.offset_s = None
    bench.run_until(NOON_S + HOUR_S)
    assert runs(bench) == [(CUT_SHORT, LOST_CLOCK, FIRST_S + 60)]
    bench.asked = [(ASK_CLOCK, -1, START_S + NOON_S + HOUR_S)]
    bench.run_until(DAY_S + FIRST_S)
    assert edges(bench, LOST_CLOCK) == [(1, FIRST_S + 60), (0, NOON_S + HOUR_S)]
    assert runs(bench)[1][:2] == (SKIPPED, CLOCK)
    assert opened(bench) == [FIRST_S, DAY_S + FIRST_S]


def test_without_a_clock_nobody_knows_the_quiet_hours() -> None:
    bench = booted(quiet_plan((BAN_HOURS, 0, 1)), None)
    assert ask(bench, ASK_RUN, 0, 600) == (False, LOST_CLOCK)
    assert ask(bench, ASK_RUN_ANYWAY, 0, 600) == (False, QUIET)
    free = booted(quiet_plan(), None)
    free.run_until(MIN_S)
    assert ask(free, ASK_RUN_ANYWAY, 0, 600) == (True, OK)


# Wet soil.


def probe_plan(**hub: Any) -> Plan:
    return utc_plan(zone={"probe": 1}, **hub)


@pytest.mark.parametrize(("ppt", "locked"), [(349, False), (350, True)])
def test_wet_soil_holds_its_zone_back(ppt: int, locked: bool) -> None:
    bench = booted(probe_plan())
    bench.run_until(FIRST_S - 1)
    bench.seen.soil_vwc_ppt = [ppt]
    bench.run_until(NOON_S - 1)
    assert edges(bench, WET_SOIL, 0) == ([(1, FIRST_S)] if locked else [])
    assert runs(bench)[0][:2] == ((SKIPPED, WET_SOIL) if locked else (CLOSED, DONE))


def test_soil_must_dry_below_a_lower_limit() -> None:
    bench = booted(probe_plan())
    for hour, ppt in ((1, 350), (5, 340), (8, 339), (9, 349)):
        bench.run_until(hour * HOUR_S - 1)
        bench.seen.soil_vwc_ppt = [ppt]
    bench.run_until(NOON_S - 1)
    assert edges(bench, WET_SOIL) == [(1, HOUR_S), (0, 8 * HOUR_S)]
    assert opened(bench) == [8 * HOUR_S]  # it waited, and started when the soil was dry enough


def test_wet_soil_never_ends_a_run() -> None:
    bench = booted(probe_plan(starts_min=(360, 390)))
    bench.run_until(FIRST_S + 30)
    bench.seen.soil_vwc_ppt = [400]  # the hose lies beside the probe
    bench.run_until(DAY_S + FIRST_S)
    assert runs(bench)[0] == (CLOSED, DONE, FIRST_S + 600)
    assert runs(bench)[1][:2] == (SKIPPED, WET_SOIL)
    assert edges(bench, WET_SOIL)[0][1] > FIRST_S + 600
    assert edges(bench, PROBE) == []  # watered soil may well jump


# A new plan.


def test_a_new_plan_is_a_new_start_for_every_sensor() -> None:
    zones = [{"tag": 7, "probe": 1}, {"tag": 8}]
    rows = [row(1, 1, 0)]
    bench = Bench(utc_plan(zones, rows=rows, battery=1), START_S)
    bench.seen.soil_vwc_ppt = [360, None]
    bench.seen.temp_mc = 1000
    bench.seen.battery_mv = 6000
    bench.seen.rain_um = 9000
    bench.boot()
    bench.run_until(0)
    ask(bench, ASK_HOLD, value=START_S + DAY_S)
    moved: list[dict[str, int]] = [{"tag": 8}, {"tag": 7, "probe": 1}, {"tag": 9, "probe": 1}]
    bench.seen.soil_vwc_ppt = [None, 360, 320]
    swap(bench, utc_plan(moved, rows=rows, battery=1, run_s=700))
    bench.run_until(2 * HOUR_S)
    hub = bench.runner.hub
    boots = [event[2] for event in hub.faults.log.events() if event[0] == BOOT]
    assert boots == [POWER, PLAN]
    for why in (FROST, LOW_BATTERY, HOLD, CLOSED_SEASON):
        assert [on for on, _ in edges(bench, why)] == [1, 1], why  # told by each hub
    assert hub.lockouts.locked[WET_SOIL] == 0b010
    assert hub.record.rain_today_um == 9000


def test_a_new_plan_without_a_sensor_holds_nothing_back_for_it() -> None:
    zones = [{"probe": 1}]
    bench = Bench(utc_plan(zones, battery=1), START_S)
    bench.seen.soil_vwc_ppt = [360]
    bench.seen.temp_mc = 1000
    bench.seen.battery_mv = 6000
    bench.boot()
    bench.run_until(0)
    swap(bench, utc_plan(frost=0))
    for why in (WET_SOIL, FROST, LOW_BATTERY):
        assert [on for on, _ in edges(bench, why)] == [1]
    bench.run_until(NOON_S)
    assert opened(bench) == [FIRST_S, NOON_S]


def test_a_wet_contact_locks_the_new_zones_of_a_new_plan() -> None:
    bench = Bench(contact_plan(1), START_S)
    bench.seen.rain_wet = True
    bench.boot()
    bench.run_until(0)
    bench.seen.soil_vwc_ppt = [None] * 2
    swap(bench, contact_plan(2, poll_s=600))
    assert bench.runner.hub.lockouts.locked[RAIN] & 0b11 == 0b11
    bench.seen.rain_wet = False
    bench.run_until(DAY_S)
    assert [on for on, _ in edges(bench, RAIN)] == [1, 1, 0]
    assert len(opened(bench, 1)) == 2


def test_a_new_plan_with_a_gauge_does_not_book_the_rain_since_boot() -> None:
    bench = booted(utc_plan(rain_kind=NO_RAIN_SENSOR, frost=0))
    bench.seen.rain_um = 30000
    bench.seen.temp_mc = None
    bench.run_until(DAY_S)
    swap(bench, utc_plan(rain_kind=GAUGE))
    bench.run_until(DAY_S + HOUR_S)
    assert rain_um(bench) == 0
    assert edges(bench, STALE) == []  # a thermometer that is new has missed nothing
    bench.seen.rain_um = 39000
    bench.run_until(DAY_S + 3 * HOUR_S)
    assert rain_um(bench) == 9000


@pytest.mark.parametrize("change", [lambda seen: None, lambda seen: seen.__init__(1, 1)])
def test_blind_sensors_stop_no_zone_that_is_safe(change: Callable[[object], None]) -> None:
    bench = booted(probe_plan())
    change(bench.seen)
    bench.run_until(NOON_S)
    assert opened(bench) == [FIRST_S, NOON_S]
    assert POWER not in [why for _, why, _ in runs(bench)]


# Power that fails while something still feeds the board.


@pytest.mark.parametrize("battery", [0, 1])
def test_power_that_fails_shuts_at_once_and_is_written_down(battery: int) -> None:
    bench = Bench(utc_plan(2, battery=battery), START_S)  # another zone waits
    bench.seen.battery_mv = 8000
    bench.boot()
    bench.run_until(FIRST_S + 2 * MIN_S)
    assert 0 in bench.open_since
    bench.now_s += 7  # no reading is due
    bench.seen.power_fails = True
    bench.runner.turn()
    assert not bench.open_since
    assert bench.told(CUT_SHORT, LOW_BATTERY)[-1][3:5] == (2 * MIN_S + 7, 0)
    record = unpack_record(newest((bench.read(RECORD, 0), bench.read(RECORD, 1))))
    assert record is not None
    assert (record.opening, record.used_s[0]) == (0, 2 * MIN_S + 7)


@pytest.mark.parametrize("battery_mv", [8000, 6000, None])
def test_nothing_opens_until_power_is_back(battery_mv: int | None) -> None:
    bench = Bench(utc_plan(2, battery=1), START_S)
    bench.seen.battery_mv = 8000
    bench.boot()
    bench.run_until(FIRST_S + 2 * MIN_S)
    bench.seen.power_fails = True
    bench.run_until(FIRST_S + 12 * MIN_S, every_s=MIN_S)
    assert not bench.open_since
    bench.seen.power_fails = False
    bench.seen.battery_mv = battery_mv
    bench.run_until(FIRST_S + 14 * MIN_S, every_s=MIN_S)
    # The zone that waited goes on, unless the battery is low.
    assert list(bench.open_since) == ([] if battery_mv == 6000 else [1])


def test_power_that_fails_at_boot_opens_nothing() -> None:
    bench = Bench(utc_plan(supplies=[{"gap_s": 0}]), START_S + FIRST_S - MIN_S)
    bench.seen.power_fails = True
    bench.boot()
    bench.run_until(20 * MIN_S)
    assert [what for what, _, _ in bench.calls].count("open") == 0
    bench.seen.power_fails = False
    bench.run_until(21 * MIN_S, every_s=MIN_S)
    assert list(bench.open_since) == [0]
