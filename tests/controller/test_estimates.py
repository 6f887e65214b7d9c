"""What zones lack, as a hub keeps account of it and waters by it, one case at a time."""

from typing import Any

import pytest

from evenclay.controller import estimate
from evenclay.controller.events import (
    AFTER_CYCLE,
    AFTER_RAIN,
    CHECK,
    CLOSED,
    CORRECTED,
    ENOUGH,
    LACKS,
    LOST_CLOCK,
    NO_ESTIMATE,
    OK,
    OPENED,
    SAMPLE,
    SKIPPED,
    TOO_SHORT,
    UNKNOWN,
)
from evenclay.controller.journal import Record
from evenclay.controller.plan import NO_RAIN_SENSOR, Plan
from evenclay.controller.ports import (
    ASK_CHECK,
    ASK_HOLD,
    ASK_RAIN,
    ASK_RUN,
    ASK_SAMPLE,
    ASK_STOP,
    DRY,
    FIRM,
    WET,
)
from tests.bench import DAY_S, HOUR_S, START_S, ask, booted, spans, utc_plan
from tests.core import Bench, row
from tests.status import status

FIRST_S = 6 * HOUR_S
NOON_S = 12 * HOUR_S
TARGET_UM, DOSE_UM, RATE_UM_H = 36000, 3000, 9000
# A strip without a top, in ground that passes nothing on: its account is plain sums.
PLAIN = {"top_um": 0, "top_ppt": 0, "beside_ppm": 0, "freely_um": 900000, "end_um": 900001}


def knowing(zones: int | list[dict[str, int]] = 1, **changes: Any) -> Plan:
    """The usual plan with an estimate, and plain ground."""
    changes["zone"] = {**PLAIN, **changes.pop("zone", {})}
    return utc_plan(zones, estimate=1, **changes)


def lacking(bench: Bench, *lacks_um: int) -> Record:
    """Have the zones lack so much; none of them comes up after an opening."""
    record: Record = bench.runner.hub.record
    record.lack_um[:] = list(lacks_um)
    record.filling = 0
    return record


def runs_s(bench: Bench, zone: int = 0) -> list[int]:
    return [closed_s - opened_s for opened_s, closed_s in spans(bench, zone)]


# How long a run is.


@pytest.mark.parametrize(
    ("lack_um", "run_s"),
    [
        (TARGET_UM - 1, 0),
        (TARGET_UM + DOSE_UM - 1, 0),
        (TARGET_UM + DOSE_UM, 1200),  # 3 mm at 9 mm an hour
        (TARGET_UM + 5001, 2000),
        (TARGET_UM + 6000, 2400),
        (TARGET_UM + 90000, 2400),  # never more than the row's minutes
    ],
)
def test_a_run_gives_what_is_lacking_up_to_the_row(lack_um: int, run_s: int) -> None:
    bench = booted(knowing(run_s=2400, starts_min=(360,)))
    lacking(bench, lack_um)
    bench.run_until(FIRST_S + HOUR_S)
    assert runs_s(bench) == ([run_s] if run_s else [])
    assert len(bench.told(SKIPPED, ENOUGH)) == (not run_s)


def test_water_of_today_counts_at_the_next_cycle() -> None:
    bench = booted(knowing(run_s=1200))
    lacking(bench, TARGET_UM + 6000)
    bench.run_until(DAY_S - 1)
    assert runs_s(bench) == [1200, 1200]
    lacking(bench, TARGET_UM + 6000 - 1)  # less than two doses
    bench.runner.hub.record.used_s[:] = [0]
    bench.run_until(2 * DAY_S - 1)
    assert runs_s(bench) == [1200, 1200, 1200]


def test_rain_of_today_counts_at_the_next_cycle() -> None:
    bench = booted(knowing([{"exposure_pct": 100}, {"exposure_pct": 50}], run_s=1200))
    lacking(bench, TARGET_UM + 6000, TARGET_UM + 6000)
    bench.seen.rain_um = 4000
    bench.run_until(NOON_S - 1)
    assert runs_s(bench) == [] and runs_s(bench, 1) == [1200]


def test_a_zone_that_has_enough_does_not_go_first_next_time() -> None:
    bench = booted(knowing(2))
    lacking(bench, TARGET_UM, TARGET_UM + 20000)
    bench.run_until(NOON_S - 1)
    record = lacking(bench, TARGET_UM + 20000, TARGET_UM + 20000)
    assert record.first == 0


def test_a_row_too_short_for_a_run_says_so() -> None:
    bench = booted(knowing(run_s=59))
    lacking(bench, TARGET_UM + 20000)
    bench.run_until(NOON_S - 1)
    assert bench.told(SKIPPED, TOO_SHORT) and not bench.told(SKIPPED, ENOUGH)


def test_without_an_estimate_each_run_is_the_row() -> None:
    bench = booted(utc_plan(zone={"share_pct": 150}))
    bench.run_until(3 * DAY_S - 1)
    assert runs_s(bench) == [900] * 6
    assert not bench.told(LACKS)
    assert bench.runner.hub.record.lack_um == [0]


def litres(meter: int, flow_ml_min: int = 3000) -> Bench:
    rows = [row(1, 1, starts_min=(360,), run_s=3000, run_ml=120000)]
    bench = Bench(
        knowing(
            rows=rows, supplies=[{"meter": meter}], watch_s=10, zone={"flow_ml_min": flow_ml_min}
        ),
        START_S,
    )
    bench.seen.meter_ml = [0]
    bench.boot()
    bench.run_until(0)
    return bench


@pytest.mark.parametrize(("lack_um", "run_s"), [(3000, 1200), (6000, 2400), (60000, 2400)])
def test_litres_are_bounded_by_what_is_lacking(lack_um: int, run_s: int) -> None:
    """120 litres at 3 litres a minute are 40 minutes."""
    bench = litres(0)
    lacking(bench, TARGET_UM + lack_um)
    bench.run_until(NOON_S)
    assert runs_s(bench) == [run_s]


def test_a_meter_ends_a_run_at_the_litres_that_are_lacking() -> None:
    bench = litres(1)
    lacking(bench, TARGET_UM + 3000)
    bench.run_until(FIRST_S)
    assert bench.told(OPENED)[0][3] == 1200 * 5 // 4 + 30
    while bench.open_since:
        bench.now_s += 10
        bench.seen.meter_ml[0] = (bench.seen.meter_ml[0] or 0) + 500
        bench.runner.turn()
    assert bench.told(CLOSED)[0][4] == 60000


def test_litres_of_an_unknown_flow_are_bounded_by_time() -> None:
    bench = litres(0, 0)
    lacking(bench, TARGET_UM + 3000)
    bench.run_until(NOON_S)
    assert runs_s(bench) == [1200]


# After an opening.


def test_a_zone_that_begins_at_its_level_comes_up_slowly() -> None:
    """8 mm a day, until less than a dose is wanted; then a day is bounded by the rows again."""
    bench = booted(
        knowing(run_s=3600, rows=None, starts_min=(360, 720), zone={"begin_um": TARGET_UM + 18000})
    )
    record = bench.runner.hub.record
    filling = []
    for day in range(1, 5):
        bench.run_until(day * DAY_S - 1)
        filling.append(record.filling)
        bench.run_until(day * DAY_S)
    # 1 mm of rain a day goes in as well: no gauge was heard all day on the first.
    given = runs_s(bench)
    assert given[0] == 3200 and sum(given[:1]) * RATE_UM_H // 3600 == 8000
    assert filling[0] == 1 and record.filling == 0
    assert all(given_s <= 3200 for given_s in given)


def test_an_opening_fills_what_has_long_had_no_water_and_lacks_much() -> None:
    still: dict[str, Any] = {"demand_um": 0, "rain_um": 0}
    rows = [row(1, 1, 0, **still), row(7, 3, starts_min=(360,), **still)]
    bench = booted(knowing(3, rows=rows))
    record = lacking(bench, TARGET_UM + 20000, TARGET_UM + DOSE_UM, TARGET_UM + 20000)
    record.valve_wall_s[:] = [START_S - 6 * DAY_S, 0, START_S - 4 * DAY_S]
    bench.run_until(2 * DAY_S)
    assert record.filling == 0b001


@pytest.mark.parametrize(("days", "fills"), [(2, 0), (9, 1)])
def test_a_long_hold_is_an_opening(days: int, fills: int) -> None:
    bench = booted(knowing(starts_min=(360,)))
    lacking(bench, TARGET_UM + 60000)
    bench.run_until(NOON_S)
    assert runs_s(bench) == [600]
    ask(bench, ASK_HOLD, -1, START_S + days * DAY_S)
    bench.run_until(days * DAY_S - 1)
    assert bench.runner.hub.record.filling == 0
    bench.run_until(days * DAY_S)
    assert bench.runner.hub.record.filling == fills


def test_a_run_by_hand_is_bounded_while_a_zone_comes_up() -> None:
    bench = booted(knowing())
    bench.run_until(HOUR_S)
    assert ask(bench, ASK_RUN, 0, 3600) == (True, OK)
    bench.run_until(3 * HOUR_S)
    assert runs_s(bench) == [3200]


# A day.


def test_a_day_s_account_is_what_it_says() -> None:
    """Demand by the thermometer, rain by the gauge, minutes by the valve; and the sum of it."""
    zone = {"demand_ppt": 800, "exposure_pct": 50, **PLAIN, "beside_ppm": 10000, "hold_um": 60000}
    bench = booted(utc_plan(zone=zone, estimate=1, run_s=1200, starts_min=(360,)))
    bench.run_until(DAY_S)
    record = lacking(bench, TARGET_UM + 20000)
    record.factor_ppt[:] = [1100]
    record.yard_lack_um = 90000
    bench.seen.temp_mc = 12000
    bench.run_until(DAY_S + 5 * HOUR_S)
    bench.seen.temp_mc = 31900
    bench.seen.rain_um = 5000
    bench.run_until(2 * DAY_S - 1)
    bench.seen.temp_mc = 15000
    bench.run_until(2 * DAY_S)
    hub = bench.runner.hub
    day = START_S // DAY_S + 1
    demand = estimate.demand_um(12000, 31900, estimate.sun_of(day, hub.plan.hub.sun_um))
    assert 4000 < demand < 8000
    need_um = demand * 800 // 1000 * 1100 // 1000
    exchanged_um = (90000 - 56000) // 100
    assert hub.estimates.accounts == [[need_um, 2500, 3000, exchanged_um, 0]]
    lack_um = 56000 + need_um - 2500 - 3000 + exchanged_um
    assert record.lack_um == [lack_um]
    assert [e[1:5] for e in bench.told(LACKS)][-1] == (0, OK, lack_um, 5500)
    shown: Any = status(bench.runner, bench.now_s)["zones"]
    assert shown[0]["lacks_um"] == lack_um
    assert shown[0]["last_day_um"] == {
        "demand": need_um,
        "rain": 2500,
        "given": 3000,
        "exchanged": exchanged_um,
        "corrected": 0,
    }


ROW = [row(1, 1, 0, demand_um=5000, rain_um=1000)]  # 60 % of 5 mm, and all of the rain


def test_without_thermometer_and_gauge_a_day_is_the_row_s() -> None:
    bench = booted(knowing(rows=ROW, frost=0, rain_kind=NO_RAIN_SENSOR))
    bench.run_until(DAY_S)
    record = lacking(bench, 20000)
    bench.seen.rain_um = 50000
    bench.run_until(2 * DAY_S)
    assert record.lack_um == [20000 + 3000 - 1000]


def test_a_thermometer_or_gauge_that_was_silent_costs_its_day_and_no_more() -> None:
    bench = booted(knowing(rows=ROW))
    bench.run_until(DAY_S)
    record = lacking(bench, 20000)
    for hour, rain_um, temp_mc in ((1, 0, 10000), (2, 7000, None), (8, None, 30000), (20, 7000, 9)):
        bench.run_until(DAY_S + hour * HOUR_S)
        bench.seen.rain_um, bench.seen.temp_mc = rain_um, temp_mc
    bench.run_until(2 * DAY_S)
    assert record.lack_um == [20000 + 3000 - 1000]
    bench.seen.temp_mc = 10000
    bench.run_until(2 * DAY_S + HOUR_S)
    bench.seen.temp_mc = 30000
    bench.run_until(3 * DAY_S)
    sun_um = estimate.sun_of(START_S // DAY_S + 2, bench.runner.hub.plan.hub.sun_um)
    need_um = estimate.demand_um(10000, 30000, sun_um) * 600 // 1000
    assert record.lack_um == [22000 + need_um]


def test_a_day_that_passed_without_power_is_its_row_s() -> None:
    bench = booted(knowing(rows=[*ROW, row(7, 3, 0, demand_um=10000, rain_um=0)]))
    lacking(bench, 20000)
    ask(bench, ASK_STOP)
    bench.runner.hub.record.dirty = True
    ask(bench, ASK_STOP)
    bench.now_s += 4 * DAY_S
    bench.boot()
    bench.events.clear()
    bench.run_until(1)
    record = bench.runner.hub.record
    assert record.lack_um == [20000 + 2 * (3000 - 1000) + 2 * 6000]
    assert len(bench.told(LACKS)) == 1


def test_no_more_than_sixty_days_are_made_up() -> None:
    bench = booted(knowing(rows=[row(1, 1, 0, demand_um=1000, rain_um=0)], zone={"begin_um": 0}))
    bench.run_until(HOUR_S)
    bench.now_s += 500 * DAY_S
    bench.boot()
    bench.run_until(1)
    assert bench.runner.hub.record.lack_um == [60 * 600]


# What an owner finds.


def at_dawn(**changes: Any) -> Bench:
    bench = booted(knowing(**changes))
    bench.run_until(HOUR_S)
    return bench


@pytest.mark.parametrize(
    ("readings", "top_um", "after_um"),
    [
        ((DRY,), 9000, 20000),
        ((DRY, FIRM), 9999, 20000),
        ((DRY,), 10000, 10000),  # it was thought half dry already
        ((DRY, WET), 9000, 0),
        ((WET,), 20000, 0),
        ((FIRM,), 9000, 9000),
    ],
)
def test_a_blade_speaks_of_the_top_alone(
    readings: tuple[int, ...], top_um: int, after_um: int
) -> None:
    bench = at_dawn(zone={"top_um": 20000})
    record = lacking(bench, 50000)
    record.top_um[:] = [top_um]
    record.dirty = False
    assert ask(bench, ASK_CHECK, 0, readings) == (True, OK)
    assert record.top_um == [after_um]
    assert (record.lack_um, record.factor_ppt) == ([50000], [1000])
    told = [e[1:4] for e in bench.told(CORRECTED)]
    assert told == ([(0, CHECK, after_um - top_um)] if after_um != top_um else [])


# A sample's borders lie at 150, 90, 60 and 30 mm, and a pF is 60 mm.


@pytest.mark.parametrize(
    ("classes", "middle_um"),
    [
        (0, 180000),  # as wide as its neighbour
        (1, 120000),
        ((2,), 75000),
        ((1, 3, 0), 45000),  # the wettest of the spots
        (4, 15000),
    ],
)
def test_a_sample_beyond_its_lasting_error_moves_the_estimate_part_of_the_way(
    classes: object, middle_um: int
) -> None:
    """By 70 % of the way; a 255th of a departure is learnt as lasting, and 0.2 pF counts whole."""
    bench = learnt(at_dawn(), 0)
    record = lacking(bench, 60000)
    apart_mpf = (middle_um - 60000) // 60
    beyond_mpf = apart_mpf - round(apart_mpf / 255)
    moved_um = beyond_mpf * 60 * 70 // 100
    assert ask(bench, ASK_SAMPLE, 0, classes) == (True, OK)
    assert record.lack_um == [60000 + moved_um]
    assert bench.runner.hub.estimates.accounts[0][4] == moved_um
    assert record.factor_ppt == [1005 if beyond_mpf > 0 else 995]
    assert [e[1:4] for e in bench.told(CORRECTED)] == [(0, SAMPLE, moved_um)]


def test_the_first_samples_tell_of_the_lasting_error_alone() -> None:
    bench = at_dawn()
    record = lacking(bench, 60000)
    assert ask(bench, ASK_SAMPLE, 0, 1) == (True, OK)  # 120 mm
    assert (record.lack_um, record.factor_ppt) == ([60000], [1000])
    assert (record.heard, record.offset_mpf) == ([1], [1000])
    assert not bench.told(CORRECTED)


def test_a_zone_with_a_probe_of_its_own_goes_by_that_alone() -> None:
    bench = learnt(at_dawn(zone={"probe": 1, "sensor": 1}), 0)
    record = lacking(bench, 60000)
    assert ask(bench, ASK_SAMPLE, 0, 1) == (True, OK)
    assert (record.lack_um, record.factor_ppt, record.heard) == ([60000], [1000], [8])


def test_samples_speak_for_a_probe_that_is_not_believed() -> None:
    """Their lasting error is another than the probe's, which is kept for when it is mended."""
    bench = learnt(at_dawn(zone={"probe": 1, "sensor": 1}), 300)
    bench.seen.soil_vwc_ppt = [0]  # an open wire
    bench.run_until(2 * HOUR_S)
    assert not bench.runner.hub.lockouts.probes[0].trusted
    record = lacking(bench, 60000)
    for _ in range(8):
        assert ask(bench, ASK_SAMPLE, 0, 1) == (True, OK)  # 120 mm
    assert (record.lack_um, record.factor_ppt) == ([60000], [1000])
    assert ask(bench, ASK_SAMPLE, 0, 0) == (True, OK)  # 180 mm, so 1 pF drier than before
    (_, _, moved_um), *_ = [e[1:4] for e in bench.told(CORRECTED)]
    assert record.lack_um == [60000 + moved_um] and 40000 < moved_um < 44000
    assert (record.heard, record.offset_mpf) == ([8], [300])


@pytest.mark.parametrize("value", [5, -1, (), (1, 5), None, [1], (1.0,), True, (True,)])
def test_what_is_no_class_is_refused(value: object) -> None:
    bench = at_dawn()
    assert ask(bench, ASK_SAMPLE, 0, value) == (False, UNKNOWN)
    assert not bench.told(CORRECTED)


def test_a_sample_obeys_the_rules_of_a_check() -> None:
    bench = at_dawn()
    assert ask(bench, ASK_SAMPLE, -1, 2) == (False, UNKNOWN)
    bench.run_until(FIRST_S + HOUR_S)
    assert ask(bench, ASK_SAMPLE, 0, 2) == (False, AFTER_CYCLE)


def test_without_a_clock_nobody_knows_whether_it_is_before_the_first_cycle() -> None:
    bench = at_dawn()
    bench.offset_s = None
    bench.run_until(2 * HOUR_S)
    assert ask(bench, ASK_SAMPLE, 0, 2) == (False, LOST_CLOCK)


def test_without_an_estimate_nothing_is_to_be_corrected() -> None:
    bench = booted(utc_plan())
    for what, value in ((ASK_CHECK, (DRY,)), (ASK_SAMPLE, 2)):
        assert ask(bench, what, 0, value) == (False, NO_ESTIMATE)


# What a sensor says. It shows 380 ppt at pF 2 and 60 ppt less a pF, over 60 mm a pF.


MONDAY = 6  # days after the boot


def heard(ppt: int, lack_um: int, zones: int = 1, **changes: Any) -> Bench:
    """A hub that has heard its first zone's probe once, on a Monday; nothing else happens.

    1 July 2025, where it boots, was a Tuesday.
    """
    each: list[dict[str, int]] = [{"probe": 1, "sensor": 1}] + [{"sensor": 1}] * (zones - 1)
    still = [row(1, 1, 0, demand_um=0, rain_um=0)]
    hub = {"frost": 0, "rain_kind": NO_RAIN_SENSOR, "poll_s": 3600, **changes}
    bench = booted(knowing(each, rows=still, **hub))
    bench.seen.soil_vwc_ppt = [ppt] + [None] * (zones - 1)
    bench.run_until(MONDAY * DAY_S - 1)
    lacking(bench, *[lack_um] * zones)
    bench.run_until(MONDAY * DAY_S)
    return bench


def learnt(bench: Bench, offset_mpf: int = 500) -> Bench:
    """The first zone was heard for eight weeks, and then it was watered."""
    bench.runner.hub.record.heard[0] = 8
    bench.runner.hub.record.offset_mpf[0] = offset_mpf
    bench.runner.hub.record.valve_wall_s[0] = 1
    return bench


def test_a_sensor_s_first_word_teaches_its_own_error_and_moves_nothing() -> None:
    bench = heard(320, 30000)  # pF 3 beside pF 2.5
    record = bench.runner.hub.record
    assert (record.offset_mpf, record.heard, record.lack_um) == ([500], [1], [30000])


def test_a_departure_moves_its_zone_and_by_half_those_it_speaks_for() -> None:
    bench = learnt(heard(320, 30000, 3))
    record = bench.runner.hub.record
    bench.seen.soil_vwc_ppt[0] = 308  # 0.2 pF drier
    bench.run_until((MONDAY + 7) * DAY_S)
    # Of a departure of 0.2 pF a 255th, rounded, was learnt.
    own_um, others_um = 199 * 60 * 20 // 100, 199 // 2 * 60 * 20 // 100
    assert record.lack_um == [30000 + own_um, 30000 + others_um, 30000 + others_um]
    assert record.factor_ppt == [1005, 1002, 1002]  # a whole one, rounded, and half of one
    assert (record.heard, record.offset_mpf[0]) == ([9, 0, 0], 501)
    accounts = bench.runner.hub.estimates.accounts
    assert [account[4] for account in accounts] == [own_um, others_um, others_um]


def test_a_far_departure_teaches_no_more_than_a_whole_one() -> None:
    """`whole_mpf` is 0.2 pF, and a whole one teaches 5 in a thousand."""
    bench = learnt(heard(320, 30000))
    bench.seen.soil_vwc_ppt[0] = 260  # 1 pF drier
    bench.run_until((MONDAY + 7) * DAY_S)
    assert bench.runner.hub.record.factor_ppt == [1005]


@pytest.mark.parametrize("watered", [False, True])
def test_what_lasts_is_learnt_until_water_comes(watered: bool) -> None:
    """The mean of all; water ends that, and then a 255th a week is learnt."""
    bench = heard(320, 30000, sensor_gain_pct=0)
    record = bench.runner.hub.record
    found = []
    for week in range(1, 12):
        bench.seen.soil_vwc_ppt[0] = 320 - 6 * week  # a tenth of a pF drier each week
        if watered and week == 9:
            record.valve_wall_s[0] = 1
        bench.run_until((MONDAY + 7 * week) * DAY_S)
        found.append(record.offset_mpf[0])
    means = [550 + 50 * week for week in range(11)]
    assert found == (means if not watered else [*means[:8], 902, 904, 907])
    assert record.heard == [12]


def test_what_reads_much_wetter_than_thought_is_believed() -> None:
    """Of a lasting 0.5 pF on the wet side a quarter of a pF is the sensor's, and the rest is so."""
    bench = learnt(heard(320, 30000), -500)
    record = bench.runner.hub.record
    bench.seen.soil_vwc_ppt[0] = 380  # pF 2.0 beside pF 2.5
    bench.run_until((MONDAY + 7) * DAY_S)
    assert record.lack_um == [30000 - 250 * 60 * 20 // 100]


@pytest.mark.parametrize("ppt", [None, 10, 900])
def test_a_sensor_that_is_not_trusted_says_nothing(ppt: int | None) -> None:
    bench = heard(320, 30000)
    record = bench.runner.hub.record
    bench.run_until(MONDAY * DAY_S + HOUR_S)
    bench.seen.soil_vwc_ppt[0] = ppt
    bench.run_until((MONDAY + 7) * DAY_S)
    assert record.lack_um == [30000]
    assert (record.offset_mpf, record.heard) == ([500], [1])


def test_an_error_beyond_reason_is_held_within_bounds() -> None:
    bench = heard(320, 0, zone={"per_pf_ppt": 1})
    assert bench.runner.hub.record.offset_mpf == [3000]
    bench = heard(460, 600000, zone={"per_pf_ppt": 1})
    assert bench.runner.hub.record.offset_mpf == [-3000]


# What the owner's own gauge caught.


@pytest.mark.parametrize("gauge", [0, 1], ids=["without a gauge", "beside a gauge"])
def test_rain_that_the_owner_tells_counts_instead_of_the_seasons(gauge: int) -> None:
    bench = booted(knowing(rain_kind=gauge))
    record = lacking(bench, 60000)
    assert ask(bench, ASK_RAIN, -1, 12000) == (True, OK)
    assert bench.runner.hub.estimates.want_um(0) == 60000 - TARGET_UM - 12000
    assert ask(bench, ASK_RAIN, -1, 9000) == (True, OK)  # the whole of today, told anew
    bench.run_until(DAY_S)
    assert bench.runner.hub.estimates.accounts[0][1] == 9000
    assert record.rain_today_um == 0 and record.gaps == 0
    bench.run_until(2 * DAY_S)  # the day after is the season's again, or the gauge's
    assert bench.runner.hub.estimates.accounts[0][1] == (0 if gauge else 1000)


def test_rain_is_told_within_reason_and_where_it_counts() -> None:
    bench = booted(knowing())
    for um in (-1, 300000, "12 mm"):
        assert ask(bench, ASK_RAIN, -1, um) == (False, UNKNOWN)
    assert ask(bench, ASK_RAIN, -1, 0) == (True, OK)
    assert ask(bench, ASK_CHECK, 0, (DRY,)) == (True, OK)
    assert ask(bench, ASK_RAIN, -1, 5000) == (True, OK)
    assert ask(bench, ASK_CHECK, 0, (DRY,)) == (False, AFTER_RAIN)
    plain = booted(utc_plan())
    assert ask(plain, ASK_RAIN, -1, 5000) == (False, NO_ESTIMATE)
