"""Pin map to begin with: two held valves behind MOSFETs, the chip's own clock, no sensor.

Each function is called once, in the order of `boards.common`: valves first, so that they are shut
before anything else is touched. Add what your hardware has from the pin maps of the other boards.
"""

from machine import RTC, Pin, Timer

from boards.common import Sensors
from boards.drivers.clock import ChipClock
from boards.drivers.note import FileNote
from boards.drivers.valves import HeldValve, NoValve
from controller._const import TYPE_CHECKING

if TYPE_CHECKING:
    from boards.common import Valve

FOLDER = "/hub"
HARD = False  # True where the port takes `hard=True` for pins and timers
LIGHT_SLEEP = False  # True only with neither gauge nor meter
DEEP_LEAST_S = 0  # every wake from deep sleep is a boot

VALVES = (16, 17)
ON = 1  # the level that feeds a coil


def valves() -> "list[Valve]":
    """Zone valves in plan order."""
    return [HeldValve(Pin(number, Pin.OUT, value=1 - ON), ON) for number in VALVES]


def masters() -> "list[Valve]":
    """One entry a supply."""
    return [NoValve()]


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
