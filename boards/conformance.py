"""Proves a board's ports against the contract of `controller/README.md`, there or on a desktop.

    python -m boards.conformance MODULE

MODULE holds a class `Rig`, which makes the ports and provokes faults; see `Rig` below. MicroPython
takes the same command; on a board, type `from boards.conformance import prove`, `import rig`,
`prove(rig.Rig())`. It writes over plan and record, and opens valves for seconds: shut the spigot.

A check for which the rig has no hook is `not shown`, with the hook's name; it does not pass.
"""

# Not `assert`: mpy-cross drops it.

import sys

from boards.words import WHAT, WHY
from controller._const import TYPE_CHECKING, const
from controller.events import ALARM, DRIVER, OPENED, STORE
from controller.limits import WALL_MAX
from controller.plan import HubPart, Plan, RowPart, SupplyPart, ZonePart
from controller.ports import ASK_CLOCK, ASK_RUN_ANYWAY, ASK_STOP, PLAN, RECORD, Seen
from controller.runner import Runner

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from controller.plan import Part
    from controller.ports import Asked, Ports

    Check = Callable[["Rig"], None]

RUN_S = const(60)  # the shortest run there is
DEADLINE_S = const(3)
SLACK_S = const(2)  # a second begun, at either end
NOON_S = const(836222400)  # 2026-07-01 12:00 UTC: a time to set clocks to
_TURNS = const(20)
_SIZES = (1, 40, 256, 700)  # bytes: a record is at most 256, a plan a few hundred


class NotShown(Exception):
    """The rig cannot provoke or see what a check needs; `args[0]` is the hook."""


class Rig:
    """What the kit needs of a board. Make your own from this; leave out what cannot be done.

    zones, supplies: how many the ports are made for; held: the valves are held ones
    """

    zones = 2
    supplies = 1
    held = 0

    def boot(self, power_cut: bool) -> "Ports":
        """Boot: everything up to where `Runner` is to be made, and return the ports.

        power_cut: RAM is lost either way; the clock may be lost as well
        """
        raise NotShown("boot")

    def wait(self, seconds: int) -> None:
        """Let time pass, with nothing called: real time, or a simulated one's."""
        raise NotShown("wait")

    def is_open(self, valve: int) -> bool:
        """Whether water would flow: read from the pin or the valve, not from what was commanded."""
        raise NotShown("is_open")

    def order(self) -> "list[str]":
        """What the board did since the last boot, in order; `close N` when valve N was shut."""
        raise NotShown("order")

    def fail(self, what: str, valve: int) -> None:
        """Have `open` or `close` of a valve, `write`, `look` or `clock` fail until the next boot.

        As the hardware does: a bus that does not answer, a file system that is full.
        """
        raise NotShown("fail " + what)

    def cut_in_write(self, size: int) -> None:
        """Have power go in the next write, after `size` bytes: `write` raises, whatever it is."""
        raise NotShown("cut_in_write")

    def lose_clock(self) -> None:
        """Boots after this find that the clock has lost the time."""
        raise NotShown("lose_clock")

    def step_clock(self, seconds: int) -> None:
        """Somebody else moves the machine's clock."""
        raise NotShown("step_clock")

    def fed(self) -> int:
        """How often the watchdog was fed since the last boot."""
        raise NotShown("fed")


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


# The checks: each boots a board of its own.


def check_closed_at_boot(rig: Rig) -> None:
    """A valve left open is shut by the next boot."""
    ports = rig.boot(False)
    for valve in range(rig.zones):
        ports.open(valve, 600)
        must(rig.is_open(valve), "valve %d did not open" % valve)
        Runner(Through(prepared(rig)[0].ports))
        must(not rig.is_open(valve), "valve %d is open after a boot" % valve)
        ports = rig.boot(False)


def check_closed_before_anything(rig: Rig) -> None:
    """The first thing a boot does is to shut every valve."""
    prepared(rig)
    ports = rig.boot(True)
    Runner(ports)
    first = rig.order()[: rig.zones]
    wanted = ["close %d" % valve for valve in range(rig.zones)]
    must(sorted(first) == wanted, "a boot began with %s" % first)


def check_valves(rig: Rig) -> None:
    """Each valve opens and shuts itself, and no other; shutting twice is no fault."""
    ports = rig.boot(False)
    valves = range(rig.zones)
    for valve in valves:
        ports.close(valve)
    for valve in valves:
        ports.open(valve, 600)
        found = [other for other in valves if rig.is_open(other)]
        must(found == [valve], "open %d opened %s" % (valve, found))
        ports.close(valve)
        ports.close(valve)
        must(not rig.is_open(valve), "close %d left it open" % valve)


def check_deadline(rig: Rig) -> None:
    """A valve shuts by itself after its deadline, with nothing called, and not before."""
    ports = rig.boot(False)
    ports.open(0, DEADLINE_S)
    rig.wait(1)
    must(rig.is_open(0), "the deadline shut the valve too early")
    rig.wait(DEADLINE_S + SLACK_S)
    must(not rig.is_open(0), "the valve is open after its deadline")
    ports.close(0)
    ports.open(0, DEADLINE_S)
    ports.close(0)
    ports.open(0, 600)
    rig.wait(DEADLINE_S + SLACK_S)
    must(rig.is_open(0), "the deadline of an earlier opening shut a later one")
    ports.close(0)


def check_failing_driver_is_reported(rig: Rig) -> None:
    """What a valve's driver cannot do raises, and the hub says so."""
    for what in ("open", "close"):
        ports, runner = prepared(rig)
        rig.fail(what, 0)
        if what == "close":
            must(raises(ports.ports.close, 0), "a close that failed did not raise")
            ask_run(ports, runner, 0)
            ports.asked = [(ASK_STOP, 0, 0)]
            runner.turn()
        else:
            must(raises(ports.ports.open, 0, 600), "an open that failed did not raise")
            ask_run(ports, runner, 0)
        must(("report", ALARM, DRIVER) in ports.did, "no alarm for a driver whose %s fails" % what)
        rig.boot(False)


def check_failing_store_is_reported(rig: Rig) -> None:
    """A write that fails raises or does not read back; the hub says so, and opens nothing."""
    ports, runner = prepared(rig)
    rig.fail("write", 0)
    ask_run(ports, runner, 0)
    must(("report", ALARM, STORE) in ports.did, "no alarm for a store that fails")
    must("open" not in [did[0] for did in ports.did], "opened with nothing written")


def check_failing_sensors(rig: Rig) -> None:
    """Sensors that do not answer raise or read None, and never a figure."""
    ports, runner = prepared(rig)
    rig.fail("look", 0)
    try:
        seen = ports.look()
        read = [seen.temp_mc, seen.battery_mv] + seen.soil_vwc_ppt
        must(not any(value is not None for value in read), "a mute sensor reads %s" % read)
    except AssertionError:
        raise
    except Exception:
        pass
    must(runner.turn() > 0, "the hub stopped for a sensor")


def check_seen(rig: Rig) -> None:
    """Readings are integers or None, one a zone or supply; counts never go back."""
    ports, _ = prepared(rig)
    before = None
    for _ in range(3):
        seen = ports.look()
        must(len(seen.soil_vwc_ppt) >= rig.zones, "too few soil readings")
        must(len(seen.meter_ml) >= rig.supplies, "too few meter readings")
        read = [seen.rain_um, seen.temp_mc, seen.battery_mv]
        for value in read + seen.soil_vwc_ppt + seen.meter_ml:
            must(value is None or type(value) is int, "not an integer: %r" % (value,))
        must(seen.rain_wet in (None, True, False), "rain_wet is %r" % (seen.rain_wet,))
        counts = [seen.rain_um] + seen.meter_ml
        for now, then in zip(counts, before or counts):
            must(now is None or then is None or now >= then, "a count went back")
        before = counts
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
    must(runner.hub.days.trusted, "the hub does not trust the clock that was set")


def check_set_clock(rig: Rig) -> None:
    """`set_wall_s` sets or raises, and takes no time that cannot be."""
    ports = rig.boot(False)
    if not raises(ports.set_wall_s, NOON_S):
        now_s = ports.wall_s()
        must(now_s is not None and 0 <= now_s - NOON_S <= SLACK_S, "set, it reads %r" % now_s)
        must(raises(ports.set_wall_s, WALL_MAX), "a clock was set to 2100")
    now_s = ports.wall_s()
    must(now_s is None or (type(now_s) is int and 0 < now_s < WALL_MAX), "it reads %r" % now_s)


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
    """Every event can be shown."""
    ports = rig.boot(False)
    for what in range(len(WHAT)):
        for why in range(len(WHY)):
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


def prove(rig: Rig, say: "Callable[[str], None]" = print) -> bool:
    """Run every check. Returns whether none failed; what was not shown is said."""
    counts = {True: 0, False: 0, None: 0}
    for name, check in checks():
        passed, told = judge(check, rig)
        counts[passed] += 1
        word = {True: "ok", False: "FAILED", None: "not shown"}[passed]
        tail = {True: "", False: ": " + told, None: ": the rig has no " + told}[passed]
        say("%-9s %s%s" % (word, name, tail))
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
    from boards import conformance  # the module that the rig imports, not this copy of it

    sys.exit(conformance.main())
