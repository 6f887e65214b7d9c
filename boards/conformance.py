"""Proves a board's ports against the contract of `controller/README.md`, there or on a desktop.

    python -m evenclay.boards.conformance MODULE

MODULE holds a class `Rig`, which makes the ports and provokes faults; see `Rig` below. MicroPython
takes the same command. On a board, type `from evenclay.boards.conformance import prove`, then
`from evenclay.boards.NAME import rig`, then `prove(rig.Rig())`. It opens valves for seconds: shut
the spigot. It writes over plan and record, and puts them back at its end; if it was cut off before,
copy the plan anew. It sets the clock to a time of its own: set it right afterwards.

A check for which the rig has no hook is `not shown`, with the hook's name; it does not pass. Each
check says its name as it begins; all verdicts come last.
"""

# Not `assert`: mpy-cross drops it.

import sys

from evenclay.controller._const import TYPE_CHECKING, const
from evenclay.controller.events import ALARM, DRIVER, OPENED, STORE
from evenclay.controller.limits import WALL_MAX
from evenclay.controller.plan import HubPart, Plan, RowPart, SupplyPart, ZonePart
from evenclay.controller.ports import ASK_CLOCK, ASK_RUN_ANYWAY, ASK_STOP, PLAN, RECORD, Seen
from evenclay.controller.runner import Runner
from evenclay.controller.words import WHAT, WHY

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from evenclay.controller.plan import Part
    from evenclay.controller.ports import Asked, Ports

    Check = Callable[["Rig"], None]

RUN_S = const(60)  # the shortest run there is
DEADLINE_S = const(3)
SLACK_S = const(2)  # a second begun, at either end
NOON_S = const(836222400)  # 2026-07-01 12:00 UTC: a time to set clocks to
APART_S = const(60)  # the most that two good clocks differ by, and the longest that a boot takes
_TURNS = const(20)
_LEAK_S = const(10)  # to watch the meters for
_SIZES = (1, 40, 256, 700)  # bytes: a record is at most 256, a plan a few hundred
# What a sensor may read: the fields of `Seen`. Those of _COUNTS never go back.
_KINDS = ("rain_um", "rain_wet", "soil_vwc_ppt", "temp_mc", "battery_mv", "meter_ml")
_COUNTS = ("rain_um", "meter_ml")


class NotShown(Exception):
    """The rig cannot provoke or see what a check needs; `args[0]` is the hook."""


class Rig:
    """What the kit needs of a board. Make your own from this; leave out what cannot be done.

    zones, supplies: how many the ports are made for; held: the valves are held ones
    travel_s: the longest time that a valve takes to move: a motorised one needs some seconds
    reads: every sensor that there is, as (field of `Seen`, zone or supply, else 0), such as
        ("temp_mc", 0) or ("meter_ml", 1). These must read, and nothing else may. (): no sensor
    """

    zones = 2
    supplies = 1
    held = 0
    travel_s = 0
    reads: "tuple[tuple[str, int], ...] | None" = None

    def boot(self, power_cut: bool) -> "Ports":
        """Boot: everything up to where `Runner` is to be made, and return the ports.

        power_cut: RAM is lost either way; the clock may be lost as well
        """
        raise NotShown("boot")

    def wait(self, seconds: int) -> None:
        """Let time pass, with nothing called: real time, or a simulated one's."""
        raise NotShown("wait")

    def is_open(self, valve: int) -> "bool | None":
        """Whether water would flow: read from the pin or the valve, not from what was commanded.

        None: this supply has no master valve.
        """
        raise NotShown("is_open")

    def order(self) -> "list[str]":
        """What the board did since the last boot, in order; `close N` when valve N was shut."""
        raise NotShown("order")

    def fail(self, what: str, number: int) -> None:
        """Have `open` or `close` of a valve, `write`, `clock` or a sensor fail until the next boot.

        As the hardware does: a bus that does not answer, a file system that is full. A sensor is
        named as in `reads`; one that cannot tell that it fails, such as a contact, is `NotShown`.
        """
        raise NotShown("fail " + what)

    def move(self, what: str, number: int) -> None:
        """Change what a sensor of `reads` measures: tip the bucket, let water run, warm it.

        On a bench a line that asks a person to do it, and waits for Enter, is enough.
        """
        raise NotShown("move " + what)

    def cut_in_write(self, size: int) -> None:
        """Have power go in the next write, after `size` bytes: `write` raises, whatever it is."""
        raise NotShown("cut_in_write")

    def lose_clock(self) -> None:
        """Boots after this find that the clock has lost the time."""
        raise NotShown("lose_clock")

    def utc_s(self) -> int:
        """UTC seconds since 2000-01-01 by another way than the ports'."""
        raise NotShown("utc_s")

    def step_clock(self, seconds: int) -> None:
        """Somebody else moves the machine's clock."""
        raise NotShown("step_clock")

    def fed(self) -> int:
        """How often the watchdog was fed since the last boot."""
        raise NotShown("fed")

    def leave(self) -> None:
        """All is over, also where somebody broke it off: leave the board as `boot` found it."""


class Through:
    """The ports under test, with an owner of the kit's own, and a note of every command."""

    def __init__(self, ports: "Ports") -> None:
        self.ports = ports
        self.valves = ports.valves
        self.asked: "list[Asked]" = []
        self.did: "list[tuple[Any, ...]]" = []

    def take_asked(self) -> "list[Asked]":
        asked = self.asked + self.ports.take_asked()
        self.asked = []
        return asked

    def close(self, valve: int) -> None:
        self.did.append(("close", valve))
        self.ports.close(valve)

    def open(self, valve: int, deadline_s: int) -> None:
        self.did.append(("open", valve, deadline_s))
        self.ports.open(valve, deadline_s)

    def write(self, slot: int, copy: int, data: bytes) -> None:
        self.did.append(("write", slot))
        self.ports.write(slot, copy, data)

    def report(self, event: "tuple[int, ...]") -> None:
        self.did.append(("report", event[0], event[2]))
        self.ports.report(event)

    def up_s(self) -> int:
        return self.ports.up_s()

    def wall_s(self) -> "int | None":
        return self.ports.wall_s()

    def set_wall_s(self, wall_s: int) -> None:
        self.ports.set_wall_s(wall_s)

    def look(self) -> Seen:
        return self.ports.look()

    def read(self, slot: int, copy: int) -> bytes:
        return self.ports.read(slot, copy)

    def feed(self) -> None:
        self.ports.feed()


def must(truth: object, told: str) -> None:
    """Raise AssertionError unless `truth`."""
    if not truth:
        raise AssertionError(told)


def raises(function: "Callable[..., object]", *args: object) -> bool:
    """Whether a port says that it could not."""
    try:
        function(*args)
    except Exception:
        return True
    return False


def nothing(kind: "type[Part]") -> "dict[str, object]":
    """Every field of a kind of part, 0."""
    fields: "dict[str, object]" = {}
    for name in kind.FIELDS.split()[::2]:
        fields[name] = 0
    return fields


def plan_for(rig: Rig) -> bytes:
    """A plan that waters nothing by itself: no cycle, no sensor."""
    hub = nothing(HubPart)
    for name in ("on_month", "on_week", "off_month", "off_week", "open_max", "trim_gap_days"):
        hub[name] = 1
    hub.update({"weekdays": 127, "trim_most_pct": 100, "poll_s": 3600, "watch_s": 600})
    zone = nothing(ZonePart)
    zone.update({"share_pct": 100, "cap_s": 7200, "longest_s": 3600, "held": rig.held})
    row = nothing(RowPart)
    row.update({"month": 1, "day": 1})
    supply = nothing(SupplyPart)
    zones = []
    for tag in range(1, rig.zones + 1):
        zone["tag"] = tag
        zone["name"] = "zone %d" % tag
        zones.append(ZonePart(zone))
    supplies = [SupplyPart(supply) for _ in range(rig.supplies)]
    return Plan(HubPart(hub), supplies, zones, [RowPart(row)], []).pack()


def prepared(rig: Rig, power_cut: bool = False) -> "tuple[Through, Runner]":
    """Boot, and run the hub under the kit's plan until it has nothing to do."""
    blank = rig.boot(False)
    for copy in (0, 1):
        blank.write(RECORD, copy, b"")
        blank.write(PLAN, copy, plan_for(rig))
    ports = Through(rig.boot(power_cut))
    return ports, started(ports)


def started(ports: Through) -> Runner:
    runner = Runner(ports)
    runner.turn()
    ports.did = []
    return runner


def ask_run(ports: Through, runner: Runner, valve: int) -> None:
    """Have an owner open a zone for the shortest run, against whatever may be overridden."""
    ports.asked = [(ASK_RUN_ANYWAY, valve, RUN_S)]
    runner.turn()


def masters(rig: Rig) -> "list[int]":
    """The master valves that there are; the rig has booted."""
    first = rig.zones
    return [valve for valve in range(first, first + rig.supplies) if rig.is_open(valve) is not None]


def opened(rig: Rig, ports: "Ports", valve: int, deadline_s: int = 600) -> None:
    """Open a valve, and wait until it has moved."""
    ports.open(valve, deadline_s)
    rig.wait(rig.travel_s)


def closed(rig: Rig, ports: "Ports", valve: int) -> None:
    """Shut a valve, and wait until it has moved."""
    ports.close(valve)
    rig.wait(rig.travel_s)


def figures(ports: "Ports | Through") -> "dict[tuple[str, int], Any]":
    """What every sensor reads now, by its name in `reads`."""
    seen = ports.look()
    found: "dict[tuple[str, int], Any]" = {}
    for what in _KINDS:
        value = getattr(seen, what)
        values = value if isinstance(value, list) else [value]
        for number in range(len(values)):
            found[(what, number)] = values[number]
    return found


def declared(rig: Rig) -> "tuple[tuple[str, int], ...]":
    """The sensors that must read; the rig has booted."""
    reads = rig.reads
    if reads is None:
        raise NotShown("reads")
    return reads


def each_sensor(rig: Rig, judged: "Callable[[Rig, tuple[str, int]], None]") -> None:
    """Judge every sensor; a hook that one of them lacks is told once all the others are judged."""
    rig.boot(False)
    reads = declared(rig)
    missing = None if reads else NotShown("sensor")
    for name in reads:
        try:
            judged(rig, name)
        except NotShown as lacking:
            missing = missing or lacking
    if missing is not None:
        raise missing


# The checks: each boots a board of its own.


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
        if other[0] in _COUNTS and other != name:
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
            if name[0] in _COUNTS and value is not None and then is not None:
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


def judge(check: "Check", rig: Rig) -> "tuple[bool | None, str]":
    """(True, ""), (False, what is wrong), or (None, the hook that is missing)."""
    try:
        check(rig)
    except NotShown as missing:
        return None, missing.args[0]
    except Exception as error:
        return False, "%s: %s" % (type(error).__name__, error)
    return True, ""


def stored(rig: Rig) -> "dict[tuple[int, int], bytes]":
    """What the store holds, by slot and copy; nothing where it cannot be read."""
    kept: "dict[tuple[int, int], bytes]" = {}
    try:
        ports = rig.boot(False)
        for slot in (PLAN, RECORD):
            for copy in (0, 1):
                kept[(slot, copy)] = ports.read(slot, copy)
    except Exception:
        kept.clear()
    return kept


def given_back(rig: Rig, kept: "dict[tuple[int, int], bytes]") -> bool:
    """Write what the store held before. Returns whether it reads back."""
    try:
        ports = rig.boot(False)
        for (slot, copy), data in kept.items():
            ports.write(slot, copy, data)
            if ports.read(slot, copy) != data:
                return False
        return True
    except Exception:
        return not kept


def prove(rig: Rig, say: "Callable[[str], None]" = print) -> bool:
    """Run every check, then say all verdicts. Returns whether none failed."""
    kept = stored(rig)
    counts = {True: 0, False: 0, None: 0}
    verdicts = []
    try:
        for name, check in checks():
            say("begins    " + name)
            passed, told = judge(check, rig)
            counts[passed] += 1
            word = {True: "ok", False: "FAILED", None: "not shown"}[passed]
            tail = {True: "", False: ": " + told, None: ": the rig has no " + told}[passed]
            verdicts.append("%-9s %s%s" % (word, name, tail))
    finally:  # Ctrl-C too leaves no plan of the kit's behind
        if not given_back(rig, kept):
            say("plan and record could not be put back: copy the plan anew")
        rig.leave()
    for verdict in verdicts:
        say(verdict)
    version = ".".join([str(part) for part in sys.implementation.version[:3]])
    say(
        "%d ok, %d failed, %d not shown, on %s %s"
        % (counts[True], counts[False], counts[None], sys.implementation.name, version)
    )
    return counts[False] == 0


def main() -> int:
    """Prove the rig that is named. Returns the exit status."""
    if len(sys.argv) != 2:
        print(__doc__)
        return 2
    try:
        found = __import__(sys.argv[1], None, None, ["Rig"]).Rig()
    except (ImportError, AttributeError) as error:
        print("%s: no rig: %s" % (sys.argv[1], error))
        return 2
    return 0 if prove(found) else 1


if __name__ == "__main__":
    from evenclay.boards import conformance  # the module that the rig imports, not this copy of it

    sys.exit(conformance.main())
