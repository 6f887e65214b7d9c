"""Pin map of an ESP32 board: four latching valves on up to two spigots, a gauge, a meter a spigot,
a soil sensor, a thermometer, a clock.

Numbers are GPIO numbers of the first ESP32. They avoid the pins that choose how it boots (0, 2, 5,
12, 15) but for light and button, those that its flash uses (6 to 11), those that only read (34 to
39) for outputs, and ADC2, which fails while Wi-Fi is on. On an S3 or C3 the numbers differ: see
README.md. Keep every valve pin's 10 kohm pull-down.
"""

from machine import ADC, I2C, RTC, Pin, Timer
from onewire import OneWire

from evenclay.boards.drivers.battery import Battery
from evenclay.boards.drivers.clock import Ds3231
from evenclay.boards.drivers.counter import Counter, FlowMeter, RainGauge
from evenclay.boards.drivers.note import Cache
from evenclay.boards.drivers.soil import GranularMatrix
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
HARD = False  # this port calls handlers between two bytecodes, and refuses `hard`
LIGHT_SLEEP = False  # a gauge would not be counted
CONSOLE = True  # an owner types on it; False: nothing is loaded for that
DEEP_LEAST_S = 0  # every wake from deep sleep is a boot
LOG_BYTES = 65536  # what the log may take of the flash; 0: no log

# What is wired where. `evenclay bundle` reads these lines and holds the property against them, so
# they are plain numbers. What you do not have: None, or left out at the end of a tuple.
# A zone's valve: (opens, closes), the inputs of its H-bridge, to be swapped where it moves the
# wrong way; or one number, the pin of a held valve.
VALVES = ((16, 17), (18, 19), (23, 25), (32, 33))
MASTERS = (None, None)  # a spigot each: its master valve, wired as a zone's, or None
METERS = (26, 13)  # a spigot each
PROBES = ((35, 27, 14),)  # a zone each: (node, near, far)
RAIN = 34  # the tipping bucket; this pin has no pull-up inside
AIR = 4  # the thermometer
BATTERY = 36
SDA, SCL = 21, 22
LIGHT: "int | None" = 2  # of the owner: the board's own
BUTTON: "int | None" = 0  # the board's own, BOOT; not to be held down as it starts
POWER: "int | None" = None  # says that the supply is there; 39 is free

TIP_UM = 254  # of rain a tip, here 0.01 inch: put what stands in your bucket's data
PULSES_PER_L = 100  # round: put what stands in your meter's data
SOIL_SERIES_OHM = 10000  # of the resistor beside the sensor: the value in the sensor's data sheet
# Of the sensor, wettest and driest, by its data sheet: below is a short, above an open wire. These
# are round: at the driest of SOIL_TABLE, near freezing, the equation's resistance is 38,000.
SOIL_RANGE_OHM = (100, 40000)
BATTERY_TOP_OHM, BATTERY_BOTTOM_OHM = 300000, 100000
CLOSE_LEAST_MV = 6500  # under a coil's load: what your valve needs, and a reserve

# (suction_kpa, vwc_ppt) of this soil, suction ascending: the line by which plans of clay go.
SOIL_TABLE = ((0, 460), (10, 459), (15, 444), (33, 414), (70, 386), (100, 373), (200, 347))

_coils = Coils()


def valves() -> "list[Valve]":
    """Zone valves in plan order."""
    return [valve_on(wires, _coils) for wires in VALVES]


def masters() -> "list[Valve]":
    """One entry a spigot."""
    return [valve_on(wires, _coils) for wires in MASTERS]


def timer() -> Timer:
    """The deadline's own."""
    return Timer(0)


def clock() -> Ds3231:
    """The clock chip."""
    return Ds3231(I2C(0, sda=Pin(SDA), scl=Pin(SCL), freq=100000))


def sensors() -> Sensors:
    """Everything measured."""
    return Sensors(
        rain=None if RAIN is None else RainGauge(Counter(Pin(RAIN, Pin.IN), 100, HARD), TIP_UM),
        meters=[None if pin is None else _meter(pin) for pin in METERS],
        probes=[None if wires is None else _probe(*wires) for wires in PROBES],
        air=None if AIR is None else Ds18b20(OneWire(Pin(AIR))),
        battery=None if BATTERY is None else _battery(BATTERY),
    )


def _meter(pin: int) -> FlowMeter:
    return FlowMeter(Counter(Pin(pin, Pin.IN, Pin.PULL_UP), 1, HARD), PULSES_PER_L)


def _probe(node: int, near: int, far: int) -> GranularMatrix:
    return GranularMatrix(
        ADC(Pin(node), atten=ADC.ATTN_11DB),
        Pin(near, Pin.OUT, value=0),
        Pin(far, Pin.OUT, value=0),
        SOIL_SERIES_OHM,
        SOIL_RANGE_OHM,
        SOIL_TABLE,
    )


def _battery(pin: int) -> Battery:
    battery = Battery(ADC(Pin(pin), atten=ADC.ATTN_11DB), BATTERY_TOP_OHM, BATTERY_BOTTOM_OHM)
    _coils.watch(battery, CLOSE_LEAST_MV)
    return battery


def note() -> Cache:
    """Where a crash is told of: RTC memory, so that a crash loop wears no flash."""
    return Cache(RTC())


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
