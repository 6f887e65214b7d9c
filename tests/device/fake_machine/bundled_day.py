"""Boot a bundle from its own files on the stand-in, and run it for a while, as a board would.

    micropython -m fake_machine.bundled_day BOARD PORT MINUTES     in the bundle's folder `device`

Every valve, meter and sensor that the pin map names is wired, and the soil is neither wet nor dry,
33 percent of water. The folder of record and plan is mounted where the pin map says. The last line
is JSON: `runs` as (zone, from s, for s), the zones that are `open` at the end, and `faults` of the
stand-in.
"""

import json
import sys

import vfs

import fake_machine
from fake_machine.parts import (
    Battery,
    Capacitive,
    ClockChip,
    Contact,
    Granular,
    Held,
    Latch,
    Thermometer,
)

MINUTE_US = 60 * 1000000
SECOND_US = 1000000
STARTS_S = 837046200  # 2026-07-11 00:50 UTC, since 2000-01-01: before the night's water

board, port, minutes = sys.argv[1:]
world = fake_machine.power_on(port)
pins = __import__("evenclay.boards." + board + ".pins", None, None, ["pins"])
assert pins.__file__.endswith(".mpy"), pins.__file__
vfs.mount(vfs.VfsPosix(pins.FOLDER.strip("/")), pins.FOLDER)


class Switch(Held):
    """A held valve that keeps when it moved, as `Latch` does."""

    def __init__(self, pin, on):
        super().__init__(world, pin, on)
        self.moves = []
        world.line(pin).listeners.append(self._moved)

    def _moved(self):
        if not self.moves or self.moves[-1][1] != self.open:
            self.moves.append((world.us, self.open))


def has(name):
    """What the pin map has under a name."""
    return getattr(pins, name, None)


battery = None
if has("BATTERY") is not None:
    battery = Battery(world, pins.BATTERY, 9000, 1700, 300000, 100000)
valves = []
for wires in pins.VALVES:
    held = isinstance(wires, int)
    valves.append(Switch(wires, pins.ON) if held else Latch(world, wires[0], wires[1], battery))
if has("RAIN") is not None:
    Contact(world, pins.RAIN, pulled=True)
for wires in has("PROBES") or ():
    if isinstance(wires, int):
        Capacitive(world, wires, 1665000, pins.PROBE_POWER)
    else:
        Granular(world, wires[0], wires[1], wires[2], 14300, pins.SOIL_SERIES_OHM)
for name in ("AIR", "SOIL"):
    if has(name) is not None:
        Thermometer(world, has(name), 25000)
meters = [Contact(world, pin, pulled=True) for pin in has("METERS") or ()]
PULSES = pins.PULSES_PER_L // 30 if meters else 0  # a second: some two litres a minute

import machine  # noqa: E402  # the stand-in

from evenclay.boards.drivers.clock import ChipClock, Ds3231  # noqa: E402

if has("SDA") is None:
    ChipClock(machine.RTC()).set(STARTS_S)
else:
    ClockChip(world)
    Ds3231(machine.I2C(0)).set(STARTS_S)


def flow():
    """A meter turns while a valve of its spigot is open; the demo's is that of the last zone."""
    if valves[-1].open:
        for _ in range(PULSES):
            world.drive(meters[-1].pin, 0)
            world.drive(meters[-1].pin, 1)
            world.advance_ms(2)  # longer than a contact may bounce
    world.at_us(world.us + SECOND_US - SECOND_US // 500 * PULSES, flow)


if meters:
    world.at_us(SECOND_US, flow)
world.stop_at(int(minutes) * MINUTE_US, fake_machine.PowerCut())
try:
    __import__("main")
    raise SystemExit("the hub returned")
except fake_machine.PowerCut:
    pass
runs = []
for zone, valve in enumerate(valves):
    since_us = None
    for us, is_open in valve.moves:
        if is_open:
            since_us = us
        elif since_us is not None:
            runs.append((zone, since_us // SECOND_US, (us - since_us) // SECOND_US))
            since_us = None
still_open = [zone for zone, valve in enumerate(valves) if valve.open]
print(json.dumps({"runs": runs, "open": still_open, "faults": world.faults}))
