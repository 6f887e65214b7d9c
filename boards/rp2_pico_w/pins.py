"""Pin map of an RP2040 or RP2350 board: four latching valves, gauge, meter, two probes, clock.

Numbers are GPIO numbers. GPIO 0 and 1 stay free for a serial console; on boards with a radio
GPIO 23, 24, 25 and 29 belong to it. Change what your wiring needs; keep every valve pin's 10 kohm
pull-down.
"""

from machine import ADC, I2C, Pin, Timer
from onewire import OneWire

from boards.common import Sensors
from boards.drivers.battery import Battery
from boards.drivers.clock import Ds3231
from boards.drivers.counter import Counter, FlowMeter, RainGauge
from boards.drivers.note import FileNote
from boards.drivers.soil import CapacitiveProbe
from boards.drivers.thermometer import Ds18b20
from boards.drivers.valves import Coils, LatchingValve, NoValve
from controller._const import TYPE_CHECKING

if TYPE_CHECKING:
    from boards.common import Valve

FOLDER = "/hub"
HARD = True  # timers and pins interrupt at once; handlers allocate nothing
LIGHT_SLEEP = False  # a gauge and a meter would not be counted
DEEP_LEAST_S = 0  # every wake from deep sleep is a boot

# (opens, closes): the two inputs of each valve's H-bridge. A valve that moves the wrong way: swap.
VALVES = ((2, 3), (4, 5), (6, 7), (8, 9))
RAIN = 10
METER = 11
AIR = 12
SOIL = 13  # beside the probes, as deep; nothing there counts as 20 degrees
SDA, SCL = 20, 21
PROBES = (27, 28)
PROBE_POWER = 22
BATTERY = 26

TIP_UM = 279  # of rain a tip: stands in the bucket's data
PULSES_PER_L = 450  # stands in the meter's data
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
    return Timer(-1)


def clock() -> Ds3231:
    """The clock chip."""
    return Ds3231(I2C(0, sda=Pin(SDA), scl=Pin(SCL), freq=100000))


def sensors() -> Sensors:
    """Everything measured."""
    battery = Battery(ADC(Pin(BATTERY)), BATTERY_TOP_OHM, BATTERY_BOTTOM_OHM)
    _coils.watch(battery, CLOSE_LEAST_MV)
    power = Pin(PROBE_POWER, Pin.OUT, value=0)
    return Sensors(
        rain=RainGauge(Counter(Pin(RAIN, Pin.IN, Pin.PULL_UP), 100, HARD), TIP_UM),
        meters=[FlowMeter(Counter(Pin(METER, Pin.IN, Pin.PULL_UP), 1, HARD), PULSES_PER_L)],
        probes=[
            CapacitiveProbe(ADC(Pin(pin)), table, drift_ppm, power)
            for pin, table, drift_ppm in zip(PROBES, PROBE_TABLES, PROBE_DRIFTS_PPM)
        ],
        air=Ds18b20(OneWire(Pin(AIR))),
        soil=Ds18b20(OneWire(Pin(SOIL))),
        battery=battery,
    )


def note() -> FileNote:
    """Where a crash is told of."""
    return FileNote(FOLDER + "/note")
