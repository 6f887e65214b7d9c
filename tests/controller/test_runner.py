"""The loop: what fails is told to the hub, and whatever raises ends with every valve shut."""

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest

from evenclay.controller import journal
from evenclay.controller.events import (
    ACCEPTED,
    ALARM,
    BOOT,
    BROKEN,
    CLEARED,
    CRASH,
    DRIVER,
    LOCKED,
    LOST_CLOCK,
    OPENED,
    POWER,
    REFUSED,
    STORE,
    TROUBLE,
    UNKNOWN,
)
from evenclay.controller.events import PLAN as NEW_PLAN
from evenclay.controller.faults import _BROKEN_FAULT, _STORE_FAULT, LEAK_FAULT
from evenclay.controller.guard import Broken, Guard
from evenclay.controller.hub import Hub
from evenclay.controller.journal import _REST_LEAST_S, _TEXT_MAX, Record, Trouble
from evenclay.controller.limits import ASKED_MAX, WALL_MAX
from evenclay.controller.plan import NO_RAIN_SENSOR, Plan, PlanError
from evenclay.controller.ports import (
    ASK_CLEAR,
    ASK_CLOCK,
    ASK_HOLD,
    ASK_PLAN,
    CLOSE,
    NOTE,
    PLAN,
    RECORD,
)
from evenclay.controller.runner import _LATCH_TIMES, _READ_TRIES, _STEPS_MAX, Restart, Runner
from tests.core import Bench, plan, row, wall
from tests.status import status as hub_status

HOUR = 3600
START_S = wall(2026, 6, 1, 5)  # midnight in the plan's zone


def made(zones: int = 2) -> Plan:
    rows = [row(1, 1, 4, start_min=0, length_min=1440, run_s=1800)]
    return plan(zones, rows, frost=0, rain_kind=NO_RAIN_SENSOR)


def booted(bench: Bench | None = None) -> Bench:
    bench = bench or Bench(made(), START_S)
    bench.boot()
    return bench


def record_of(bench: Bench) -> Record:
    data = journal.newest((bench.store.get((RECORD, 0), b""), bench.store.get((RECORD, 1), b"")))
    assert data is not None
    record = journal.unpack_record(data)
    assert record is not None
    return record


def raising(*_: object) -> None:
    raise OSError("broken port")


# What fails is told.


def test_commands_stop_at_the_driver_that_fails() -> None:
    bench = booted()
    bench.broken.add((0, "open"))
    bench.run_until(6 * HOUR + 60)
    assert [event[1] for event in bench.told(ALARM, DRIVER)] == [0]
    at = [call for call in bench.calls if call[2] >= 6 * HOUR]
    # Intent, the try, a close of what may have moved; only then the next zone's.
    assert [call[:2] for call in at][:3] == [("save", RECORD), ("open", 0), ("close", 0)]
    assert ("open", 1) in [call[:2] for call in at][3:]
    assert [event[1] for event in bench.told(OPENED)] == [1]


def test_a_close_that_fails_is_tried_again() -> None:
    bench = booted()
    bench.run_until(6 * HOUR + 60)
    bench.broken.add((0, "close"))
    bench.run_until(6 * HOUR + 2000)
    assert 0 in bench.open_since
    assert bench.told(ALARM, DRIVER)
    assert [event[1] for event in bench.told(OPENED)] == [0]
    bench.broken.clear()
    bench.run_until(6 * HOUR + 2100)
    assert 0 not in bench.open_since
    assert bench.told(CLEARED, DRIVER)


def test_a_close_that_fails_at_boot_does_not_stop_the_others() -> None:
    bench = Bench(made(), START_S)
    bench.broken.add((0, "close"))
    bench.boot()
    assert [call[:2] for call in bench.calls] == [("close", 0), ("close", 1), ("close", 2)]


@pytest.mark.parametrize("spoil", [lambda data: data[:-1], lambda data: b"", lambda data: b"x"])
def test_a_save_that_reads_back_wrong_opens_nothing(spoil: Callable[[bytes], bytes]) -> None:
    bench = booted()
    bench.run_until(HOUR)
    read = bench.read
    bench.read = lambda slot, copy: spoil(read(slot, copy))  # type: ignore[method-assign]
    bench.run_until(7 * HOUR)
    assert bench.told(ALARM, STORE)
    assert not bench.told(OPENED)
    bench.read = read  # type: ignore[method-assign]
    bench.run_until(8 * HOUR)
    assert bench.told(CLEARED, STORE)
    assert bench.told(OPENED)


def test_a_failed_write_never_goes_over_the_only_good_copy() -> None:
    """Writes that tear the copy they go to, again and again: the record is still there."""
    bench = booted()
    bench.run_until(7 * HOUR)
    good = record_of(bench)

    def tear(slot: int, copy: int, data: bytes) -> None:
        bench.store[slot, copy] = data[: len(data) // 2]
        raise OSError("worn out")

    write = bench.write
    bench.write = tear  # type: ignore[method-assign]
    bench.run_until(30 * HOUR)
    assert record_of(bench).seq == good.seq
    for failures in (1, 2, 3):  # one write succeeds, then some fail again
        bench.write = write  # type: ignore[method-assign]
        writes = bench.writes
        bench.runner.hub.record.dirty = True
        while bench.writes == writes:
            bench.run_until(bench.now_s + 60)
        good = record_of(bench)
        bench.write = tear  # type: ignore[method-assign]
        bench.runner.hub.record.dirty = True
        bench.run_until(bench.now_s + 6 * HOUR + 300 * failures)
        assert record_of(bench).seq == good.seq
    booted(bench)
    bench.run_until(HOUR)
    assert record_of(bench).seq == good.seq


def test_records_take_turns() -> None:
    bench = booted()
    copies = []
    write = bench.write

    def note(slot: int, copy: int, data: bytes) -> None:
        copies.append(copy)
        write(slot, copy, data)

    bench.write = note  # type: ignore[method-assign]
    bench.run_until(12 * HOUR)
    assert len(copies) > 4
    assert copies == [(n + 1) % 2 for n in range(len(copies))]
    newest = copies[-1]
    booted(bench)
    copies.clear()
    bench.run_until(60)
    assert copies[0] == 1 - newest


@pytest.mark.parametrize("name", ["look", "wall_s", "take_asked", "report"])
def test_a_port_that_raises_is_not_the_end(name: str) -> None:
    bench = booted()
    bench.run_until(HOUR)
    whole = getattr(bench, name)
    setattr(bench, name, raising)
    bench.run_until(2 * HOUR)
    told_lost = bench.runner.hub.lockouts.locked[LOST_CLOCK] != 0
    assert told_lost == (name == "wall_s")
    setattr(bench, name, whole)
    bench.run_until(8 * HOUR)
    assert not bench.told(ALARM)
    assert [event[1] for event in bench.told(OPENED)] == [0, 1]


def test_a_clock_that_raises_is_a_lost_clock() -> None:
    bench = booted()
    bench.run_until(6 * HOUR + 60)
    assert bench.open_since
    bench.wall_s = raising  # type: ignore[method-assign]
    bench.run_until(8 * HOUR)
    assert not bench.open_since
    assert bench.told(LOCKED, LOST_CLOCK)


# Setting the clock.


def test_the_owner_sets_the_clock() -> None:
    bench = booted(Bench(made(), None))
    bench.run_until(HOUR)
    bench.asked = [(ASK_CLOCK, -1, START_S)]
    bench.runner.turn()
    assert bench.wall_s() == START_S
    assert [event[0] for event in bench.events if event[3] == ASK_CLOCK] == [ACCEPTED]
    assert not bench.runner.hub.lockouts.locked[LOST_CLOCK]


@pytest.mark.parametrize("value", [0, -5, WALL_MAX + 1, None, b"now", (1,)])
def test_a_clock_is_not_set_to_nonsense(value: object) -> None:
    bench = booted()
    bench.run_until(HOUR)
    before = bench.offset_s
    bench.asked = [(ASK_CLOCK, -1, value)]
    bench.runner.turn()
    assert bench.offset_s == before
    assert [event[2] for event in bench.told(REFUSED)] == [UNKNOWN]


def test_a_clock_that_cannot_be_set_is_refused() -> None:
    bench = booted()
    bench.run_until(HOUR)
    bench.set_wall_s = raising  # type: ignore[method-assign, assignment]
    bench.asked = [(ASK_HOLD, -1, 0), (ASK_CLOCK, -1, START_S)]
    bench.runner.turn()
    assert [event[3] for event in bench.told(ACCEPTED)] == [ASK_HOLD]
    assert [event[3] for event in bench.told(REFUSED)] == [ASK_CLOCK]


def test_a_clock_command_past_the_bound_sets_nothing() -> None:
    bench = booted()
    bench.run_until(HOUR)
    before = bench.offset_s
    bench.asked = [(ASK_HOLD, -1, 0) for _ in range(ASKED_MAX)]
    bench.asked.append((ASK_CLOCK, -1, START_S))
    bench.runner.turn()
    assert bench.offset_s == before
    assert len(bench.told(REFUSED)) == 1


# What raises.


def explode(*_: object, **__: object) -> None:
    raise ZeroDivisionError("a step that must not raise")


def break_invariant(*_: object, **__: object) -> None:
    raise Broken("made to")


RAISING = [
    (Hub, "step", explode),
    (Guard, "verify", break_invariant),
    (Bench, "up_s", explode),
    (Bench, "feed", explode),
]


def crash(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, what: type, name: str, instead: Any
) -> int:
    """Take one turn in which a call raises. Returns the next wake."""
    with monkeypatch.context() as patch:
        patch.setattr(what, name, instead)
        wake_s: int = bench.runner.turn()
    return wake_s


@pytest.mark.parametrize(("what", "name", "instead"), RAISING)
@pytest.mark.parametrize("store_broken", [False, True])
def test_a_step_that_raises_shuts_everything_and_is_kept(
    monkeypatch: pytest.MonkeyPatch,
    what: type,
    name: str,
    instead: Callable[..., None],
    store_broken: bool,
) -> None:
    bench = booted()
    bench.run_until(6 * HOUR + 60)
    assert bench.open_since
    old = bench.runner.hub
    bench.store_broken = store_broken
    bench.now_s = old.wake_s if what is Bench else 6 * HOUR + 1800
    calls = len(bench.calls)
    # A minute away, by a clock that cannot be read as well.
    assert crash(bench, monkeypatch, what, name, instead) == bench.now_s + _REST_LEAST_S
    assert not bench.open_since
    done = bench.calls[calls:]
    closes = [call[:2] for call in done if call[0] == "close"]
    assert closes[-3:] == [("close", 0), ("close", 1), ("close", 2)]
    latched = instead is break_invariant
    saved = [] if store_broken else [("save", NOTE)] + [("save", RECORD)] * latched
    assert [call[:2] for call in done][-len(saved) - 3 :] == closes[-3:] + saved
    assert bench.runner.hub is not old
    assert bench.runner.trouble.count == 1
    assert "ZeroDivisionError: a step that must not raise" in status(bench)["exceptions"] or (
        latched and "made to" in status(bench)["exceptions"]
    )
    assert [event[3] for event in bench.told(ALARM, TROUBLE)] == [1]
    assert len(bench.told(ALARM, BROKEN)) == latched
    bench.store_broken = False
    # It rests first, and then goes on where nothing is latched.
    bench.run_until(bench.now_s + _REST_LEAST_S - 1, 1)
    assert len(bench.told(BOOT)) == 1
    bench.run_until(30 * HOUR)
    assert [event[2] for event in bench.told(BOOT)] == [POWER, CRASH]
    assert len(bench.told(ALARM, BROKEN)) == latched
    assert (len(bench.told(OPENED)) == 1) == latched
    assert record_of(bench).faults == _BROKEN_FAULT * latched
    # A reboot clears nothing; the owner does.
    booted(bench)
    bench.run_until(13 * HOUR)
    assert (len(bench.told(OPENED)) == 1) == latched
    assert (-1, "trouble") in status(bench)["alarms"] or store_broken
    bench.asked = [(ASK_CLEAR, -1, 0)]
    bench.runner.turn()
    assert len(bench.told(CLEARED, BROKEN)) == latched
    assert bench.runner.trouble.count == 0
    assert bench.store.get((NOTE, 0), b"") == b""
    assert status(bench)["alarms"] == []
    bench.run_until(24 * HOUR)
    assert len(bench.told(OPENED)) > 1


def status(bench: Bench) -> dict[str, Any]:
    told: dict[str, Any] = hub_status(bench.runner, bench.now_s)
    return told


def test_a_hub_that_never_rests_is_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = booted()
    bench.run_until(HOUR)
    steps = []

    def restless(*_: object) -> list[tuple[int, int]]:
        steps.append(1)
        return [(CLOSE, 0)]

    crash(bench, monkeypatch, Hub, "step", restless)
    assert len(steps) == _STEPS_MAX
    assert record_of(bench).faults == _BROKEN_FAULT


def test_what_comes_back_is_rested_from_longer_and_latches_at_the_fifth_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench = booted()
    bench.run_until(HOUR)
    began_s = bench.now_s
    rests = []
    faults = []
    for _ in range(_LATCH_TIMES + 2):
        wake_s = crash(bench, monkeypatch, Hub, "step", explode)
        rests.append(wake_s - bench.now_s)
        faults.append(record_of(bench).faults)
        bench.now_s = wake_s
    assert rests == [60, 120, 240, 480, 900, 900, 900]
    assert faults == [0] * (_LATCH_TIMES - 1) + [_BROKEN_FAULT] * 3
    assert len(bench.told(ALARM, BROKEN)) == 1
    notes = [call[2] for call in bench.calls if call[:2] == ("save", NOTE)]
    assert len(notes) == _LATCH_TIMES + 2
    writes = sorted({call[2] for call in bench.calls if call[0] == "save" and call[2] > began_s})
    assert all(b - a >= 60 for a, b in pairwise(writes))


def test_texts_that_change_never_latch_and_a_day_is_forgotten(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench = booted()
    bench.run_until(HOUR)

    def after(text: str, wait_s: int) -> int:
        def instead(*_: object) -> None:
            raise ValueError(text)

        bench.now_s += wait_s
        rest_s = crash(bench, monkeypatch, Hub, "step", instead) - bench.now_s
        bench.now_s += rest_s
        return rest_s

    assert [after("ab"[n % 2], 0) for n in range(12)][-1] == 900
    assert not record_of(bench).faults
    assert after("b", 86400) == 60  # another day
    assert [after("b", 0) for _ in range(3)] == [120, 240, 480]
    bench.now_s += 86400
    bench.run_until(bench.now_s)  # the clock goes back a month
    bench.offset_s -= 30 * 86400  # type: ignore[operator]
    assert after("b", 0) == 60
    assert not record_of(bench).faults


def test_early_turns_while_it_rests_do_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = booted()
    bench.run_until(HOUR)
    wake_s = crash(bench, monkeypatch, Hub, "step", explode)
    calls = len(bench.calls)
    fed = []
    bench.feed = lambda: fed.append(bench.now_s)  # type: ignore[method-assign]
    bench.asked = [(ASK_CLEAR, -1, 0)]
    for _ in range(50):
        assert bench.runner.turn() == wake_s
        assert bench.runner.failed(OSError("the console")) == wake_s
        bench.now_s += 1
    assert len(fed) == 50 and bench.asked
    assert len(bench.calls) == calls
    assert "the console" in status(bench)["port_failed"]
    assert status(bench)["wake_s"] == wake_s


def test_the_watchdog_is_fed_only_once_every_valve_is_shut(monkeypatch: pytest.MonkeyPatch) -> None:
    """What does not close is tried again at growing intervals, and nothing else is pulsed."""
    bench = booted()
    bench.run_until(6 * HOUR + 60)
    fed = []
    bench.feed = lambda: fed.append(bench.now_s)  # type: ignore[method-assign]
    bench.broken.add((1, "close"))
    bench.now_s += 60
    began_s = bench.now_s
    wake_s = crash(bench, monkeypatch, Hub, "step", explode)
    calls = len(bench.calls)
    while wake_s < began_s + _REST_LEAST_S:
        bench.now_s = max(wake_s, bench.now_s + 1)
        wake_s = bench.runner.turn()
    tried = [(call[1], call[2] - began_s) for call in bench.calls[calls:]]
    assert tried == [(1, 1), (1, 3), (1, 7), (1, 15), (1, 31)]
    assert not fed
    bench.run_until(began_s + 3600)  # then it is a hub's to say that a driver fails
    assert fed and fed[0] >= began_s + _REST_LEAST_S and bench.told(ALARM, DRIVER)
    # One that closes in the end feeds it again, at once.
    fed.clear()
    began_s = bench.now_s = began_s + 3700
    crash(bench, monkeypatch, Hub, "step", explode)
    bench.broken.clear()
    bench.now_s += 1
    assert bench.runner.turn() == began_s + 2 * _REST_LEAST_S
    assert fed == [began_s + 1]


@pytest.mark.parametrize("kept", [True, False])
def test_a_first_memory_error_restarts(monkeypatch: pytest.MonkeyPatch, kept: bool) -> None:
    def full(*_: object) -> None:
        raise MemoryError("memory allocation failed, allocating 512 bytes")

    bench = booted()
    bench.run_until(6 * HOUR + 60)
    bench.now_s += 60
    with pytest.raises(Restart):
        crash(bench, monkeypatch, Bench, "look", full)
    assert not bench.open_since
    if not kept:
        del bench.store[NOTE, 0]
    bench.now_s = 6 * HOUR + 180
    assert bench.offset_s is not None
    bench.offset_s += bench.now_s
    bench.now_s = 0
    bench.runner = Runner(bench, CRASH)
    assert bench.runner.rest_up_s == 60 * kept  # a board that restarts at once wears nothing out
    bench.run_until(70)
    assert bench.told(BOOT)[-1][2] == CRASH
    if kept:
        assert crash(bench, monkeypatch, Bench, "look", full) == bench.now_s + 120
        assert not record_of(bench).faults


def test_memory_that_runs_out_while_it_gives_up_raises_nothing_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def full(*_: object) -> None:
        raise MemoryError

    bench = booted()
    bench.run_until(HOUR)
    with monkeypatch.context() as patch:
        for name in ("write", "report", "feed", "up_s", "wall_s", "read", "close"):
            patch.setattr(Bench, name, full)
        # No note, no restart: nothing would say after it that this is not the first time.
        assert 0 < bench.runner.turn() <= bench.runner.rest_up_s
        bench.runner.failed(ValueError("again"))
        bench.runner.turn()


def test_what_ports_raise_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = booted()
    bench.run_until(HOUR)
    assert status(bench)["port_failed"] == ""
    for name in ("look", "wall_s", "take_asked"):
        crash(bench, monkeypatch, Bench, name, raising)
        assert status(bench)["port_failed"] == f"{name}: OSError: broken port"
    bench.look = lambda: None  # type: ignore[method-assign, assignment, return-value]
    bench.runner.turn()
    assert status(bench)["port_failed"].startswith("look: AttributeError: ")
    assert not bench.runner.trouble.count


@pytest.mark.parametrize("up_s", [None, "5", 1.5])
def test_an_uptime_that_is_none_counts_as_waited(up_s: object) -> None:
    """Who calls has waited as it was told: the rest grows all the same."""
    bench = booted()
    bench.run_until(HOUR)
    bench.runner.failed(ValueError("a cause"))
    bench.up_s = lambda: up_s  # type: ignore[method-assign, assignment, return-value]
    now_s = HOUR + 60
    bench.runner.rest_up_s = now_s
    bench.runner.hub.step = explode
    for rest_s in (120, 240, 480, 900):
        assert bench.runner.turn() == now_s + rest_s
        now_s += rest_s


# What is kept.


@pytest.mark.parametrize("note", [b"", b"1", b"1 2 3", b"a b c d", b"\xff 1 1 1", b"service"])
def test_a_note_that_is_none_says_nothing(note: bytes) -> None:
    trouble = Trouble()
    trouble.load(note)
    assert (trouble.count, trouble.text, trouble.pack()) == (0, "", b"")


def test_a_note_reads_back() -> None:
    trouble = Trouble()
    for n in range(300):
        trouble.add(ValueError("\u00e9" * 200), START_S + n)
        other = Trouble()
        other.load(trouble.pack())
        assert vars(other) == vars(trouble)
    assert trouble.count == 255 and len(trouble.text) == _TEXT_MAX
    trouble.load(b"-1 -1 0 x")
    assert 60 <= trouble.rest_s() <= 900


# A store that cannot be read.


def failing(bench: Bench, slot: int, copies: set[int], times: int) -> None:
    """Have a slot's copies fail to be read, each some times over."""
    read = bench.read
    left = dict.fromkeys(copies, times)

    def instead(which: int, copy: int) -> bytes:
        if which == slot and left.get(copy, 0):
            left[copy] -= 1
            raise OSError("not now")
        return read(which, copy)

    bench.read = instead  # type: ignore[method-assign, assignment]


@pytest.mark.parametrize("slot", [RECORD, PLAN, NOTE])
@pytest.mark.parametrize("copies", [{0}, {1}, {0, 1}])
def test_a_copy_that_is_read_at_the_second_try_is_read(slot: int, copies: set[int]) -> None:
    bench = booted()
    bench.run_until(7 * HOUR)
    bench.runner.hub.record.faults = LEAK_FAULT
    bench.runner.hub.record.dirty = True
    bench.runner.failed(ValueError("a cause"))
    bench.runner.hub.record.faults = LEAK_FAULT
    bench.run_until(8 * HOUR)
    assert record_of(bench).faults == LEAK_FAULT
    boots = record_of(bench).boots
    failing(bench, slot, copies, _READ_TRIES - 1)
    booted(bench)
    assert bench.runner.hub.record.boots == boots
    assert bench.runner.hub.record.faults == LEAK_FAULT
    assert bench.runner.trouble.count == 1


def test_a_record_that_cannot_be_read_keeps_every_valve_shut() -> None:
    bench = booted()
    bench.run_until(7 * HOUR)
    failing(bench, RECORD, {0, 1}, _READ_TRIES)
    booted(bench)
    told = len(bench.told(OPENED))
    bench.run_until(24 * HOUR)
    assert bench.told(ALARM, STORE)
    assert len(bench.told(OPENED)) == told
    assert status(bench)["alarms"] == [(-1, "store")]  # a save that works does not end it
    booted(bench)
    bench.run_until(12 * HOUR)
    assert status(bench)["alarms"] == [(-1, "store")]
    assert len(bench.told(OPENED)) == told
    bench.asked = [(ASK_CLEAR, -1, 0)]
    bench.runner.turn()
    assert bench.told(CLEARED, STORE)
    bench.run_until(36 * HOUR)
    assert len(bench.told(OPENED)) > told


def test_a_save_that_fails_and_works_again_does_not_end_the_alarm_of_a_lost_record() -> None:
    bench = booted()
    bench.run_until(7 * HOUR)
    failing(bench, RECORD, {0, 1}, _READ_TRIES)
    booted(bench)
    bench.run_until(8 * HOUR)
    read = bench.read
    bench.read = lambda slot, copy: b""  # type: ignore[method-assign]
    bench.run_until(32 * HOUR)
    assert bench.runner.hub.record.retry_up_s  # one has failed
    bench.read = read  # type: ignore[method-assign]
    bench.run_until(33 * HOUR)
    assert not bench.runner.hub.record.retry_up_s  # and works again
    assert status(bench)["alarms"] == [(-1, "store")]
    assert not bench.told(CLEARED, STORE)


@pytest.mark.parametrize("copies", [{0}, {1}])
@pytest.mark.parametrize("torn", [True, False])
def test_one_bad_copy_beside_a_good_one_raises_nothing(copies: set[int], torn: bool) -> None:
    bench = booted()
    bench.run_until(7 * HOUR)
    if torn:
        for copy in copies:
            bench.store[RECORD, copy] = bench.store[RECORD, copy][:20]
    else:
        failing(bench, RECORD, copies, 99)
    booted(bench)
    assert bench.runner.hub.record.boots >= 1
    assert not bench.runner.hub.faults.alarms


def test_what_is_no_bytes_was_not_read() -> None:
    bench = booted()
    bench.run_until(7 * HOUR)
    read = bench.read
    bench.read = lambda slot, copy: None if slot == RECORD else bytearray(read(slot, copy))  # type: ignore[method-assign, assignment, return-value]
    booted(bench)
    assert bench.runner.hub.record.faults == _STORE_FAULT
    assert status(bench)["port_failed"] in ("", "read: not bytes")


# Which plan.


def test_no_plan_no_hub() -> None:
    bench = Bench(made(), START_S, {})
    with pytest.raises(PlanError):
        Runner(bench)
    assert len(bench.calls) == bench.valves  # closed before anything else


def stored(record_plan: Plan | None, plans: dict[int, bytes]) -> int:
    """CRC of the plan a runner takes."""
    bench = Bench(made(), START_S, {(PLAN, copy): data for copy, data in plans.items()})
    if record_plan is not None:
        bench.store[RECORD, 0] = Record(0).carry(record_plan).pack()
    return Runner(bench).hub.plan.crc


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_the_plan_the_record_was_made_under(order: tuple[int, int]) -> None:
    one, two = made(1), made(2)
    copies = {order[0]: one.pack(), order[1]: two.pack()}
    assert stored(one, copies) == one.crc
    assert stored(two, copies) == two.crc
    # Of two that the record does not know, the first; of one good one, that.
    first = one.crc if order[0] == 0 else two.crc
    assert stored(made(3), copies) == first
    assert stored(None, copies) == first
    assert stored(two, {order[0]: one.pack(), order[1]: b"torn"}) == one.crc


def test_a_new_plan_goes_over_the_other_copy_each_time() -> None:
    bench = booted()
    bench.run_until(HOUR)
    kept = [bench.plan.pack()]
    for zones in (1, 3, 2):
        new = made(zones)
        bench.valves = zones + 1
        bench.seen = type(bench.seen)(zones, 1)
        bench.asked = [(ASK_PLAN, -1, new.pack())]
        bench.runner.turn()
        assert bench.runner.hub.plan.crc == new.crc
        kept.append(new.pack())
        assert sorted([bench.store[PLAN, 0], bench.store[PLAN, 1]]) == sorted(kept[-2:])
        assert Runner(bench).hub.plan.crc == new.crc


def test_a_plan_that_reads_back_wrong_is_not_taken() -> None:
    bench = booted()
    bench.run_until(HOUR)
    write = bench.write

    def spoil(slot: int, copy: int, data: bytes) -> None:
        write(slot, copy, data[:-1] if slot == PLAN else data)

    bench.write = spoil  # type: ignore[method-assign]
    bench.asked = [(ASK_PLAN, -1, made(1).pack())]
    bench.runner.turn()
    assert bench.told(REFUSED, STORE)
    assert bench.runner.hub.plan.crc == bench.plan.crc
    assert Runner(bench).hub.plan.crc == bench.plan.crc


# Plans and ports that do not fit.


@pytest.mark.parametrize("valves", [0, 1, 2])
def test_ports_with_too_few_valves_are_one_clear_error(valves: int) -> None:
    bench = Bench(made(), START_S)
    bench.valves = valves
    with pytest.raises(PlanError, match=f"a plan for more than {valves} valves"):
        Runner(bench)


def test_a_board_with_fewer_valves_than_its_plan_needs_goes_on_by_the_older_one() -> None:
    """A plan that another board took, or this one before a valve was unwired."""
    bench = two_plans()
    bench.valves = 2
    booted(bench)
    bench.run_until(HOUR)
    assert len(bench.runner.hub.plan.zones) == 1
    assert status(bench)["alarms"] == [(-1, "trouble")]
    assert Runner(bench).hub.plan.crc == bench.runner.hub.plan.crc


def two_plans() -> Bench:
    """A bench whose record names the plan in copy 1, over an older one in copy 0."""
    old, new = made(1), made(2)
    bench = Bench(new, START_S, {(PLAN, 0): old.pack(), (PLAN, 1): new.pack()})
    bench.store[RECORD, 0] = Record(0).carry(new).pack()
    return bench


@pytest.mark.parametrize("times", [1, _READ_TRIES - 1])
def test_one_failed_read_of_the_plan_puts_no_older_one_in_force(times: int) -> None:
    bench = two_plans()
    failing(bench, PLAN, {1}, times)
    booted(bench)
    bench.run_until(HOUR)
    assert bench.runner.hub.plan.crc == bench.plan.crc
    assert not bench.told(ALARM)


def test_an_older_plan_in_force_is_an_alarm_until_it_is_cleared() -> None:
    bench = two_plans()
    failing(bench, PLAN, {1}, _READ_TRIES)
    for _ in range(2):  # after a restart as well, when the record names the older one
        booted(bench)
        bench.run_until(HOUR)
        assert len(bench.runner.hub.plan.zones) == 1
        assert status(bench)["alarms"] == [(-1, "trouble")]
        assert "an older one is used" in status(bench)["exceptions"]
    bench.asked = [(ASK_CLEAR, -1, 0)]
    bench.runner.turn()
    assert status(bench)["alarms"] == []


def test_a_plan_that_was_replaced_is_no_fault() -> None:
    bench = two_plans()
    del bench.store[PLAN, 1]
    booted(bench)
    bench.run_until(HOUR)
    assert not bench.told(ALARM)
    assert [event[2] for event in bench.told(BOOT)] == [NEW_PLAN]


def test_a_plan_that_cannot_be_read_is_not_a_missing_one() -> None:
    bench = Bench(made(), START_S)
    failing(bench, PLAN, {0}, _READ_TRIES)
    with pytest.raises(OSError, match="cannot be read"):
        Runner(bench)


def test_trouble_outlives_a_new_plan(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = booted()
    bench.run_until(HOUR)
    bench.now_s = crash(bench, monkeypatch, Hub, "step", explode)
    bench.run_until(bench.now_s + 60)
    bench.asked = [(ASK_PLAN, -1, made(1).pack())]
    bench.runner.turn()
    assert len(bench.runner.hub.plan.zones) == 1
    assert status(bench)["alarms"] == [(-1, "trouble")]


def test_a_store_that_returns_no_bytes_is_told_of() -> None:
    bench = booted()
    bench.read = lambda slot, copy: "text"  # type: ignore[method-assign, assignment, return-value]
    bench.asked = [(ASK_HOLD, -1, START_S + 24 * HOUR)]  # is written, and read back
    bench.runner.turn()
    assert status(bench)["port_failed"] == "write: OSError: read: not bytes"
