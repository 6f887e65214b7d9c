"""The loop: what fails is told to the hub, and whatever raises ends with every valve shut."""

from collections.abc import Callable

import pytest

from controller import journal
from controller.events import (
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
    REFUSED,
    STORE,
    UNKNOWN,
)
from controller.guard import Broken, Guard
from controller.hub import Hub
from controller.journal import BROKEN_FAULT, Record
from controller.limits import ASKED_MAX, STEPS_MAX, WALL_MAX
from controller.plan import NO_RAIN_SENSOR, Plan, PlanError
from controller.ports import ASK_CLEAR, ASK_CLOCK, ASK_HOLD, ASK_PLAN, CLOSE, PLAN, RECORD
from controller.runner import Runner
from tests.core import Bench, plan, row, wall

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
        bench.runner.hub.dirty = True
        while bench.writes == writes:
            bench.run_until(bench.now_s + 60)
        good = record_of(bench)
        bench.write = tear  # type: ignore[method-assign]
        bench.runner.hub.dirty = True
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


def test_a_record_that_cannot_be_read_is_none() -> None:
    bench = booted()
    bench.run_until(7 * HOUR)
    read = bench.read

    def only_plans(slot: int, copy: int) -> bytes:
        if slot == RECORD:
            raise OSError("worn out")
        return read(slot, copy)

    bench.read = only_plans  # type: ignore[method-assign]
    booted(bench)
    assert bench.runner.hub.record.boots == 0


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


@pytest.mark.parametrize(
    ("what", "name", "instead"),
    [
        (Hub, "step", explode),
        (Guard, "verify", break_invariant),
        (Bench, "up_s", explode),
        (Bench, "feed", explode),
    ],
)
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
    bench.now_s = 6 * HOUR + 1800
    calls = len(bench.calls)
    with monkeypatch.context() as patch:
        patch.setattr(what, name, instead)
        assert bench.runner.turn() == 0
    assert not bench.open_since
    closed = [call[1] for call in bench.calls[calls:] if call[0] == "close"]
    assert sorted(set(closed)) == [0, 1, 2]
    assert bench.runner.hub is not old
    if not store_broken:
        assert record_of(bench).faults == BROKEN_FAULT
    # The new hub opens nothing, however long, until the owner clears it; nor does a reboot.
    bench.run_until(30 * HOUR)
    bench.store_broken = False
    bench.run_until(31 * HOUR)
    assert len(bench.told(OPENED)) == 1
    assert [event[2] for event in bench.told(BOOT)][-1] == CRASH
    assert [event[1] for event in bench.told(ALARM, BROKEN)] == [-1]
    assert record_of(bench).faults == BROKEN_FAULT
    booted(bench)
    bench.run_until(13 * HOUR)
    assert len(bench.told(OPENED)) == 1
    bench.asked = [(ASK_CLEAR, -1, 0)]
    bench.runner.turn()
    assert bench.told(CLEARED, BROKEN)
    assert len(bench.told(ALARM, BROKEN)) == 1  # no reboot raised it again
    assert len(bench.told(OPENED)) == 1  # not by itself
    bench.run_until(24 * HOUR)
    assert len(bench.told(OPENED)) > 1


def test_a_hub_that_never_rests_is_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = booted()
    bench.run_until(HOUR)
    steps = []

    def restless(*_: object) -> list[tuple[int, int]]:
        steps.append(1)
        return [(CLOSE, 0)]

    with monkeypatch.context() as patch:
        patch.setattr(Hub, "step", restless)
        assert bench.runner.turn() == 0
    assert len(steps) == STEPS_MAX
    assert record_of(bench).faults == BROKEN_FAULT


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
