"""The ports of a hub on a microcontroller, made of drivers, and what a pin map is made of.

A board's `pins.py` has its valves by `valve_on`, and whatever it measures with as `Sensors`.
`common.py` boots a `Board` and keeps it going.
"""

from time import sleep_ms

import machine

from evenclay.boards.drivers.clock import Clock
from evenclay.boards.drivers.deadline import Deadline
from evenclay.boards.drivers.note import Marked
from evenclay.boards.drivers.sleep import Uptime
from evenclay.boards.drivers.store import FileStore
from evenclay.boards.drivers.thermometer import CONVERT_MS
from evenclay.boards.drivers.valves import HeldValve, LatchingValve, NoValve
from evenclay.controller import const
from evenclay.controller.limits import SUPPLIES_MAX, ZONES_MAX
from evenclay.controller.plan import PlanError, unpack
from evenclay.controller.ports import ASK_PLAN, NOTE, PLAN, Seen

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any, Protocol

    from machine import WDT, Timer

    from evenclay.boards.drivers.battery import Battery
    from evenclay.boards.drivers.contact import Contact
    from evenclay.boards.drivers.counter import FlowMeter, RainGauge
    from evenclay.boards.drivers.power import PowerGood
    from evenclay.boards.drivers.soil import CapacitiveProbe, GranularMatrix
    from evenclay.boards.drivers.thermometer import Ds18b20
    from evenclay.boards.drivers.valves import Coils
    from evenclay.boards.talk.button import Button
    from evenclay.boards.talk.console import Console
    from evenclay.boards.talk.light import Light
    from evenclay.boards.talk.words import Desk
    from evenclay.controller.plan import Plan
    from evenclay.controller.ports import Asked
    from evenclay.controller.runner import Runner

    Probe = CapacitiveProbe | GranularMatrix

    class Valve(Protocol):
        """A valve of any kind. What cannot be done raises OSError.

        One that shuts by itself when power goes has an attribute `held`, which is True.
        """

        def open(self) -> None: ...

        def close(self) -> None: ...

        def shut_now(self) -> bool:
            """Close from an interrupt. Returns False where that is not possible now."""

        def cut(self) -> None:
            """Switch off a coil that was left live."""


_USUAL_SOIL_MC = const(20000)  # where no thermometer is in the soil
_TALK_MS = const(250)  # no look at the console takes longer, even if it loads a module (a guess)


class Sensors:
    """Whatever a board measures with; None or an empty list: it has none.

    probes: a zone each, None where a zone has none
    meters: a supply each, None where a supply has none
    """

    def __init__(
        self,
        rain: "RainGauge | None" = None,
        contact: "Contact | None" = None,
        probes: "list[Probe | None] | tuple[()]" = (),
        meters: "list[FlowMeter | None] | tuple[()]" = (),
        air: "Ds18b20 | None" = None,
        soil: "Ds18b20 | None" = None,
        battery: "Battery | None" = None,
    ) -> None:
        self.rain = rain
        self.contact = contact
        self.probes = probes
        self.meters = meters
        self.air = air
        self.soil = soil
        self.battery = battery


class Board:
    """The ports of `evenclay.controller.ports`, put together from drivers.

    console, light, button: for the owner; power: whether the supply fails; each None without one
    """

    light: "Light | None" = None
    button: "Button | None" = None
    power: "PowerGood | None" = None
    _runner: "Runner | None" = None
    _told: "list[tuple[int, ...]] | None" = None  # while an owner waits for an answer

    def __init__(
        self,
        zones: "list[Valve]",
        masters: "list[Valve]",
        deadline_timer: "Timer",
        hard: bool,
        clock: Clock,
        sensors: Sensors,
        store: FileStore,
        console: "Console | None",
        note: Marked,
    ) -> None:
        self._zones = zones
        self._masters = masters
        self._by_number: "list[Valve]" = zones + masters
        self.valves = len(self._by_number)
        self._places = list(range(self.valves))
        self.deadline = Deadline(deadline_timer, self._by_number, hard)
        self._clock = clock
        self.sensors = sensors
        self._store = store
        self.console = console
        self.note = note
        self.watchdog: "WDT | None" = None
        self.replanned = False  # a plan was written: valves keep their old numbers until a restart
        self._asked: "list[Asked]" = []
        self.due_s = 0  # when the hub is due: slow sensors are read then, and not before
        self._uptime = Uptime()
        self._seen = Seen(ZONES_MAX, SUPPLIES_MAX)

    def serve(self, runner: "Runner") -> None:
        """See to the owner of this runner's hub from now on."""
        self._runner = runner
        if self.console is not None:
            self.console.serve(self._desk)

    def use(self, plan: "Plan") -> None:
        """Number the valves as `plan` does: its zones, then a master a supply.

        Raises:
            PlanError: the pin map does not have what the plan needs.
        """
        self._see_wires(plan)
        zones, supplies = len(plan.zones), len(plan.supplies)
        first = len(self._zones)
        self._places = list(range(zones)) + list(range(first, first + supplies))
        self.valves = zones + supplies
        self._seen = Seen(zones, supplies)

    def _see_wires(self, plan: "Plan") -> None:
        """Raise PlanError unless the pin map has what the plan needs."""
        zones, supplies = len(plan.zones), len(plan.supplies)
        if zones > len(self._zones):
            raise PlanError("%d zones, and the pin map has %d valves" % (zones, len(self._zones)))
        if supplies > len(self._masters):
            raise PlanError("%d supplies, the pin map has %d" % (supplies, len(self._masters)))
        for zone, part in enumerate(plan.zones):
            if bool(part.held) != getattr(self._zones[zone], "held", False):
                raise PlanError("zone %d: held or latching, plan and pin map differ" % zone)
        for supply, spigot in enumerate(plan.supplies):
            if spigot.master and isinstance(self._masters[supply], NoValve):
                raise PlanError("supply %d has a master valve, the pin map has none" % supply)

    # The ports.

    def up_s(self) -> int:
        """Seconds since boot."""
        return self._uptime.s()

    def wall_s(self) -> "int | None":
        """UTC seconds since 2000-01-01, or None."""
        return self._clock.wall_s(self.up_s())

    def set_wall_s(self, wall_s: int) -> None:
        """Set the clock."""
        self._clock.set(wall_s, self.up_s())

    def look(self) -> Seen:
        """Read the counters always, and the slow sensors when the hub is due or asked."""
        seen = self._seen
        sensors = self.sensors
        if sensors.rain is not None:
            seen.rain_um = sensors.rain.um()
        for supply in range(min(len(sensors.meters), len(seen.meter_ml))):
            meter = sensors.meters[supply]
            if meter is not None:
                seen.meter_ml[supply] = meter.ml()
        if self.power is not None:
            seen.power_fails = self.power.fails()
        if self.up_s() >= self.due_s or self._asked:
            self._measure(seen)
        return seen

    def take_asked(self) -> "list[Asked]":
        """What the owner asks for. A plan that has no wires here is spoilt, so it is refused."""
        asked = self._asked
        self._asked = []
        value: "Any"
        for place, (what, zone, value) in enumerate(asked):
            if what == ASK_PLAN:
                try:
                    self._see_wires(unpack(value))
                except PlanError:
                    asked[place] = (ASK_PLAN, zone, b"")
        return asked

    def close(self, valve: int) -> None:
        """Shut a valve, and take its deadline away."""
        place = self._places[valve]
        self._by_number[place].close()
        self.deadline.disarm(place)

    def open(self, valve: int, deadline_s: int) -> None:
        """Arm a valve's deadline, then open it."""
        if self.replanned:
            raise OSError("a new plan: restart first")
        place = self._places[valve]
        self.deadline.arm(place, deadline_s)
        self._by_number[place].open()

    def read(self, slot: int, copy: int) -> bytes:
        """Bytes last written to a copy."""
        if slot == NOTE:
            return self.note.told
        return self._store.read(slot, copy)

    def write(self, slot: int, copy: int, data: bytes) -> None:
        """Write a copy."""
        if slot == NOTE:
            if not self.note.keep(data):
                raise OSError("note: not kept")
            return
        if slot == PLAN:
            self.replanned = True
        self._store.write(slot, copy, data)

    def report(self, event: "tuple[int, ...]") -> None:
        """Keep an event for whoever waits for it, or for the console to say."""
        if self._told is not None:
            self._told.append(event)
        elif self.console is not None:
            self.console.tell(event)

    def feed(self) -> None:
        """Feed the watchdog: the runner calls this after a good turn, and nothing else does."""
        if self.watchdog is not None:
            self.watchdog.feed()

    # For the owner.

    def give(self, asked: "Asked") -> "list[tuple[int, ...]]":
        """Hand the hub a command, and take a turn. Returns the events by which it answered."""
        assert self._runner is not None
        told: "list[tuple[int, ...]]" = []
        self._told = told
        self._asked.append(asked)
        self._runner.turn()
        self._told = None
        return told

    def attend(self, wake_s: int) -> bool:
        """See to the button, or to a line of the console. Returns whether there may be more.

        wake_s: uptime at which the hub wakes. The console waits if that is near.
        """
        runner = self._runner
        if runner is None:
            return False
        if self.button is not None:
            asked = self.button.asked(runner.hub.clock.wall_s(self.up_s()))
            if asked and not runner.rest_up_s:
                if self.light is not None:
                    self.light.taken()
                for event in self.give(asked):
                    self.report(event)
                return True
        if self.console is None or self._uptime.ms_until(wake_s) < _TALK_MS:
            return False
        return self.console.look()

    def _desk(self) -> "Desk":
        """What an answer of the console needs of the hub; loads what it takes for that."""
        from evenclay.boards.talk.words import Desk, file_text

        assert self._runner is not None
        text = file_text(self._store.folder + "/words")
        desk = Desk(self._runner, self.up_s, self.give, self._seen, text, self.raw)
        desk.power_pin = self.power is not None
        return desk

    def wait_ms(self, wake_s: int) -> int:
        """How long nobody needs the board: until the hub wakes, or light or power are due."""
        wait_ms = self._uptime.ms_until(wake_s)
        if self.light is not None and self._runner is not None:
            wait_ms = min(wait_ms, self.light.show(self._runner, self.up_s()))
        if self.power is not None and self.deadline.armed():
            wait_ms = min(wait_ms, self.power.look_ms)
        return wait_ms

    def raw(self, what: str, number: int) -> str:
        """What a sensor shows before it is converted, as text; "" where that is nothing."""
        sensors = self.sensors
        parts: "dict[str, object]" = {"rain_um": sensors.rain, "battery_mv": sensors.battery}
        rows: "dict[str, list[Any] | tuple[()]]" = {
            "soil_vwc_ppt": sensors.probes,
            "meter_ml": sensors.meters,
        }
        part = parts.get(what)
        if number < len(rows.get(what, ())):
            part = rows[what][number]
        return part.raw() if hasattr(part, "raw") else ""

    def _measure(self, seen: Seen) -> None:
        """Read every slow sensor; one that fails is None, and stops no other."""
        sensors = self.sensors
        waits = False
        for thermometer in (sensors.soil, sensors.air):
            if thermometer is not None:
                _reading(thermometer.convert)
                waits = True
        if waits:
            sleep_ms(CONVERT_MS)
        soil_mc = _USUAL_SOIL_MC
        if sensors.soil is not None:
            found_mc = _reading(sensors.soil.mc)
            soil_mc = _USUAL_SOIL_MC if found_mc is None else found_mc
        for zone in range(min(len(sensors.probes), len(seen.soil_vwc_ppt))):
            probe = sensors.probes[zone]
            if probe is not None:
                seen.soil_vwc_ppt[zone] = _reading(probe.vwc_ppt, soil_mc)
        if sensors.contact is not None:
            seen.rain_wet = sensors.contact.wet()
        if sensors.air is not None:
            seen.temp_mc = _reading(sensors.air.mc)
        if sensors.battery is not None:
            seen.battery_mv = _reading(sensors.battery.mv)


def valve_on(wires: "tuple[int, int] | int | None", coils: "Coils", on: int = 1) -> "Valve":
    """The valve that an entry of a pin map's VALVES or MASTERS stands for, at its shut level.

    wires: (opens, closes), a latching valve's H-bridge; one number, a held valve's pin; None: none
    on: the level that feeds a held valve
    """
    if wires is None:
        return NoValve()
    if isinstance(wires, int):
        return HeldValve(machine.Pin(wires, machine.Pin.OUT, value=1 - on), on)
    opens, closes = [machine.Pin(pin, machine.Pin.OUT, value=0) for pin in wires]
    return LatchingValve(opens, closes, coils)


def _reading(read: "Callable[..., int | None]", *args: int) -> "int | None":
    """What a sensor or clock reads; None if it does not answer."""
    try:
        return read(*args)
    except OSError:
        return None
