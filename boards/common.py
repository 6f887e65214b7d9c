"""What every microcontroller does alike: boot, the main loop, and service.

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
from evenclay.boards.drivers.note import CRASH as CRASHED
from evenclay.boards.drivers.note import NEW_PLAN, NO_BOOT, NOTHING, SERVED, SERVICE, Marked
from evenclay.boards.drivers.sleep import Sleeper
from evenclay.boards.drivers.store import FileStore
from evenclay.boards.ports import Board
from evenclay.controller import const
from evenclay.controller.events import CRASH, OWNER, POWER
from evenclay.controller.events import PLAN as REPLANNED
from evenclay.controller.journal import Trouble
from evenclay.controller.plan import PlanError
from evenclay.controller.runner import Restart, Runner

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from typing import IO, Protocol

    from machine import Timer

    from evenclay.boards.drivers.clock import Source
    from evenclay.boards.drivers.note import Note
    from evenclay.boards.drivers.power import PowerGood
    from evenclay.boards.log.recorder import Recorder
    from evenclay.boards.ports import Sensors, Valve
    from evenclay.boards.talk.button import Button
    from evenclay.boards.talk.light import Light

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
    if board.attend(wake_s):
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


def _counts(sensors: "Sensors") -> bool:
    """Whether a pulse would be lost in light sleep."""
    return sensors.rain is not None or any(sensors.meters)
