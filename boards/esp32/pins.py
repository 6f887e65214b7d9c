"""Pin map of an ESP32 board: three latching valves, a gauge, a soil sensor, a thermometer, a clock.

Numbers are GPIO numbers of the first ESP32. They avoid the pins that choose how it boots (0, 2, 5,
12, 15), that its flash uses (6 to 11), that only read (34 to 39) for outputs, and ADC2, which fails
while Wi-Fi is on. On an S3 or C3 the numbers differ: see README.md. Keep every valve pin's 10 kohm
pull-down.
"""

from machine import ADC, I2C, RTC, Pin, Timer
from onewire import OneWire

from boards.common import Sensors
from boards.drivers.battery import Battery
from boards.drivers.clock import Ds3231
from boards.drivers.counter import Counter, RainGauge
from boards.drivers.note import Cache
from boards.drivers.soil import GranularMatrix
from boards.drivers.thermometer import Ds18b20
from boards.drivers.valves import Coils, LatchingValve, NoValve
from controller._const import TYPE_CHECKING

if TYPE_CHECKING:
    from boards.common import Valve

FOLDER = "/hub"
HARD = False  # this port calls handlers between two bytecodes, and refuses `hard`
LIGHT_SLEEP = False  # a gauge would not be counted
DEEP_LEAST_S = 0  # every wake from deep sleep is a boot

# (opens, closes): the two inputs of each valve's H-bridge. A valve that moves the wrong way: swap.
VALVES = ((16, 17), (18, 19), (23, 25))
RAIN = 26
SOIL_NODE, SOIL_NEAR, SOIL_FAR = 33, 27, 14
AIR = 4
SDA, SCL = 21, 22
BATTERY = 32

TIP_UM = 279  # of rain a tip: stands in the bucket's data
SOIL_SERIES_OHM = 10000  # of the resistor beside the sensor: the value in the sensor's data sheet
BATTERY_TOP_OHM, BATTERY_BOTTOM_OHM = 300000, 100000
CLOSE_LEAST_MV = 6500  # under a coil's load: what your valve needs, and a reserve

# (suction_kpa, vwc_ppt) of this soil, suction ascending: put yours.
# Source of these: clay, Carsel & Parrish 1988.
SOIL_TABLE = ((0, 380), (10, 365), (33, 347), (100, 324), (200, 310))

_coils = Coils()


def valves() -> "list[Valve]":
    """Zone valves in plan order."""
    zones: "list[Valve]" = []
    for opens, closes in VALVES:
        zones.append(
            LatchingValve(Pin(opens, Pin.OUT, value=0), Pin(closes, Pin.OUT, value=0), _coils)
        )
    return zones


def masters() -> "list[Valve]":
    """One entry a supply."""
    return [NoValve()]


def timer() -> Timer:
    """The deadline's own."""
    return Timer(0)


def clock() -> Ds3231:
    """The clock chip."""
    return Ds3231(I2C(0, sda=Pin(SDA), scl=Pin(SCL), freq=100000))


def sensors() -> Sensors:
    """Everything measured."""
    battery = Battery(ADC(Pin(BATTERY), atten=ADC.ATTN_11DB), BATTERY_TOP_OHM, BATTERY_BOTTOM_OHM)
    _coils.watch(battery, CLOSE_LEAST_MV)
    near = Pin(SOIL_NEAR, Pin.OUT, value=0)
    far = Pin(SOIL_FAR, Pin.OUT, value=0)
    node = ADC(Pin(SOIL_NODE), atten=ADC.ATTN_11DB)
    return Sensors(
        rain=RainGauge(Counter(Pin(RAIN, Pin.IN, Pin.PULL_UP), 100, HARD), TIP_UM),
        probes=[GranularMatrix(node, near, far, SOIL_SERIES_OHM, SOIL_TABLE)],
        air=Ds18b20(OneWire(Pin(AIR))),
        battery=battery,
    )


def note() -> Cache:
    """Where a crash is told of: RTC memory, so that a crash loop wears no flash."""
    return Cache(RTC())
