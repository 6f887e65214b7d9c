"""The conformance kit on the template board, and on boards with a planted defect each.

The bench has what the template leaves out: motorised valves, a master, and every kind of sensor.
"""

import os
import sys

import fake_machine

from evenclay.controller.ports import PLAN

FOLDER = "conform.tmp"
TYPED = "conform_typed.tmp"
COPY = "copied_board"
MASTER = 18
# What a check needs and this board has not: nothing may be missed in silence.
NOT_SHOWN = {"failing_sensors": "fail rain_um", "uptime_and_a_stepped_clock": "step_clock"}
NOT_SHOWN_BARE = {
    "failing_sensors": "sensor",
    "leak": "meter_ml",
    "moving_sensors": "sensor",
    "uptime_and_a_stepped_clock": "step_clock",
}


class Torn(BaseException):
    """Power went in a write."""


class Motor:
    """A valve on a held pin, that opens or shuts `travel_us` after its pin has changed."""

    def __init__(self, world, pin, travel_us):
        self._world = world
        self._pin = pin
        self._travel_us = travel_us
        self._turns_us = []  # fed, let go, fed, ...
        world.line(pin).listeners.append(self._changed)

    def _changed(self):
        if self._world.level(self._pin) != len(self._turns_us) % 2:
            self._turns_us.append(self._world.us)

    def is_open(self):
        turns_us = self._turns_us
        moved = not turns_us or self._world.us >= turns_us[-1] + self._travel_us
        return (len(turns_us) % 2 == 1) == moved

    def open_us(self):
        """For how long water ran until now."""
        end_us = self._world.us - self._travel_us
        turns_us = [min(us, end_us) for us in self._turns_us]
        if len(turns_us) % 2:
            turns_us.append(end_us)
        return sum(turns_us[1::2]) - sum(turns_us[0::2])


class Part:
    """A sensor of any kind, that reads what the bench measures."""

    def __init__(self, bench, name):
        self._bench = bench
        self._name = name

    def convert(self):
        pass

    def mc(self):
        return self._bench.measured[self._name]

    um = wet = mv = mc

    def vwc_ppt(self, temp_mc):
        return self.mc()

    def ml(self):
        """What was let through the meter, and a litre in ten seconds of each open valve."""
        open_us = sum([motor.open_us() for motor in self._bench.motors])
        return self.mc() + open_us // 10000


def remove(folder):
    if folder in os.listdir("."):
        for name in os.listdir(folder):
            if name == "__pycache__":
                remove_cache(folder + "/" + name)
            else:
                os.remove(folder + "/" + name)
        os.rmdir(folder)


def remove_cache(folder):
    for name in os.listdir(folder):
        os.remove(folder + "/" + name)
    os.rmdir(folder)


def clean():
    remove(FOLDER)
    remove(COPY)
    if TYPED in os.listdir("."):
        os.remove(TYPED)


def make(defect=None, bare=False, travel_s=0):
    """A rig on a fresh stand-in; `defect` is called with every board that boots.

    bare: the template as it stands, with neither master nor sensor
    """
    clean()
    os.mkdir(FOLDER)
    with open(TYPED, "w"):
        pass
    world = fake_machine.power_on("esp32")
    fake_machine.forget("evenclay.boards")
    module = __import__("evenclay.boards.template.rig", None, None, ["Rig"])
    kit = __import__("evenclay.boards.conformance", None, None, ["judge"])
    common = __import__("evenclay.boards.common", None, None, ["WATCHDOG_MS"])
    ports = __import__("evenclay.boards.ports", None, None, ["Sensors"])
    drivers = __import__("evenclay.boards.drivers.valves", None, None, ["HeldValve"])
    pins = module.pins
    pins.FOLDER = FOLDER
    real_valves, real_masters = pins.valves, pins.masters

    class Bench(module.Rig):
        def __init__(self):
            super().__init__()
            self.begun = []
            self.feeds = 0
            self.stdin = None
            self.travel_s = travel_s
            self.motors = [Motor(world, pin, travel_s * 1000000) for pin in pins.VALVES]
            if not bare:
                self.motors.append(Motor(world, MASTER, travel_s * 1000000))
            self.measured = {
                ("rain_um", 0): 0,
                ("rain_wet", 0): False,
                ("soil_vwc_ppt", 0): 310,
                ("soil_vwc_ppt", 1): 320,
                ("temp_mc", 0): 15000,
                ("battery_mv", 0): 9000,
                ("meter_ml", 0): 0,
            }

        def boot(self, power_cut):
            self.begun = []
            self.feeds = 0
            world.restart(1, power_cut)
            world.watchdog_us = None
            module.sys = self  # its console
            pins.valves, pins.masters = self.valves, self.masters
            for name in ("timer", "clock", "sensors"):
                self.noted(name)
            if self.stdin is not None:
                self.stdin.close()
            self.stdin = open(TYPED)  # noqa: SIM115  # the board reads it
            self.board = None
            board = super().boot(power_cut)
            import machine

            board.watchdog = watchdog = machine.WDT(timeout=common.WATCHDOG_MS)
            world.watchdog_us = None  # a test waits as long as it likes

            def counted():
                self.feeds += 1

            watchdog.feed = counted
            if defect is not None:
                defect(self, board)
            return board

        def noted(self, name):
            def call():
                self.begun.append(name)
                return originals[name]()

            setattr(pins, name, call)

        def valves(self):
            return self.numbered(real_valves(), 0)

        def masters(self):
            import machine

            if bare:
                return self.numbered(real_masters(), len(pins.VALVES))
            pin = machine.Pin(MASTER, machine.Pin.OUT, value=0)
            return self.numbered([drivers.HeldValve(pin)], len(pins.VALVES))

        def numbered(self, made, first):
            for number, valve in enumerate(made):
                self.note_close(first + number, valve)
            return made

        def note_close(self, number, valve):
            real = valve.close

            def close():
                self.begun.append("close %d" % number)
                real()

            valve.close = close

        def sensors(self):
            soil = [Part(self, ("soil_vwc_ppt", zone)) for zone in range(2)]
            return ports.Sensors(
                rain=Part(self, ("rain_um", 0)),
                contact=Part(self, ("rain_wet", 0)),
                probes=soil,
                meters=[Part(self, ("meter_ml", 0))],
                air=Part(self, ("temp_mc", 0)),
                battery=Part(self, ("battery_mv", 0)),
            )

        def is_open(self, valve):
            if valve < len(self.motors):
                return self.motors[valve].is_open()
            return super().is_open(valve)

        def move(self, what, number):
            before = self.measured[(what, number)]
            self.measured[(what, number)] = True if before is False else before + 7

        def order(self):
            return self.begun

        def fail(self, what, number):
            board = self.board
            if what == "write":
                board._store.write = module.mute
            elif what == "clock":
                board._clock._source.get = module.mute
            else:
                super().fail(what, number)

        def cut_in_write(self, size):
            def torn(slot, copy, data):
                with open(
                    "%s/%s.%d" % (FOLDER, "plan" if slot == PLAN else "record", copy), "wb"
                ) as f:
                    f.write(data[:size])
                raise Torn

            self.board._store.write = torn

        def lose_clock(self):
            world.rtc_us = None

        def fed(self):
            return self.feeds

    rig = Bench()
    originals = {name: getattr(pins, name) for name in ("timer", "clock", "sensors")}
    if not bare:
        originals["sensors"] = rig.sensors
    return kit, rig


def outcome(defect=None, bare=False, travel_s=0):
    """{check: (passed, told)} of a board with a defect."""
    kit, rig = make(defect, bare, travel_s)
    return {name: kit.judge(check, rig) for name, check in kit.checks()}


def failed(defect, travel_s=0):
    """Names of the checks that a board with a defect fails."""
    found = outcome(defect, False, travel_s)
    return sorted([name for name in found if found[name][0] is False])


def conforms(found, not_shown):
    assert len(found) >= 20
    for name in found:
        assert found[name][0] is not False, (name, found[name])
    assert {name: told for name, (ok, told) in found.items() if ok is None} == not_shown


def test_the_template_board_conforms():
    conforms(outcome(None, True), NOT_SHOWN_BARE)


def test_a_board_with_a_master_and_every_sensor_conforms():
    conforms(outcome(), NOT_SHOWN)


def test_a_motorised_valve_conforms_where_the_rig_knows_its_travel():
    conforms(outcome(None, False, 12), NOT_SHOWN)


def test_a_motorised_valve_is_too_slow_for_a_rig_that_does_not_know_it():
    def slow(rig, board):
        rig.travel_s = 0

    found = failed(slow, 12)
    assert "valves" in found and "leak" in found, found


def test_a_copied_template_proves_its_own_pins():
    world = fake_machine.power_on("esp32")
    fake_machine.forget("evenclay.boards")
    clean()
    os.mkdir(COPY)
    source = (
        __import__("evenclay.boards", None, None, ["conformance"]).__file__.rsplit("/", 1)[0]
        + "/template/"
    )
    for name in ("__init__.py", "pins.py", "rig.py"):
        with open(source + name) as file:
            text = file.read()
        with open(COPY + "/" + name, "w") as file:
            file.write(
                text.replace("(16, 17)", "(21, 22, 23)").replace("(None, None)", "(25, None)")
            )
    sys.path.insert(0, ".")
    try:
        rig = __import__(COPY + ".rig", None, None, ["Rig"]).Rig()
    finally:
        sys.path.pop(0)
    ports = rig.boot(False)
    assert (rig.zones, rig.supplies, ports.valves) == (3, 2, 5)
    ports.open(2, 600)
    ports.open(3, 600)
    assert [world.level(number) for number in (16, 17, 21, 22, 23, 25)] == [0, 0, 0, 0, 1, 1]
    assert [rig.is_open(valve) for valve in range(5)] == [False, False, True, True, None]
    ports.close(2)


# Wrong ports that a kit could pass: each with all that it is caught by.


def test_a_deadline_on_valve_0_only_is_caught():
    def only(rig, board):
        arm = board.deadline.arm
        board.deadline.arm = lambda place, deadline_s: place or arm(place, deadline_s)

    assert failed(only) == ["deadline"]


def test_a_master_that_never_closes_is_caught():
    def jammed(rig, board):
        board._by_number[2].close = lambda: None

    found = failed(jammed)
    assert "valves" in found and "closed_at_boot" not in found, found


def test_a_master_that_nothing_shuts_is_caught():
    def jammed(rig, board):
        board._by_number[2].close = board._by_number[2].open

    assert "closed_at_boot" in failed(jammed)


def test_a_valve_count_too_small_is_caught():
    def fewer(rig, board):
        board.valves = 2

    found = failed(fewer)  # and whatever needs a hub, which does not begin with so few
    assert "valve_count" in found and "deadline" not in found, found


def test_sensors_that_always_read_none_are_caught():
    def blind(rig, board):
        look = board.look

        def nothing():
            seen = look()
            empty = type(seen)(8, 4)
            empty.done = seen.done
            return empty

        board.look = nothing

    found = failed(blind)
    assert found == ["failing_sensors", "moving_sensors", "reading_sensors"], found


def test_a_reading_of_a_sensor_that_is_not_there_is_caught():
    found = outcome(invents_readings, True)
    assert [name for name in found if found[name][0] is False] == ["reading_sensors"]


def test_one_sensor_that_always_reads_none_is_caught():
    def blind(rig, board):
        board.sensors.probes[1] = Part(rig, "none")
        rig.measured["none"] = None

    assert "reading_sensors" in failed(blind)


def test_a_sensor_that_spoils_others_is_caught():
    def raises(rig, board):
        board._measure = spoiling(board, board._measure)

    assert failed(raises) == ["failing_sensors"]


def spoiling(board, real):
    """A look at the slow sensors that ends at the first that does not answer."""

    def measure(seen):
        board.sensors.air.mc()
        real(seen)

    return measure


def test_a_sensor_that_silences_another_is_caught():
    def silences(rig, board):
        look = board.look

        def seen():
            found = look()
            if found.soil_vwc_ppt[1] is None:
                found.temp_mc = None
            return found

        board.look = seen

    assert failed(silences) == ["failing_sensors"]


def test_a_sensor_that_stands_still_is_caught():
    def stands(rig, board):
        board.sensors.battery.mv = lambda: 9000

    assert "moving_sensors" in failed(stands)


def test_rain_that_counts_as_water_is_caught():
    def crossed(rig, board):
        rain, meter = board.sensors.rain, board.sensors.meters[0]
        ml = meter.ml
        meter.ml = lambda: ml() + rain.um()

    assert failed(crossed) == ["moving_sensors"]


def test_a_valve_that_drips_once_shut_is_caught():
    def drips(rig, board):
        meter = board.sensors.meters[0]
        ml = meter.ml
        meter.ml = lambda: ml() + board.up_s()

    assert "leak" in failed(drips)


def test_a_clock_that_a_restart_spoils_is_caught():
    """It is right once it was set, and counts from another year after the next boot."""

    def spoils(rig, board):
        real, set_wall_s = board.wall_s, board.set_wall_s
        ahead_s = [946684800]

        def wall_s():
            found = real()
            return found if found is None else found + ahead_s[0]

        def set_it(wall_s):
            set_wall_s(wall_s)
            ahead_s[0] = 0

        board.wall_s, board.set_wall_s = wall_s, set_it

    assert failed(spoils) == ["clock"]


# Planted defects: (what it is, the board's change, the check that must see it).


def swallows_open(rig, board):
    real = board.open

    def open(valve, deadline_s):
        try:
            real(valve, deadline_s)
        except OSError:
            pass

    board.open = open


def swallows_close(rig, board):
    real = board.close

    def close(valve):
        try:
            real(valve)
        except OSError:
            pass

    board.close = close


def no_deadline(rig, board):
    board.deadline.arm = lambda place, deadline_s: None


def deadline_stays(rig, board):
    board.deadline.disarm = lambda place: None
    board.deadline.arm = sooner(board.deadline, board.deadline.arm)


def sooner(deadline, real):
    def arm(place, deadline_s):
        if not deadline._left_s[place]:
            real(place, deadline_s)

    return arm


def wrong_valve(rig, board):
    board._places = [1, 0] + board._places[2:]


def both_valves(rig, board):
    real = board.open

    def open(valve, deadline_s):
        real(valve, deadline_s)
        if valve == 0:
            real(1, deadline_s)

    board.open = open


def swallows_write(rig, board):
    real = board.write

    def write(slot, copy, data):
        try:
            real(slot, copy, data)
        except OSError:
            pass

    board.write = write
    board.read = remembered(board)


def remembered(board):
    """A read that answers from memory what was asked to be written."""
    kept = {}
    write = board.write
    read = board.read

    def both(slot, copy, data):
        kept[(slot, copy)] = data
        write(slot, copy, data)

    board.write = both
    return lambda slot, copy: kept[(slot, copy)] if (slot, copy) in kept else read(slot, copy)


def one_copy(rig, board):
    real_read, real_write = board.read, board.write
    board.read = lambda slot, copy: real_read(slot, 0)
    board.write = lambda slot, copy, data: real_write(slot, 0, data)


def short_writes(rig, board):
    real = board.write
    board.write = lambda slot, copy, data: real(slot, copy, data[:512])


def invents_time(rig, board):
    real = board.wall_s

    def wall_s():
        try:
            return real() or 1
        except OSError:
            return 1

    board.wall_s = wall_s


def clock_stands(rig, board):
    set_s = []
    real = board.set_wall_s

    def set_wall_s(wall_s):
        real(wall_s)
        set_s.append(wall_s)

    board.set_wall_s = set_wall_s
    board.wall_s = lambda: set_s[-1] if set_s else None


def uptime_is_wall_time(rig, board):
    board.up_s = lambda: (board._clock._source.get() or 0) % 1000000


def uptime_stops(rig, board):
    board.up_s = lambda: 5


def uptime_is_a_float(rig, board):
    real = board.up_s
    board.up_s = lambda: real() * 1.0


def feeds_in_look(rig, board):
    real = board.look

    def look():
        board.watchdog.feed()
        return real()

    board.look = look


def never_feeds(rig, board):
    board.feed = lambda: None


def asks_for_ever(rig, board):
    board.take_asked = lambda: [(4, -1, 0)]


def invents_readings(rig, board):
    real = board.look

    def look():
        seen = real()
        seen.temp_mc = 15000
        return seen

    board.look = look


def float_readings(rig, board):
    real = board.look

    def look():
        seen = real()
        seen.battery_mv = 7.5
        return seen

    board.look = look


def report_chokes(rig, board):
    def report(event):
        if event[1] > 7:
            raise IndexError(event[1])

    board.report = report


def boots_late(rig, board):
    rig.begun.insert(0, "sensors")


def stays_open(rig, board):
    board.close = lambda valve: None


DEFECTS = (
    (swallows_open, "failing_driver_is_reported"),
    (swallows_close, "failing_driver_is_reported"),
    (no_deadline, "deadline"),
    (deadline_stays, "deadline"),
    (wrong_valve, "valves"),
    (both_valves, "valves"),
    (swallows_write, "failing_store_is_reported"),
    (one_copy, "store"),
    (short_writes, "store"),
    (invents_time, "clock"),
    (invents_time, "failing_clock"),
    (clock_stands, "clock"),
    (uptime_is_wall_time, "uptime_and_a_set_clock"),
    (uptime_stops, "uptime"),
    (uptime_is_a_float, "uptime"),
    (feeds_in_look, "watchdog"),
    (never_feeds, "watchdog"),
    (asks_for_ever, "asked_once"),
    (asks_for_ever, "early_turns"),
    (invents_readings, "moving_sensors"),
    (float_readings, "seen"),
    (report_chokes, "report"),
    (boots_late, "closed_before_anything"),
    (stays_open, "valves"),
)


def test_each_planted_defect_is_caught():
    for defect, name in DEFECTS:
        kit, rig = make(defect)
        check = dict(kit.checks())[name]
        passed, told = kit.judge(check, rig)
        print("%s: %s" % (defect.__name__, told))
        assert passed is False, (defect.__name__, name)


def test_what_a_rig_cannot_do_is_not_shown():
    kit = __import__("evenclay.boards.conformance", None, None, ["Rig"])
    said = []
    assert kit.prove(kit.Rig(), said.append)
    assert len(said) == 2 * len(kit.checks()) + 1
    for line in said[len(kit.checks()) : -1]:
        assert line.startswith("not shown"), line
    assert said[-1].startswith("0 ok, 0 failed")


def test_the_quarter_hour_of_service_waits_until_a_proof_is_over():
    world = fake_machine.power_on("esp32")
    fake_machine.forget("evenclay.boards")
    clean()
    os.mkdir(FOLDER)
    module = __import__("evenclay.boards.template.rig", None, None, ["Rig"])
    common = __import__("evenclay.boards.common", None, None, ["leave"])
    module.pins.FOLDER = FOLDER
    common.leave(module.pins)  # as Ctrl-C does
    rig = module.Rig()
    world.advance_us(800000000)
    rig.boot(False)
    rig.board.open(0, 600)
    world.advance_us(300000000)
    rig.leave()
    assert not rig.is_open(0)
    world.advance_us(899000000)
    assert fake_machine.raises(fake_machine.Restart, world.advance_us, 2000000)


def test_a_proof_that_is_broken_off_leaves_the_owner_s_plan():
    kit, rig = make()
    rig.boot(False).write(PLAN, 0, b"the owner's")
    real, left = rig.leave, []

    def leave():
        left.append(rig.board.read(PLAN, 0))
        real()

    def interrupted(seconds):
        raise KeyboardInterrupt

    rig.leave, rig.wait = leave, interrupted
    assert fake_machine.raises(KeyboardInterrupt, kit.prove, rig, lambda line: None)
    assert left == [b"the owner's"]


try:
    fake_machine.run_tests(globals())
finally:
    clean()
