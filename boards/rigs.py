"""What the conformance kit needs of a board, and how it drives one.

`conformance` says how to use it; `port_checks` holds the checks.
"""

from evenclay.controller import TYPE_CHECKING, const
from evenclay.controller.plan import HubPart, Plan, RowPart, SupplyPart, ZonePart
from evenclay.controller.ports import ASK_RUN_ANYWAY, PLAN, RECORD, Seen
from evenclay.controller.runner import Runner

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from evenclay.controller.plan import Part
    from evenclay.controller.ports import Asked, Ports

RUN_S = const(60)  # the shortest run there is
# What a sensor may read: the fields of `Seen`. Those of COUNTS never go back.
KINDS = ("rain_um", "rain_wet", "soil_vwc_ppt", "temp_mc", "battery_mv", "meter_ml")
COUNTS = ("rain_um", "meter_ml")


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


# Not `assert`: mpy-cross drops it.
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
    for name in ("on_month", "on_week", "off_month", "off_week", "open_max"):
        hub[name] = 1
    hub.update({"weekdays": 127, "poll_s": 3600, "watch_s": 600, "sun_um": (0,) * 24})
    zone = nothing(ZonePart)
    zone.update({"share_pct": 100, "cap_s": 7200, "longest_s": 3600, "held": rig.held})
    row = nothing(RowPart)
    row.update({"month": 1, "day": 1, "starts_min": ()})
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
    for what in KINDS:
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
