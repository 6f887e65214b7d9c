"""What an owner may ask: each command taken or refused with its reason, and none of it a crash."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenclay.controller.events import (
    ACCEPTED,
    BAD_PLAN,
    BROKEN,
    BUSY,
    CAP,
    CLOSED,
    CLOSED_SEASON,
    CUT_SHORT,
    DONE,
    DRIVER,
    FAULT,
    FROST,
    GAP,
    HOLD,
    LOST_CLOCK,
    LOW_BATTERY,
    MANUAL,
    OK,
    OPENED,
    OWNER,
    PLANNED,
    QUIET,
    RAIN,
    REFUSED,
    SKIPPED,
    TOO_MANY,
    TOO_SHORT,
    UNKNOWN,
    WET_SOIL,
)
from evenclay.controller.events import PLAN as NEW_PLAN
from evenclay.controller.faults import BURST_FAULT, LEAK_FAULT
from evenclay.controller.limits import ASKED_MAX, WALL_MAX
from evenclay.controller.plan import BAN_HOURS, CONTACT
from evenclay.controller.ports import (
    ASK_CHECK,
    ASK_CLEAR,
    ASK_CLOCK,
    ASK_HOLD,
    ASK_PLAN,
    ASK_RUN,
    ASK_RUN_ANYWAY,
    ASK_STOP,
    ASK_TEST,
    DRY,
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
from tests.core import Bench, row

FIRST_S = 6 * HOUR_S
NOON_S = 12 * HOUR_S


def idle(**changes: Any) -> Bench:
    """A bench an hour after boot, with nothing open and no gap left."""
    bench = booted(utc_plan(**changes))
    bench.run_until(HOUR_S)
    return bench


# Runs by hand.


def test_a_run_by_hand_opens_at_once_and_counts_toward_the_cap() -> None:
    bench = idle(starts_min=(1380,))
    assert ask(bench, ASK_RUN, 0, 900) == (True, OK)
    assert [e[1:4] for e in bench.told(OPENED)] == [(0, MANUAL, 900)]
    bench.run_until(2 * HOUR_S)
    assert spans(bench) == [(HOUR_S, HOUR_S + 900)]
    assert bench.runner.hub.record.used_s == [900]


@pytest.mark.parametrize(
    ("asked_s", "used_s", "planned_s"),
    [(3600, 0, 3600), (3601, 0, 3600), (1 << 70, 0, 3600), (3600, 6000, 1200), (60, 7140, 60)],
)
def test_a_run_by_hand_is_no_longer_than_the_longest_nor_past_the_cap(
    asked_s: int, used_s: int, planned_s: int
) -> None:
    bench = idle()
    bench.runner.hub.record.used_s[0] = used_s
    assert ask(bench, ASK_RUN, 0, asked_s) == (True, OK)
    assert [e[3] for e in bench.told(OPENED)] == [planned_s]


def test_a_run_too_short_or_past_the_cap_is_refused() -> None:
    bench = idle()
    assert ask(bench, ASK_RUN, 0, 59) == (False, TOO_SHORT)
    bench.runner.hub.record.used_s[0] = 7141
    assert ask(bench, ASK_RUN, 0, 3600) == (False, CAP)
    assert ask(bench, ASK_RUN_ANYWAY, 0, 59) == (False, CAP)
    assert spans(bench) == []


def raining(bench: Bench) -> None:
    bench.seen.rain_wet = True


def soaked(bench: Bench) -> None:
    bench.seen.soil_vwc_ppt = [360]


def freezing(bench: Bench) -> None:
    bench.seen.temp_mc = 1000


def drained(bench: Bench) -> None:
    bench.seen.battery_mv = 6900


def clockless(bench: Bench) -> None:
    bench.offset_s = None


def held(bench: Bench) -> None:
    ask(bench, ASK_HOLD, value=START_S + DAY_S)


def leaking(bench: Bench) -> None:
    bench.runner.hub.record.faults = LEAK_FAULT


def burst(bench: Bench) -> None:
    bench.runner.hub.record.zone_faults[0] = BURST_FAULT


def nothing(bench: Bench) -> None:
    pass


@pytest.mark.parametrize(
    ("befalls", "changes", "why", "may_override"),
    [
        (raining, {"rain_kind": CONTACT}, RAIN, True),
        (soaked, {"zone": {"probe": 1}}, WET_SOIL, True),
        (held, {}, HOLD, True),
        (nothing, {"rows": [row(1, 1, 0)]}, CLOSED_SEASON, True),
        (clockless, {}, LOST_CLOCK, True),
        (freezing, {}, FROST, False),
        (drained, {"battery": 1}, LOW_BATTERY, False),
        (nothing, {"bans": ((BAN_HOURS, 62, 63),)}, QUIET, False),
        (leaking, {}, FAULT, False),
        (burst, {}, FAULT, False),
    ],
)
def test_what_a_run_by_hand_may_override(
    befalls: Any, changes: dict[str, Any], why: int, may_override: bool
) -> None:
    bench = idle(**changes)
    befalls(bench)
    bench.run_until(HOUR_S + MIN_S)
    assert ask(bench, ASK_RUN, 0, 600) == (False, why)
    expected = (True, OK) if may_override else (False, why)
    assert ask(bench, ASK_RUN_ANYWAY, 0, 600) == expected
    assert len(spans(bench)) == may_override
    bench.run_until(2 * HOUR_S)
    if may_override:  # what was overridden does not end it later either
        assert bench.told(CLOSED)[0][2:4] == (DONE, 600)


def test_frost_ends_even_a_run_that_overrides() -> None:
    bench = idle()
    ask(bench, ASK_RUN_ANYWAY, 0, 600)
    freezing(bench)
    bench.run_until(2 * HOUR_S)
    assert runs(bench) == [(CUT_SHORT, FROST, HOUR_S + MIN_S)]


def test_a_run_by_hand_obeys_the_guard() -> None:
    bench = idle(zones=2)
    assert ask(bench, ASK_RUN, 0, 600) == (True, OK)
    assert not ask(bench, ASK_RUN, 1, 600)[0]
    assert not ask(bench, ASK_RUN, 0, 600)[0]
    bench.run_until(HOUR_S + 600)
    assert ask(bench, ASK_RUN, 1, 600) == (False, GAP)
    bench.run_until(HOUR_S + 630)
    assert ask(bench, ASK_RUN, 1, 600) == (True, OK)


# Stop, hold, clear.


def test_stop_shuts_what_is_open_and_drops_what_waits() -> None:
    bench = booted(utc_plan(3))
    bench.run_until(FIRST_S + 100)
    assert ask(bench, ASK_STOP) == (True, OK)
    bench.run_until(NOON_S - 1)
    assert runs(bench, 0) == [(CUT_SHORT, OWNER, FIRST_S + 100)]
    assert runs(bench, 1) == runs(bench, 2) == [(SKIPPED, OWNER, FIRST_S + 100)]
    bench.run_until(NOON_S)
    assert opened(bench, 1) == [NOON_S]  # dropped, so first in the next cycle


def test_stop_ends_the_guided_test() -> None:
    bench = idle(zones=3)
    ask(bench, ASK_TEST)
    bench.run_until(HOUR_S + 30)
    ask(bench, ASK_STOP)
    bench.run_until(2 * HOUR_S)
    assert [e[1] for e in bench.told(OPENED)] == [0]


@pytest.mark.parametrize("until_s", [0, START_S, START_S + HOUR_S])
def test_a_hold_until_a_time_that_has_passed_is_none(until_s: int) -> None:
    bench = idle()
    assert ask(bench, ASK_HOLD, value=until_s) == (True, OK)
    assert edges(bench, HOLD) == []


def test_a_hold_is_bounded_by_the_calendar() -> None:
    bench = idle()
    assert ask(bench, ASK_HOLD, value=WALL_MAX) == (True, OK)
    assert ask(bench, ASK_HOLD, value=WALL_MAX + 1) == (False, UNKNOWN)
    assert ask(bench, ASK_HOLD, value=-1) == (False, UNKNOWN)
    assert edges(bench, HOLD) == [(1, HOUR_S)]


@pytest.mark.parametrize("zone", [0, -1])
def test_clearing_opens_nothing(zone: int) -> None:
    bench = booted(utc_plan(2))
    bench.broken.add((0, "open"))
    bench.run_until(NOON_S + HOUR_S)
    assert edges(bench, DRIVER) == [(1, FIRST_S)]
    assert bench.runner.hub.record.waiting & 1
    bench.broken.clear()
    assert ask(bench, ASK_CLEAR, zone) == (True, OK)
    assert [on for on, _ in edges(bench, DRIVER)] == [1, 0]
    bench.run_until(DAY_S + FIRST_S - 1)
    assert opened(bench, 0) == []
    bench.run_until(DAY_S + FIRST_S)
    assert opened(bench, 0) == [DAY_S + FIRST_S]


def test_clearing_what_is_not_there_is_no_fault() -> None:
    bench = idle()
    before = bench.writes
    assert ask(bench, ASK_CLEAR, 0) == (True, OK)
    assert ask(bench, ASK_CLEAR) == (True, OK)
    assert bench.writes == before


# The clock.


def test_the_clock_is_set_within_the_calendar() -> None:
    bench = booted(utc_plan(), None)
    assert ask(bench, ASK_CLOCK, value=START_S) == (True, OK)
    assert bench.runner.hub.clock.trusted
    assert ask(bench, ASK_CLOCK, value=0) == (False, UNKNOWN)


# The guided test.


def test_a_guided_test_needs_every_valve_shut_and_comes_once() -> None:
    bench = idle(zones=2)
    ask(bench, ASK_RUN, 0, 600)
    assert ask(bench, ASK_TEST) == (False, BUSY)
    bench.run_until(2 * HOUR_S)
    assert ask(bench, ASK_TEST) == (True, OK)
    bench.run_until(2 * HOUR_S + 61)  # between two zones
    assert ask(bench, ASK_TEST) == (False, BUSY)
    assert ask(bench, ASK_RUN, 0, 600) == (False, BUSY)
    bench.run_until(3 * HOUR_S)
    assert [e[1] for e in bench.told(OPENED)] == [0, 0, 1]


# A new plan.


def test_a_new_plan_is_taken_with_every_valve_shut() -> None:
    bench = booted(utc_plan([{"tag": 5}, {"tag": 6}], estimate=1))
    bench.run_until(FIRST_S + 100)
    record = bench.runner.hub.record
    record.lack_um[:], record.factor_ppt[:] = [100000, 56000], [1200, 800]
    new = utc_plan([{"tag": 6}, {"tag": 7}, {"tag": 5}], run_s=1000, estimate=1)
    assert ask(bench, ASK_PLAN, value=new.pack()) == (True, OK)
    bench.run_until(FIRST_S + 101)
    hub = bench.runner.hub
    assert runs(bench, 0)[0] == (CUT_SHORT, NEW_PLAN, FIRST_S + 100)
    assert runs(bench, 1)[0] == (SKIPPED, NEW_PLAN, FIRST_S + 100)
    assert hub.plan.crc == hub.record.plan_crc == new.crc
    assert hub.record.tag == [6, 7, 5]
    assert hub.record.lack_um == [56000, 60000, 100000]
    assert hub.record.factor_ppt == [800, 1000, 1200]
    assert hub.record.used_s == [0, 0, 100]
    bench.run_until(NOON_S)
    assert bench.told(OPENED)[-1][1:4] == (0, PLANNED, 1000)


@pytest.mark.parametrize("at", [0, 3, 10, 40, -1])
def test_a_spoilt_plan_changes_nothing(at: int) -> None:
    bench = booted(utc_plan())
    data = bytearray(utc_plan(2).pack())
    data[at] ^= 0x10
    crc = bench.runner.hub.plan.crc
    assert ask(bench, ASK_PLAN, value=bytes(data)) == (False, BAD_PLAN)
    assert ask(bench, ASK_PLAN, value=b"") == (False, BAD_PLAN)
    bench.run_until(FIRST_S)
    assert bench.runner.hub.plan.crc == crc and opened(bench) == [FIRST_S]


def test_a_plan_that_cannot_be_stored_is_not_taken() -> None:
    bench = idle()
    crc = bench.runner.hub.plan.crc
    bench.store_broken = True
    ask(bench, ASK_PLAN, value=utc_plan(2).pack())
    assert bench.runner.hub.plan.crc == crc
    assert bench.runner.hub.record.new_plan is None
    bench.store_broken = False
    bench.run_until(NOON_S)
    assert opened(bench)[-1] == NOON_S


def test_one_new_plan_at_a_time_and_no_run_or_test_meanwhile() -> None:
    bench = idle(zones=2)
    ask(bench, ASK_RUN, 0, 600)
    bench.events.clear()
    new = utc_plan(2, run_s=700).pack()
    bench.asked = [
        (ASK_PLAN, -1, new),
        (ASK_PLAN, -1, new),
        (ASK_RUN, 1, 600),
        (ASK_TEST, -1, 0),
    ]
    bench.runner.turn()
    answers = [(e[0], e[2]) for e in bench.events if e[0] in (ACCEPTED, REFUSED)]
    assert answers == [(ACCEPTED, OK), (REFUSED, BUSY), (REFUSED, BUSY), (REFUSED, BUSY)]


def test_a_new_plan_ends_the_guided_test() -> None:
    bench = idle(zones=3)
    ask(bench, ASK_TEST)
    bench.run_until(HOUR_S + 10)
    ask(bench, ASK_PLAN, value=utc_plan(1).pack())
    bench.run_until(NOON_S)
    assert opened(bench, 1) == opened(bench, 2) == []
    assert opened(bench, 0) == [HOUR_S, FIRST_S, NOON_S]  # the table is served again


# Nonsense.


def test_commands_past_the_bound_are_refused_unread() -> None:
    bench = idle()
    bench.asked = [(ASK_HOLD, -1, 0)] * (ASKED_MAX + 2)
    bench.runner.turn()
    assert len(bench.told(ACCEPTED)) == ASKED_MAX
    assert [e[2] for e in bench.told(REFUSED)] == [TOO_MANY] * 2


@pytest.mark.parametrize(
    "asked",
    [
        (ASK_RUN, 1, 600),
        (ASK_RUN, -2, 600),
        (ASK_RUN, -1, 600),
        (ASK_RUN, 0, 0),
        (ASK_RUN, 0, -600),
        (ASK_RUN, 0, True),
        (ASK_RUN, 0, None),
        (ASK_RUN, 0, "600"),
        (ASK_RUN, 0, 600.0),
        (ASK_RUN, None, 600),
        (ASK_RUN, "0", 600),
        (ASK_RUN, False, 600),
        (ASK_RUN, 0.0, 600),
        (ASK_CHECK, -1, (DRY,)),
        (ASK_CHECK, 0, ()),
        (ASK_CHECK, 0, DRY),
        (ASK_CHECK, 0, [DRY]),
        (ASK_CHECK, 0, (DRY, 4)),
        (ASK_CHECK, 0, (0,)),
        (ASK_CHECK, 0, (None,)),
        (ASK_CHECK, 0, (True,)),
        (ASK_CHECK, 0, (1.0,)),
        (ASK_PLAN, -1, "plan"),
        (ASK_PLAN, -1, 7),
        (ASK_HOLD, -1, None),
        (99, -1, 0),
        (-1, -1, 0),
        (None, -1, 0),
        ("stop", -1, 0),
        (1 << 40, 0, 0),
    ],
)
def test_nonsense_is_refused_and_changes_nothing(asked: Any) -> None:
    bench = idle()
    before = bench.runner.hub.record.pack()[10:-4]
    bench.asked = [asked]
    bench.runner.turn()
    assert [e[2] for e in bench.told(REFUSED)] == [UNKNOWN]
    assert bench.told(ACCEPTED) == [] and spans(bench) == []
    assert bench.runner.hub.record.pack()[10:-4] == before


ANYTHING = st.one_of(
    st.integers(-3, 300),
    st.integers(),
    st.none(),
    st.booleans(),
    st.floats(),
    st.text(max_size=3),
    st.binary(max_size=80),
    st.tuples(st.integers(-1, 4)),
    st.lists(st.integers(), max_size=2),
    st.just(utc_plan(2).pack()),
)


@given(
    st.lists(st.tuples(st.one_of(st.integers(-1, 10), ANYTHING), ANYTHING, ANYTHING), max_size=9)
)
@pytest.mark.no_cover
def test_nothing_an_owner_may_ask_is_a_crash(asked: list[Any]) -> None:
    # Through the hub, since a runner passes on what a board's decoder let through.
    hub = idle(zones=2).runner.hub
    bench = idle(zones=2)
    events: list[tuple[int, ...]] = []
    commands = hub.step(2 * HOUR_S, START_S + 2 * HOUR_S, bench.seen, asked)
    events += [command[1] for command in commands if command[0] == 3]
    answers = [e for e in events if e[0] in (ACCEPTED, REFUSED)]
    assert len(answers) >= len(asked)
    assert all(isinstance(field, int) for event in events for field in event)
    assert not any(e[2] == BROKEN for e in events)


@pytest.mark.parametrize("asked", [7, None, (), (ASK_STOP,), (ASK_STOP, -1), "abc", [0, 1, 2]])
def test_what_is_no_command_at_all_is_refused(asked: Any) -> None:
    bench = idle()
    commands = bench.runner.hub.step(2 * HOUR_S, START_S + 2 * HOUR_S, bench.seen, [asked])
    assert [c[1][0:4] for c in commands if c[0] == 3] == [(REFUSED, -1, UNKNOWN, -1)]


@pytest.mark.parametrize(
    "asked", [7, None, (), (ASK_CLOCK,), (ASK_CLOCK, -1), "abc", [ASK_CLOCK, -1, START_S], {}, 1.5]
)
def test_what_a_port_makes_of_a_bad_line_is_refused_and_latches_nothing(asked: Any) -> None:
    bench = idle()
    bench.asked = [asked, (ASK_RUN, 0, 600)]
    bench.runner.turn()
    assert [e[0:4] for e in bench.told(REFUSED)] == [(REFUSED, -1, UNKNOWN, -1)]
    assert bench.runner.hub.record.faults == 0 and edges(bench, BROKEN) == []
    assert len(spans(bench)) == 1, "the command beside it is obeyed"


@pytest.mark.parametrize("asked", [None, 7, ((ASK_STOP, -1, 0),), {}, "", object()])
def test_a_port_that_hands_over_no_list_latches_nothing(asked: Any) -> None:
    bench = idle()
    bench.take_asked = lambda: asked  # type: ignore[method-assign]
    for _ in range(3):
        bench.runner.turn()
    assert bench.runner.hub.record.faults == 0 and edges(bench, BROKEN) == []
    assert len(bench.told(ACCEPTED)) == (3 if isinstance(asked, tuple) else 0)


@given(st.lists(st.one_of(ANYTHING, st.tuples(ANYTHING, ANYTHING, ANYTHING)), max_size=9))
@pytest.mark.no_cover
def test_nothing_a_port_may_hand_over_is_a_crash(asked: list[Any]) -> None:
    bench = idle(zones=2)
    bench.asked = list(asked)
    bench.runner.turn()
    assert bench.runner.hub.record.faults == 0 and edges(bench, BROKEN) == []
    assert len(bench.told(ACCEPTED) + bench.told(REFUSED)) >= len(asked)
