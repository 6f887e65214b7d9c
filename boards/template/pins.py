"""Pin map to begin with: two held valves behind MOSFETs, the chip's own clock, no sensor.

Each function is called once, in the order of `boards/common.py`: valves first, so that they are
shut before anything else is touched. Add what your hardware has from the pin maps of the other
boards.
"""

from machine import RTC, Pin, Timer

from evenclay.boards.drivers.clock import ChipClock
from evenclay.boards.drivers.note import FileNote
from evenclay.boards.drivers.valves import Coils
from evenclay.boards.ports import Sensors, valve_on
from evenclay.controller import TYPE_CHECKING

if TYPE_CHECKING:
    from evenclay.boards.drivers.power import PowerGood
    from evenclay.boards.ports import Valve
    from evenclay.boards.talk.button import Button
    from evenclay.boards.talk.light import Light

FOLDER = "/hub"
HARD = False  # True where the port takes `hard=True` for pins and timers
LIGHT_SLEEP = False  # True only with neither gauge nor meter
CONSOLE = True  # an owner types on it; False: nothing is loaded for that
DEEP_LEAST_S = 0  # every wake from deep sleep is a boot
LOG_BYTES = 65536  # what the log may take of the flash; 0: no log

# What is wired where. `evenclay bundle` reads these lines and holds the property against them, so
# they are plain numbers. What you do not have: None, or left out.
VALVES = (16, 17)  # a zone each: the pin of a held valve, or (opens, closes) of a latching one
MASTERS = (None, None)  # a spigot each: its master valve, wired as a zone's, or None
# More of these once `sensors` makes them; the pin maps of the other boards show how: METERS (a
# spigot each), PROBES (a zone each), RAIN, CONTACT, AIR, BATTERY.
LIGHT: "int | None" = 13  # of the owner: through a resistor to ground
BUTTON: "int | None" = 14  # to ground
POWER: "int | None" = None  # says that the supply is there
ON = 1  # the level that feeds a held valve's coil

_coils = Coils()


def valves() -> "list[Valve]":
    """Zone valves in plan order."""
    return [valve_on(wires, _coils, ON) for wires in VALVES]


def masters() -> "list[Valve]":
    """One entry a spigot."""
    return [valve_on(wires, _coils, ON) for wires in MASTERS]


def timer() -> Timer:
    """The deadline's own."""
    return Timer(0)  # an RP2 takes only Timer(-1)


def clock() -> ChipClock:
    """The chip's own clock: set it after every power cut."""
    return ChipClock(RTC())


def sensors() -> Sensors:
    """Everything measured."""
    return Sensors()


def note() -> FileNote:
    """Where a crash is told of."""
    return FileNote(FOLDER + "/note")


# What a board does not have, it does not load.


def light() -> "Light | None":
    """What shows how the hub is; None: nothing does."""
    if LIGHT is None:
        return None
    from evenclay.boards.talk.light import Light

    return Light(Pin(LIGHT, Pin.OUT, value=0))


def button() -> "Button | None":
    """What stops the water, and holds it back for a day; None: there is none."""
    if BUTTON is None:
        return None
    from evenclay.boards.talk.button import Button

    return Button(Pin(BUTTON, Pin.IN, Pin.PULL_UP), HARD)


def power() -> "PowerGood | None":
    """What says that the supply fails while a capacitor still shuts the valves; None: nothing."""
    if POWER is None:
        return None
    from evenclay.boards.drivers.power import PowerGood

    return PowerGood(Pin(POWER, Pin.IN))
