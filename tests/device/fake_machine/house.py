"""A board, its pin map, and everything that is wired to it: what whole-board scripts begin with."""

import os

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
from tests.core import plan, row, wall

MINUTE_US = 60000000
FOLDER = "board.tmp"
TYPED = "typed.tmp"
# A cycle begins at 05:00 local, 10:00 UTC; each zone is to have ten minutes.
BEFORE_S = wall(2026, 7, 1, 9, 58)
ROWS = [row(5, 1, 3, run_s=600)]
RUN_US = 600000000
# As a bundle has them: each line as long as all others.
with open(__file__[: __file__.rfind("tests/device")] + "boards/talk/words.txt") as lines:
    WORDS = b"".join([("%-79s\n" % line.strip()).encode() for line in lines])
BOARDS = (("rp2_pico_w", "rp2", 4), ("esp32", "esp32", 4))


class House:
    """A board, its pin map, and everything that is wired to it."""

    def __init__(self, name, port, zones, change=None, held=0, us=0, rows=ROWS):
        self.name = name
        self.zones = zones
        self.world = world = fake_machine.power_on(port, us)
        clean()
        os.mkdir(FOLDER)
        hub = {"battery": 1}
        hub.update(change or {})
        made = plan(zones, rows, zone={"held": held}, **hub)
        for place, part in enumerate(made.zones):
            part.name = "zone%d" % place
        with open(FOLDER + "/plan.0", "wb") as file:
            file.write(made.pack())
        with open(FOLDER + "/words", "wb") as file:
            file.write(WORDS)
        self.write("")
        pins = self.load()
        if name == "template":
            self.valves = [Held(world, number) for number in pins.VALVES]
            return
        self.battery = Battery(world, pins.BATTERY, 9000, 1700, 300000, 100000)
        self.valves = [Latch(world, a, b, self.battery) for a, b in pins.VALVES]
        self.clock = ClockChip(world)
        self.air = Thermometer(world, pins.AIR, 15000)
        self.rain = Contact(world, pins.RAIN, pulled=name == "esp32")
        self.meters = [Contact(world, pin) for pin in pins.METERS]
        if name == "esp32":
            (node, near, far) = pins.PROBES[0]
            self.soil = Granular(world, node, near, far, 10000, pins.SOIL_SERIES_OHM)
        else:
            self.earth = Thermometer(world, pins.SOIL, 20000)
            self.probes = [Capacitive(world, pin, 1510000, pins.PROBE_POWER) for pin in pins.PROBES]

    def load(self):
        """Import the pin map anew, as a boot does."""
        fake_machine.install(self.world)
        fake_machine.forget("evenclay.boards")
        package = __import__("evenclay.boards.%s.pins" % self.name, None, None, ["pins"])
        self.pins = package
        self.pins.FOLDER = FOLDER
        return package

    def set_clock(self, wall_s=BEFORE_S):
        """Set the clock chip as a hub did some time before."""
        import machine

        from evenclay.boards.drivers.clock import Ds3231

        Ds3231(machine.I2C(0)).set(wall_s)
        self.world.trace.clear()

    def write(self, text):
        """Have an owner type."""
        with open(TYPED, "w") as file:
            file.write(text)

    def type_at(self, us, text):
        """Have an owner type something later."""

        def typed():
            with open(TYPED, "a") as file:
                file.write(text)

        self.world.at_us(us, typed)

    def run_for(self, us):
        """Boot and run for some time. Returns what ended it: "cut", or why the chip restarted."""
        from evenclay.boards.common import run

        self.world.stop_at(self.world.us + us, fake_machine.PowerCut())
        with open(TYPED) as stream:
            try:
                run(self.pins, stream)
            except fake_machine.PowerCut:
                return "cut"
            except fake_machine.Restart as why:
                return why.args[0]
        return "returned"

    def start(self):
        """Boot up to the first turn. Returns board and runner."""
        from evenclay.boards.common import shut, start
        from evenclay.boards.drivers.note import Marked

        zones, masters = self.pins.valves(), self.pins.masters()
        shut(zones + masters)
        with open(TYPED) as stream:
            return start(self.pins, zones, masters, Marked(self.pins.note()), stream)

    def restart(self, cause, power_cut=False):
        self.world.restart(cause, power_cut)
        self.load()

    def open_now(self):
        return [zone for zone, valve in enumerate(self.valves) if valve.open]

    def runs(self):
        """(zone, from us, for us) of every time that water ran, in order."""
        found = []
        for zone, valve in enumerate(self.valves):
            since_us = None
            for us, is_open in valve.moves:
                if is_open:
                    since_us = us
                elif since_us is not None:
                    found.append((since_us, zone, us - since_us))
                    since_us = None
        return [(zone, us, took_us) for us, zone, took_us in sorted(found)]


def clean():
    """Remove what a test left."""
    try:
        for name in os.listdir(FOLDER):
            if name != "log":
                os.remove(FOLDER + "/" + name)
        if "log" in os.listdir(FOLDER):
            for name in os.listdir(FOLDER + "/log"):
                os.remove(FOLDER + "/log/" + name)
            os.rmdir(FOLDER + "/log")
        os.rmdir(FOLDER)
    except OSError:
        pass
    try:
        os.remove(TYPED)
    except OSError:
        pass
