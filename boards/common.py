"""What every microcontroller does alike: boot, the ports of the hub, the main loop.

A board's folder is a pin map, `pins.py`; the `main.py` of a bundle hands it to `run`. Boot order:

1. every valve pin is driven to its shut level, and every valve is told to close;
2. the reason of the boot is found; plan, clock and sensors are set up;
3. the hub starts, closes every valve once more, and from then on the watchdog must be fed.

Whatever is raised after that closes every valve and is kept in the note; the hub rests then, for a
minute or longer. The board restarts if there is no hub yet, or no memory left.
"""

import sys
from time import sleep_ms

import machine

from evenclay.boards.drivers.clock import Clock
from evenclay.boards.drivers.deadline import Deadline
from evenclay.boards.drivers.note import CRASH as CRASHED
from evenclay.boards.drivers.note import NEW_PLAN, NO_BOOT, NOTHING, SERVED, SERVICE, Marked
from evenclay.boards.drivers.sleep import Sleeper, Uptime
from evenclay.boards.drivers.store import FileStore
from evenclay.boards.drivers.thermometer import CONVERT_MS
from evenclay.boards.drivers.valves import HeldValve, LatchingValve, NoValve
from evenclay.controller import TYPE_CHECKING, const
from evenclay.controller.events import CRASH, OWNER, POWER
from evenclay.controller.events import PLAN as REPLANNED
from evenclay.controller.journal import Trouble
from evenclay.controller.limits import SUPPLIES_MAX, ZONES_MAX
from evenclay.controller.plan import PlanError
from evenclay.controller.ports import NOTE, PLAN, Seen
from evenclay.controller.runner import Restart, Runner

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import IO, Any, Protocol

    from machine import WDT, Timer

    from evenclay.boards.drivers.battery import Battery
    from evenclay.boards.drivers.clock import Source
    from evenclay.boards.drivers.contact import Contact
    from evenclay.boards.drivers.counter import FlowMeter, RainGauge
    from evenclay.boards.drivers.note import Note
    from evenclay.boards.drivers.power import PowerGood
    from evenclay.boards.drivers.soil import CapacitiveProbe, GranularMatrix
    from evenclay.boards.drivers.thermometer import Ds18b20
    from evenclay.boards.drivers.valves import Coils
    from evenclay.boards.log.recorder import Recorder
    from evenclay.boards.talk.button import Button
    from evenclay.boards.talk.console import Console
    from evenclay.boards.talk.light import Light
    from evenclay.boards.talk.words import Desk
    from evenclay.controller.plan import Plan
    from evenclay.controller.ports import Asked

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

    class Pins(Protocol):
        """What a board's `pins.py` holds. Functions, so that nothing happens before its turn.

        What is wired where stands in it as plain numbers, which `tools/board/pin_map.py` reads.
        """

        @property
        def FOLDER(self) -> str: ...  # where record and plan are kept

        @property
        def HARD(self) -> bool: ...  # the port has hard interrupts

        @property
        def LIGHT_SLEEP(self) -> bool: ...  # sleep lightly between chunks, where that is safe

        @property
        def DEEP_LEAST_S(self) -> int: ...  # sleep deeply for waits of so much; 0: never

        @property
        def CONSOLE(self) -> bool: ...  # an owner types on it; else nothing is loaded for that

        def valves(self) -> "list[Valve]":
            """Zone valves in plan order; each pin an output at its shut level."""

        def masters(self) -> "list[Valve]":
            """Master valves, one a supply; NoValve where there is none."""

        def timer(self) -> "Timer": ...

        def clock(self) -> "Source": ...

        def sensors(self) -> "Sensors": ...

        def note(self) -> Note: ...

        def light(self) -> "Light | None": ...

        def button(self) -> "Button | None": ...

        def power(self) -> "PowerGood | None": ...


WATCHDOG_MS = const(8000)  # an RP2's reaches 8388
SERVICE_MS = const(900000)  # a quarter of an hour: files are copied, and a laptop was forgotten
_RESETS = (
    ("PWRON_RESET", "power came"),
    ("HARD_RESET", "a reset"),
    ("WDT_RESET", "the watchdog, or a reset"),
    ("DEEPSLEEP_RESET", "a deep sleep"),
    ("SOFT_RESET", "a soft reset"),
)
_leaving: "list[Timer]" = []  # a timer that nobody holds on to is taken by the collector
USUAL_SOIL_MC = const(20000)  # where no thermometer is in the soil


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
    desk: what the console needs of the hub, once there is one
    """

    light: "Light | None" = None
    button: "Button | None" = None
    power: "PowerGood | None" = None
    desk: "Desk | None" = None
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

    def serve(self, runner: Runner) -> None:
        """See to the owner of this runner's hub from now on."""
        self._runner = runner
        if self.console is not None:
            from evenclay.boards.talk.console import file_text
            from evenclay.boards.talk.words import Desk

            text = file_text(self._store.folder + "/words")
            self.desk = Desk(runner, self.up_s, self.give, self._seen, text, self.raw)
            self.console.greet(self.desk, self.power is not None)

    def use(self, plan: "Plan") -> None:
        """Number the valves as `plan` does: its zones, then a master a supply.

        Raises:
            PlanError: the pin map does not have what the plan needs.
        """
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
        first = len(self._zones)
        self._places = list(range(zones)) + list(range(first, first + supplies))
        self.valves = zones + supplies
        self._seen = Seen(zones, supplies)

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
        """What the owner asks for."""
        asked = self._asked
        self._asked = []
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

    def attend(self) -> bool:
        """See to the button, or to a line of the console. Returns whether there may be more."""
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
        return self.console is not None and self.desk is not None and self.console.look(self.desk)

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
        soil_mc = USUAL_SOIL_MC
        if sensors.soil is not None:
            found_mc = _reading(sensors.soil.mc)
            soil_mc = USUAL_SOIL_MC if found_mc is None else found_mc
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


def run(pins: "Pins", stream: "IO[str]" = sys.stdin, core: int = 0) -> None:
    """Run the hub for ever. Returns for service, or without a plan that fits; all valves closed.

    `core`: the version of the core, which its log names; 0: not known. A pin map whose LOG_BYTES is
    0, or not there, has no log.

    Ctrl-C on the console asks for service: a watchdog cannot be stopped, so the board restarts, and
    then leaves the hub out for a quarter of an hour.
    """
    zones = pins.valves()
    masters = pins.masters()
    shut(zones + masters)
    note = Marked(pins.note())
    if note.mark == SERVICE:
        _serve(pins, note)
        return
    runner = log = None
    try:
        log = recorder(pins, core)
        board, runner = start(pins, zones, masters, note, stream, log)
        counts = _counts(board.sensors) or board.button is not None
        sleeper = Sleeper(machine, pins.LIGHT_SLEEP and not counts)
        if pins.DEEP_LEAST_S and not sleeper.can_deep:
            print("DEEP_LEAST_S: this port has no deep sleep for a hub, so it stays awake")
        while True:
            try:
                once(board, runner, sleeper, pins.DEEP_LEAST_S)
            except Restart:
                raise
            except Exception as error:  # the console's, or of a sleep: a turn has its own
                board.due_s = runner.failed(error)
    except PlanError as error:
        shut(zones + masters)
        print("no plan to run: %s" % error)
    except Exception as error:
        shut(zones + masters)
        if runner is None:
            trouble = _noted(note)
            trouble.add(error, None)
            note.keep(trouble.pack(), NO_BOOT)
        else:
            note.keep(runner.trouble.pack(), CRASHED)
        if log is not None:
            log.flush()
        machine.reset()
    except KeyboardInterrupt:
        shut(zones + masters)
        note.keep(note.told, SERVICE)
        if log is not None:
            log.flush()
        machine.reset()


def assemble(
    pins: "Pins", zones: "list[Valve]", masters: "list[Valve]", note: Marked, stream: "IO[str]"
) -> Board:
    """Build the board from its pin map; every valve is closed already."""
    console = None
    if pins.CONSOLE:
        from evenclay.boards.talk.console import Console

        console = Console(stream)
    board = Board(
        zones,
        masters,
        pins.timer(),
        pins.HARD,
        Clock(pins.clock()),
        pins.sensors(),
        FileStore(pins.FOLDER),
        console,
        note,
    )
    board.light = pins.light()
    board.button = pins.button()
    board.power = pins.power()
    return board


def recorder(pins: "Pins", core: int) -> "Recorder | None":
    """What writes a hub's log; None where the pin map has none, and nothing is loaded for it."""
    most_bytes = getattr(pins, "LOG_BYTES", 0)
    if not most_bytes:
        return None
    from evenclay.boards.log.recorder import Recorder

    return Recorder(pins.FOLDER, core, most_bytes)


def start(
    pins: "Pins",
    zones: "list[Valve]",
    masters: "list[Valve]",
    note: Marked,
    stream: "IO[str]",
    log: "Recorder | None" = None,
) -> "tuple[Board, Runner]":
    """Build board and hub; every valve is closed already. Raises PlanError without a good plan."""
    why = _why(note)
    board = assemble(pins, zones, masters, note, stream)
    runner = Runner(board, why) if log is None else log.boot(board, why)
    board.use(runner.hub.plan)
    board.serve(runner)
    board.watchdog = machine.WDT(timeout=WATCHDOG_MS)
    return board, runner


def once(board: Board, runner: Runner, sleeper: Sleeper, deep_least_s: int) -> None:
    """One turn of the hub, a look at its owner, and one chunk of waiting."""
    wake_s = runner.turn()
    board.due_s = runner.hub.due_s
    if board.replanned:
        board.note.keep(board.note.told, NEW_PLAN)
        machine.reset()
    if board.attend():
        return
    wait_s = wake_s - board.up_s()
    valve_open = board.deadline.armed()
    if deep_least_s and wait_s >= deep_least_s and not valve_open and sleeper.can_deep:
        if board.light is not None:
            board.light.off()
        sleeper.deep(wait_s, valve_open, False)
    sleeper.chunk(board.wait_ms(wake_s), valve_open)


def shut(valves: "list[Valve]") -> None:
    """Close every valve; one that fails stops no other."""
    for valve in valves:
        try:
            valve.close()
        except Exception:
            valve.cut()
            sleep_ms(1)


def _why(note: Marked) -> int:
    """Reason of this boot, for the hub's log; says more on the console.

    After a boot that failed it waits: a fault that comes back at once must not pulse the valves for
    ever.
    """
    cause = machine.reset_cause()
    names = [text for name, text in _RESETS if getattr(machine, name, None) == cause]
    print("Started by %s." % (names[0] if names else "reset cause %s" % cause))
    trouble = _noted(note)
    if trouble.count:
        print("Errors in a day before: %d, the last: %s" % (trouble.count, trouble.text))
    if note.mark == NO_BOOT:
        print("Waiting for %d s." % trouble.rest_s())
        sleep_ms(trouble.rest_s() * 1000)
    if note.mark == NEW_PLAN:
        return REPLANNED
    if note.mark == SERVED:
        return OWNER
    # Some chips restart themselves by their watchdog: what nobody meant is a crash.
    crashed = note.mark != NOTHING or cause == machine.WDT_RESET
    return CRASH if crashed else POWER


def _serve(pins: "Pins", note: Marked) -> None:
    """Leave the hub out; restart in a quarter of an hour, if nobody has before."""
    note.keep(note.told, SERVED)
    leave(pins)


def leave(pins: "Pins") -> None:
    """Restart in a quarter of an hour from now, if nobody has before."""
    stay()
    timer = pins.timer()
    timer.init(mode=timer.ONE_SHOT, period=SERVICE_MS, callback=lambda _: machine.reset())
    _leaving.append(timer)
    print("Service: every valve is shut, and no hub runs for %d minutes." % (SERVICE_MS // 60000))


def stay() -> None:
    """Do not restart by yourself while something goes on that a restart would spoil."""
    while _leaving:
        _leaving.pop().deinit()


def _noted(note: Marked) -> Trouble:
    """The exceptions in a note."""
    trouble = Trouble()
    trouble.load(note.told)
    return trouble


def _counts(sensors: Sensors) -> bool:
    """Whether a pulse would be lost in light sleep."""
    return sensors.rain is not None or any(sensors.meters)


def _reading(read: "Callable[..., int | None]", *args: int) -> "int | None":
    """What a sensor or clock reads; None if it does not answer."""
    try:
        return read(*args)
    except OSError:
        return None
