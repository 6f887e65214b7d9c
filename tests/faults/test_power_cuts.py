"""A cut at every write and between every two port calls, and a port that fails at every call.

`world` says what the faults are, what the two days hold, and what must be true after each.

A cut leaves nothing but the moment, the store, the valves, and which commands were taken and events
reported. Two cuts that leave the same of these boot the same life, so where a campaign says
"distinct", one of them is tried for all. What is sampled still meets every port and every write.
The campaigns marked `slow` leave nothing out:

    make campaign
"""

from dataclasses import replace
from functools import cache

import pytest

from evenclay.controller.events import STORE, TROUBLE
from evenclay.controller.words import WHAT, WHY
from tests.faults.world import RAINS, Fault, World, accepted, house

slow = pytest.mark.slow


@cache
def usual(idle_looks: bool = False) -> World:
    """The two days with nothing wrong."""
    return World(house(), keep_names=True, idle_looks=idle_looks).live()


def all_calls() -> list[int]:
    return list(range(1, usual().calls + 1))


def distinct_calls() -> list[int]:
    """Calls before which a cut leaves something else than before the call before."""
    states = usual().states
    return [n for n in all_calls() if n == 1 or states[n - 1] != states[n - 2]]


def torn_lengths(whole: int) -> list[int]:
    return [0, 1, whole // 2, whole - 1, whole]


def live(fault: Fault, idle_looks: bool = False) -> World:
    """Live and judge one life; a failure is one line that repeats it."""
    world = World(house(), replace(fault), idle_looks=idle_looks)
    try:
        world.live().judge(usual(idle_looks))
    except AssertionError as wrong:
        raise AssertionError(f"{wrong}; again: live({fault!r})") from None
    assert world.fired, f"nothing went wrong; again: live({fault!r})"
    return world


def run(faults: list[Fault]) -> int:
    """Live every fault; all that fail are shown. Returns how many there were."""
    failed = []
    for fault in faults:
        try:
            live(fault)
        except AssertionError as wrong:
            failed.append(str(wrong))
    assert not failed, f"{len(failed)} of {len(faults)} failed:\n" + "\n".join(failed[:20])
    return len(faults)


def test_the_two_days_are_busy() -> None:
    """What the campaign claims to cut really happens in it."""
    world = usual()
    world.judge()
    told = {(WHAT[event[0]], WHY[event[2]]) for event in world.events}
    assert {("opened", "planned"), ("opened", "manual"), ("closed", "done")} <= told
    assert {("cut_short", "hold"), ("skipped", "cap")} <= told
    assert ("lacks", "ok") in told
    assert sum(um for _, um in RAINS) == 18000
    assert accepted(world) == 5
    opened = world.openings
    assert len(opened) >= 20
    assert {world.plan.zones[o.zone].held for o in opened} == {0, 1}
    assert any(o.at_s // 86400 != o.end_s // 86400 for o in opened), "no run over midnight"
    assert any(o.at_s < p.at_s < o.end_s for o in opened for p in opened), (
        "never two valves open at once"
    )
    assert len(world.writes) >= 40
    assert set(world.names) == {
        "up_s", "wall_s", "look", "take_asked", "close", "open", "read", "write", "report", "feed",
    }  # fmt: skip


def test_a_cut_before_every_distinct_call() -> None:
    """The clock kept."""
    assert run([Fault("cut", n) for n in distinct_calls()]) >= 350


@slow
def test_a_cut_before_every_call() -> None:
    """Every call, none taken for another; the clock kept."""
    assert run([Fault("cut", n) for n in all_calls()]) >= 1000


def test_a_cut_at_an_idle_look() -> None:
    """One call in 863 of a hub that is woken each minute to look at a meter that stands still."""
    calls = range(1, usual(idle_looks=True).calls + 1, 863)
    for n in calls:
        live(Fault("cut", n), idle_looks=True)
    assert len(calls) >= 15


def torn_writes() -> list[Fault]:
    """Every write, five torn lengths, the rest of the copy gone or as it stood; clock kept or lost.

    A lost clock and what stood there before have nothing to do with each other: no more than one.
    """
    return [
        Fault("cut", n, torn=torn, over=over, lost_clock=lost)
        for n, whole in usual().writes.items()
        for torn in torn_lengths(whole)
        for over, lost in ((False, False), (True, False), (False, True))
    ]


def test_a_cut_during_a_write() -> None:
    """One in eight, of every length and rest."""
    faults = torn_writes()[::8]
    assert len({fault.call for fault in faults}) >= len(usual().writes) // 2
    assert len({(fault.torn, fault.over, fault.lost_clock) for fault in faults}) >= 15
    assert run(faults) >= 75


@slow
def test_a_cut_during_every_write() -> None:
    assert run(torn_writes()) >= 700


def test_a_cut_that_loses_the_clock() -> None:
    """Every third of the distinct calls."""
    assert run([Fault("cut", n, lost_clock=True) for n in distinct_calls()[::3]]) >= 120


def second_cuts(step: int) -> list[Fault]:
    """A second cut at each of the 40 calls after the first: the boot and its first turns."""
    calls = distinct_calls()
    return [
        Fault("cut", n, second=second, lost_clock=lost)
        for place, n in enumerate(calls)
        for second in range(1, 41)
        for lost in (False, True)
        if (place * 80 + 2 * second + lost) % step == 0
    ]


def test_a_second_cut_during_the_boot() -> None:
    """One in 359 of the distinct first cuts x 40 second ones x clock kept or lost."""
    assert run(second_cuts(359)) >= 75


def every_byte(step: int) -> list[Fault]:
    """A cut at every byte of every save, over nothing or over the old copy; one in `step`."""
    faults = [
        Fault("cut", n, torn=torn, over=over)
        for n, whole in usual().writes.items()
        for torn in range(whole + 1)
        for over in (False, True)
    ]
    return faults[::step]


def no_store_alarm(faults: list[Fault]) -> int:
    """Boot after each cut: no alarm of the store, or of the plan. Returns how many there were."""
    for fault in faults:
        world = World(house(), replace(fault))
        world.die()
        runner = world.reboot()
        assert not {STORE, TROUBLE} & {why for _, why in runner.hub.faults.alarms}, fault
        assert not runner.hub.record.faults, fault
    return len(faults)


def test_a_cut_at_a_byte_of_a_save_raises_no_store_alarm() -> None:
    """One byte in 97 of every save."""
    assert no_store_alarm(every_byte(97)) >= 90


@slow
def test_a_cut_at_every_byte_of_every_save_raises_no_store_alarm() -> None:
    assert no_store_alarm(every_byte(1)) >= 10000


def test_a_read_that_fails_once_changes_no_decision() -> None:
    """Every read of the two days: the same openings, events and record as if it had worked."""
    told = usual()
    reads = [n for n, name in enumerate(told.names, 1) if name == "read"]
    for n in reads:
        world = live(Fault("once", n))
        assert world.openings == told.openings, n
        assert world.events == told.events, n
        assert world.store == told.store, n
    assert len(reads) >= 40


@slow
def test_a_second_cut_during_the_boot_more() -> None:
    """One in 19 of the same."""
    assert run(second_cuts(19)) >= 10000


@slow
def test_a_cut_before_every_call_that_loses_the_clock() -> None:
    """Every call, none taken for another."""
    assert run([Fault("cut", n, lost_clock=True) for n in all_calls()]) >= 1000


def calls_of_each_port(count: int) -> list[int]:
    """So many calls of each port, spread over the two days; the first and the last among them."""
    numbers: dict[str, list[int]] = {}
    for n, name in enumerate(usual().names, 1):
        numbers.setdefault(name, []).append(n)
    found = [
        of[place * (len(of) - 1) // (count - 1)]
        for of in numbers.values()
        for place in range(count)
    ]
    assert len(set(found)) == 10 * count
    return sorted(found)


def test_a_call_fails_once() -> None:
    """Ten calls of each port."""
    for n in calls_of_each_port(10):
        live(Fault("once", n))


@slow
def test_every_call_fails_once() -> None:
    """Every call of the two days, until a life in which nothing is left to fail."""
    n = 0
    failed = []
    while True:
        n += 1
        fault = Fault("once", n)
        world = World(house(), replace(fault))
        try:
            world.live().judge()
        except AssertionError as wrong:
            failed.append(f"{wrong}; again: live({fault!r})")
        if not world.fired:
            break
    assert not failed, f"{len(failed)} of {n} failed:\n" + "\n".join(failed[:20])
    assert n > 1000


def failing_for_ever(calls: list[int]) -> list[Fault]:
    """A port that fails from a call on, or all of them."""
    return [Fault(kind, n) for kind in ("port", "all") for n in calls]


def test_a_port_fails_for_ever() -> None:
    """From two calls of each port on."""
    assert run(failing_for_ever(calls_of_each_port(2))) == 40


@slow
def test_a_port_fails_for_ever_from_every_call() -> None:
    """Every call."""
    assert run(failing_for_ever(all_calls())) >= 2000
