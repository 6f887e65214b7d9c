"""Pin map of an RP2040 or RP2350 board: four latching valves on up to two spigots, gauge, a meter a
spigot, two probes, clock.

Numbers are GPIO numbers. GPIO 0 and 1 stay free for a serial console; on boards with a radio
GPIO 23, 24, 25 and 29 belong to it. Change what your wiring needs; keep every valve pin's 10 kohm
pull-down.
"""

from machine import ADC, I2C, Pin, Timer
from onewire import OneWire

from evenclay.boards.drivers.battery import Battery
from evenclay.boards.drivers.clock import Ds3231
from evenclay.boards.drivers.counter import Counter, FlowMeter, RainGauge
from evenclay.boards.drivers.note import FileNote
from evenclay.boards.drivers.soil import CapacitiveProbe
from evenclay.boards.drivers.thermometer import Ds18b20
from evenclay.boards.drivers.valves import Coils
from evenclay.boards.ports import Sensors, valve_on
from evenclay.controller import TYPE_CHECKING

if TYPE_CHECKING:
    from evenclay.boards.drivers.power import PowerGood
    from evenclay.boards.ports import Valve
    from evenclay.boards.talk.button import Button
    from evenclay.boards.talk.light import Light

FOLDER = "/hub"
HARD = True  # timers and pins interrupt at once; handlers allocate nothing
LIGHT_SLEEP = False  # a gauge and a meter would not be counted
CONSOLE = True  # an owner types on it; False: nothing is loaded for that
DEEP_LEAST_S = 0  # stays 0: this port has no deep sleep that a hub could use
LOG_BYTES = 65536  # what the log may take of the flash; 0: no log

# What is wired where. `evenclay bundle` reads these lines and holds the property against them, so
# they are plain numbers. What you do not have: None, or left out at the end of a tuple.
# A zone's valve: (opens, closes), the inputs of its H-bridge, to be swapped where it moves the
# wrong way; or one number, the pin of a held valve.
VALVES = ((2, 3), (4, 5), (6, 7), (8, 9))
MASTERS = (None, None)  # a spigot each: its master valve, wired as a zone's, or None
METERS = (11, 14)  # a spigot each
PROBES = (27, 28)  # a zone each
RAIN = 10  # the tipping bucket
AIR = 12  # the thermometer
BATTERY = 26
SOIL = 13  # beside the probes, as deep; nothing there counts as 20 degrees
SDA, SCL = 20, 21
PROBE_POWER = 22
LIGHT: "int | None" = 15  # of the owner: through a resistor to ground
BUTTON: "int | None" = 16  # to ground
POWER: "int | None" = None  # says that the supply is there; 17 is free

TIP_UM = 254  # of rain a tip, here 0.01 inch: put what stands in your bucket's data
PULSES_PER_L = 100  # round: put what stands in your meter's data
BATTERY_TOP_OHM, BATTERY_BOTTOM_OHM = 300000, 100000
CLOSE_LEAST_MV = 6500  # under a coil's load: what your valve needs, and a reserve

# (counts, vwc_ppt) of each probe in this soil, counts ascending: dry soil reads high.
PROBE_TABLES = (
    ((24000, 480), (30000, 380), (38000, 250), (46000, 120), (52000, 0)),
    ((24000, 480), (30000, 380), (38000, 250), (46000, 120), (52000, 0)),
)
# How much more each shows for a degree: common practice, no source; measure yours.
PROBE_DRIFTS_PPM = (800, 800)
_coils = Coils()


def valves() -> "list[Valve]":
    """Zone valves in plan order."""
    return [valve_on(wires, _coils) for wires in VALVES]


def masters() -> "list[Valve]":
    """One entry a spigot."""
    return [valve_on(wires, _coils) for wires in MASTERS]


def timer() -> Timer:
    """The deadline's own."""
    return Timer(-1)


def clock() -> Ds3231:
    """The clock chip."""
    return Ds3231(I2C(0, sda=Pin(SDA), scl=Pin(SCL), freq=100000))


def sensors() -> Sensors:
    """Everything measured."""
    power = Pin(PROBE_POWER, Pin.OUT, value=0)
    return Sensors(
        rain=None if RAIN is None else RainGauge(_counter(RAIN, 100), TIP_UM),
        meters=[
            None if pin is None else FlowMeter(_counter(pin, 1), PULSES_PER_L) for pin in METERS
        ],
        probes=[
            None
            if pin is None
            else CapacitiveProbe(ADC(Pin(pin)), PROBE_TABLES[zone], PROBE_DRIFTS_PPM[zone], power)
            for zone, pin in enumerate(PROBES)
        ],
        air=None if AIR is None else Ds18b20(OneWire(Pin(AIR))),
        soil=None if SOIL is None else Ds18b20(OneWire(Pin(SOIL))),
        battery=None if BATTERY is None else _battery(BATTERY),
    )


def _counter(pin: int, debounce_ms: int) -> Counter:
    return Counter(Pin(pin, Pin.IN, Pin.PULL_UP), debounce_ms, HARD)


def _battery(pin: int) -> Battery:
    battery = Battery(ADC(Pin(pin)), BATTERY_TOP_OHM, BATTERY_BOTTOM_OHM)
    _coils.watch(battery, CLOSE_LEAST_MV)
    return battery


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
