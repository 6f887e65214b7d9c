"""The checks of the conformance kit: each boots a board of its own, and raises what is wrong."""

from evenclay.boards.rigs import (
    COUNTS,
    RUN_S,
    NotShown,
    Rig,
    Through,
    ask_run,
    closed,
    declared,
    each_sensor,
    figures,
    masters,
    must,
    opened,
    prepared,
    raises,
    started,
)
from evenclay.controller import TYPE_CHECKING, const
from evenclay.controller.events import ALARM, DRIVER, OPENED, STORE
from evenclay.controller.limits import WALL_MAX
from evenclay.controller.ports import ASK_CLOCK, ASK_RUN_ANYWAY, ASK_STOP, PLAN, RECORD
from evenclay.controller.runner import Runner
from evenclay.controller.words import WHAT, WHY

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from evenclay.controller.ports import Ports

    Check = Callable[[Rig], None]

DEADLINE_S = const(3)
SLACK_S = const(2)  # a second begun, at either end
NOON_S = const(836222400)  # 2026-07-01 12:00 UTC: a time to set clocks to
APART_S = const(60)  # the most that two good clocks differ by, and the longest that a boot takes
_TURNS = const(20)
_LEAK_S = const(10)  # to watch the meters for
_SIZES = (1, 40, 256, 700)  # bytes: a record is at most 256, a plan a few hundred


def check_valve_count(rig: Rig) -> None:
    """`valves` counts each zone's valve and one master a supply."""
    found = rig.boot(False).valves
    wanted = rig.zones + rig.supplies
    must(found == wanted, "%r valves for %d zones and supplies" % (found, wanted))


def check_closed_at_boot(rig: Rig) -> None:
    """A valve left open is shut by the next boot."""
    ports = rig.boot(False)
    for valve in list(range(rig.zones)) + masters(rig):
        opened(rig, ports, valve)
        must(rig.is_open(valve), "valve %d did not open" % valve)
        Runner(Through(prepared(rig)[0].ports))
        rig.wait(rig.travel_s)
        must(not rig.is_open(valve), "valve %d is open after a boot" % valve)
        ports = rig.boot(False)


def check_closed_before_anything(rig: Rig) -> None:
    """The first thing a boot does is to shut every valve."""
    prepared(rig)
    ports = rig.boot(True)
    Runner(ports)
    left = ["close %d" % valve for valve in range(rig.zones + rig.supplies)]
    for did in rig.order():
        if not left:
            break
        must(did.startswith("close "), "a boot did `%s` before `%s`" % (did, left[0]))
        if did in left:
            left.remove(did)
    must(not left, "a boot did not %s" % ", ".join(left))


def check_valves(rig: Rig) -> None:
    """Each valve opens and shuts itself, and no other; shutting twice is no fault."""
    ports = rig.boot(False)
    valves = list(range(rig.zones)) + masters(rig)
    for valve in valves:
        closed(rig, ports, valve)
    for valve in valves:
        opened(rig, ports, valve)
        found = [other for other in valves if rig.is_open(other)]
        must(found == [valve], "open %d opened %s" % (valve, found))
        ports.close(valve)
        closed(rig, ports, valve)
        must(not rig.is_open(valve), "close %d left it open" % valve)


def check_deadline(rig: Rig) -> None:
    """Each valve shuts by itself after its deadline, with nothing called, and not before."""
    ports = rig.boot(False)
    travel_s = rig.travel_s
    deadline_s = DEADLINE_S + travel_s
    for valve in list(range(rig.zones)) + masters(rig):
        opened(rig, ports, valve, deadline_s)
        rig.wait(1)
        must(rig.is_open(valve), "the deadline shut valve %d too early" % valve)
        rig.wait(deadline_s + SLACK_S)
        must(not rig.is_open(valve), "valve %d is open after its deadline" % valve)
        closed(rig, ports, valve)
        opened(rig, ports, valve, deadline_s)
        closed(rig, ports, valve)
        ports.open(valve, 600)
        rig.wait(deadline_s + SLACK_S + travel_s)
        must(rig.is_open(valve), "an earlier opening's deadline shut valve %d later" % valve)
        closed(rig, ports, valve)


def check_leak(rig: Rig) -> None:
    """With every valve shut, and come to rest, no meter counts."""
    ports = rig.boot(False)
    meters = [name for name in declared(rig) if name[0] == "meter_ml"]
    if not meters:
        raise NotShown("meter_ml")
    for valve in list(range(rig.zones)) + masters(rig):
        opened(rig, ports, valve)
        rig.wait(1)
        closed(rig, ports, valve)
    before = figures(ports)
    rig.wait(_LEAK_S)
    after = figures(ports)
    for name in meters:
        told = "%s %d went from %r to %r" % (name + (before[name], after[name]))
        must(before[name] == after[name], told + ", every valve shut")


def check_failing_driver_is_reported(rig: Rig) -> None:
    """What a valve's driver cannot do raises, and the hub says so."""
    rig.boot(False)
    for valve in range(rig.zones):
        for what in ("open", "close"):
            ports, runner = prepared(rig)
            rig.fail(what, valve)
            must(raised(ports.ports, what, valve), "%s %d failed, did not raise" % (what, valve))
            ask_run(ports, runner, valve)
            if what == "close":
                ports.asked = [(ASK_STOP, valve, 0)]
                runner.turn()
            told = "no alarm for a driver whose %s fails" % what
            must(("report", ALARM, DRIVER) in ports.did, told)
            rig.boot(False)
    for valve in masters(rig):
        for what in ("open", "close"):
            bare = rig.boot(False)
            rig.fail(what, valve)
            must(raised(bare, what, valve), "%s %d failed, did not raise" % (what, valve))
    rig.boot(False)


def raised(ports: "Ports", what: str, valve: int) -> bool:
    """Whether `open` or `close` of a valve says that it could not."""
    return raises(ports.close, valve) if what == "close" else raises(ports.open, valve, 600)


def check_failing_store_is_reported(rig: Rig) -> None:
    """A write that fails raises or does not read back; the hub says so, and opens nothing."""
    ports, runner = prepared(rig)
    rig.fail("write", 0)
    ask_run(ports, runner, 0)
    must(("report", ALARM, STORE) in ports.did, "no alarm for a store that fails")
    must("open" not in [did[0] for did in ports.did], "opened with nothing written")


def check_failing_sensors(rig: Rig) -> None:
    """A sensor that does not answer reads None, spoils no other, and does not stop the hub."""
    each_sensor(rig, fail_one)


def fail_one(rig: Rig, name: "tuple[str, int]") -> None:
    """Judge a port one of whose sensors does not answer."""
    ports, runner = prepared(rig)
    rig.fail(*name)
    told = "%s %d is mute: " % name
    alone = len(declared(rig)) == 1
    found: "dict[tuple[str, int], Any]" = {}
    try:
        found = figures(ports)
    except Exception as error:
        must(alone, "%s`look` raises %r, and all the others are lost" % (told, error))
    must(found.get(name) is None, "%sit reads %r" % (told, found.get(name)))
    for other in declared(rig):
        if other != name:
            must(found[other] is not None, "%s%s %d reads nothing" % ((told,) + other))
    must(runner.turn() > 0, told + "the hub stopped for it")


def check_moving_sensors(rig: Rig) -> None:
    """A sensor follows what it measures; what counts, counts up, and only itself."""
    each_sensor(rig, move_one)


def move_one(rig: Rig, name: "tuple[str, int]") -> None:
    """Judge whether a sensor reads otherwise once what it measures has changed."""
    ports, _ = prepared(rig)
    before = figures(ports)
    rig.move(*name)
    after = figures(ports)
    must(before[name] != after[name], "%s %d still reads %r" % (name + (after[name],)))
    for other in declared(rig):
        if other[0] in COUNTS and other != name:
            must(before[other] == after[other], "%s %d counts for %s %d" % (other + name))


def check_reading_sensors(rig: Rig) -> None:
    """Every sensor that there is reads, and nothing else does."""
    ports, _ = prepared(rig)
    reads = declared(rig)
    found = figures(ports)
    for name in reads:
        must(found.get(name) is not None, "%s %d reads nothing" % name)
    for name in sorted(found):
        if name not in reads:
            told = "%s %d reads %r, and the rig has none" % (name + (found[name],))
            must(found[name] is None, told)


def check_seen(rig: Rig) -> None:
    """Readings are integers or None, one a zone or supply; counts never go back."""
    ports, _ = prepared(rig)
    before: "dict[tuple[str, int], Any]" = {}
    for _ in range(3):
        seen = ports.look()
        must(len(seen.soil_vwc_ppt) >= rig.zones, "too few soil readings")
        must(len(seen.meter_ml) >= rig.supplies, "too few meter readings")
        found = figures(ports)
        for name in sorted(found):
            value = found[name]
            told = "%s %d reads %r" % (name + (value,))
            kind = bool if name[0] == "rain_wet" else int
            must(value is None or type(value) is kind, told + ", not of " + kind.__name__)
            then = before.get(name)
            if name[0] in COUNTS and value is not None and then is not None:
                must(value >= then, "%s after %r" % (told, then))
        before = found
        rig.wait(1)


def check_asked_once(rig: Rig) -> None:
    """A command is handed over once."""
    ports = rig.boot(False)
    ports.take_asked()
    must(ports.take_asked() == [], "take_asked gave something twice")


def check_store(rig: Rig) -> None:
    """What is written reads back, also after a power cut, and touches no other copy."""
    ports = rig.boot(False)
    places = [(slot, copy) for slot in (RECORD, PLAN) for copy in (0, 1)]
    for size in _SIZES + (3,):
        for slot, copy in places:
            data = bytes([(size + slot * 2 + copy) & 255]) * size
            ports.write(slot, copy, data)
            must(ports.read(slot, copy) == data, "%d bytes did not read back" % size)
        for _ in range(2):
            for slot, copy in places:
                data = bytes([(size + slot * 2 + copy) & 255]) * size
                must(ports.read(slot, copy) == data, "copy %d.%d is not as written" % (slot, copy))
            ports = rig.boot(True)


def check_torn_write(rig: Rig) -> None:
    """A power cut in a write leaves the other copy as it was, and the hub starts from it."""
    for size in (0, 1, 20, 60):
        ports, runner = prepared(rig)
        boots = runner.hub.record.boots
        rig.cut_in_write(size)
        try:
            ports.asked = [(ASK_RUN_ANYWAY, 0, RUN_S)]
            runner.turn()
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                raise
        again = started(Through(rig.boot(True)))
        must(again.hub.record.boots == boots + 1, "the record is lost after a torn write")


def check_clock(rig: Rig) -> None:
    """A clock that was lost reads None; once set it goes on, through a restart as well."""
    rig.boot(False)
    rig.lose_clock()
    ports, runner = prepared(rig, True)
    must(ports.wall_s() is None, "a lost clock reads %r" % ports.wall_s())
    ports.asked = [(ASK_CLOCK, -1, NOON_S)]
    runner.turn()
    now_s = ports.wall_s()
    must(now_s is not None and 0 <= now_s - NOON_S <= SLACK_S, "set, it reads %r" % now_s)
    rig.wait(5)
    later_s = ports.wall_s()
    must(later_s is not None and now_s is not None, "the clock is lost again")
    must(4 <= (later_s or 0) - (now_s or 0) <= 5 + SLACK_S, "then it reads %r" % later_s)
    must(runner.hub.clock.trusted, "the hub does not trust the clock that was set")
    again_s = rig.boot(False).wall_s()
    must(again_s is not None, "a restart lost the clock")
    must(4 <= (again_s or 0) - NOON_S <= APART_S, "after a restart it reads %r" % again_s)


def check_set_clock(rig: Rig) -> None:
    """`set_wall_s` sets, and takes no time that cannot be; or it raises, and the clock is right."""
    ports = rig.boot(False)
    fixed = raises(ports.set_wall_s, NOON_S)
    now_s = ports.wall_s()
    must(now_s is None or (type(now_s) is int and 0 < now_s < WALL_MAX), "it reads %r" % now_s)
    if fixed:
        if now_s is not None:
            apart_s = now_s - rig.utc_s()
            must(abs(apart_s) <= APART_S, "it cannot be set, and is %d s ahead" % apart_s)
        return
    must(now_s is not None and 0 <= now_s - NOON_S <= SLACK_S, "set, it reads %r" % now_s)
    must(raises(ports.set_wall_s, WALL_MAX), "a clock was set to 2100")
    now_s = ports.wall_s()
    must(now_s is not None and 0 <= now_s - NOON_S <= SLACK_S, "then it reads %r" % now_s)


def check_failing_clock(rig: Rig) -> None:
    """A clock that does not answer at boot raises or reads None."""
    prepared(rig)
    ports = rig.boot(False)
    rig.fail("clock", 0)
    must(raises(ports.wall_s) or ports.wall_s() is None, "a mute clock reads a time")


def check_uptime(rig: Rig) -> None:
    """Uptime is whole seconds, and goes on as time does."""
    ports = rig.boot(False)
    last_s = ports.up_s()
    must(type(last_s) is int, "not an integer: %r" % (last_s,))
    must(0 <= last_s < 3600, "uptime begins at %d" % last_s)
    for seconds in (1, 3, 5):
        rig.wait(seconds)
        now_s = ports.up_s()
        must(now_s - last_s >= seconds - 1, "%d s more after %d s" % (now_s - last_s, seconds))
        must(now_s - last_s <= seconds + SLACK_S, "%d s after %d s" % (now_s - last_s, seconds))
        last_s = now_s


def check_uptime_and_a_set_clock(rig: Rig) -> None:
    """Uptime does not move when the clock is set."""
    ports = rig.boot(False)
    for wall_s in (NOON_S, NOON_S - 86400, NOON_S + 86400):
        before_s = ports.up_s()
        raises(ports.set_wall_s, wall_s)
        must(0 <= ports.up_s() - before_s <= SLACK_S, "uptime moved with the clock")


def check_uptime_and_a_stepped_clock(rig: Rig) -> None:
    """Uptime does not move when something else sets the machine's clock."""
    ports = rig.boot(False)
    for step_s in (-86400, 90000):
        before_s = ports.up_s()
        rig.step_clock(step_s)
        moved_s = ports.up_s() - before_s
        rig.step_clock(-step_s)
        must(0 <= moved_s <= SLACK_S, "uptime moved by %d s with the clock" % moved_s)


def check_watchdog(rig: Rig) -> None:
    """`feed` feeds the watchdog, and nothing else does."""
    ports, runner = prepared(rig)
    bare = ports.ports
    before = rig.fed()
    bare.look()
    raises(bare.wall_s)
    bare.take_asked()
    bare.read(RECORD, 0)
    bare.write(RECORD, 1, b"")
    bare.open(0, 600)
    bare.close(0)
    bare.report((OPENED, 0, 0, 0, 0, 1, 0, -1))
    rig.wait(1)
    must(rig.fed() == before, "the watchdog is fed from more than one place")
    bare.feed()
    must(rig.fed() == before + 1, "feed does not feed the watchdog")
    runner.turn()
    must(rig.fed() == before + 2, "a turn fed the watchdog %d times" % (rig.fed() - before - 1))


def check_early_turns(rig: Rig) -> None:
    """Turns with nothing new command nothing."""
    ports, runner = prepared(rig)
    for _ in range(_TURNS):
        runner.turn()
    must(ports.did == [], "turns with nothing new did %s" % ports.did)


def check_report(rig: Rig) -> None:
    """Every code of an event can be shown."""
    ports = rig.boot(False)
    for why in range(len(WHY)):
        what = why % len(WHAT)
        ports.report((what, why % 13 - 1, why, 7, 0, 1, 5, -1 if why % 2 else NOON_S))


def check_run(rig: Rig) -> None:
    """A run from end to end: written down, opened, shut in time."""
    ports, runner = prepared(rig)
    ask_run(ports, runner, 0)
    kinds = [did[0] for did in ports.did]
    must("open" in kinds, "a run that was asked for did not open: %s" % ports.did)
    must("write" in kinds[: kinds.index("open")], "opened with nothing written down")
    shut = ("close", 0)
    waited_s = 0
    while waited_s <= RUN_S and shut not in ports.did:
        rig.wait(5)
        waited_s += 5
        runner.turn()
    must(shut in ports.did, "a run of %d s did not end" % RUN_S)
    must(waited_s >= RUN_S - 5, "a run of %d s ended after %d s" % (RUN_S, waited_s))


def checks() -> "list[tuple[str, Check]]":
    """Name and function of every check, in the order of their names."""
    names = globals()
    return [(name[6:], names[name]) for name in sorted(names) if name.startswith("check_")]
