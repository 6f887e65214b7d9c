"""The conformance kit on the template board, and on boards with a planted defect each."""

import os

import fake_machine

from controller.ports import PLAN

FOLDER = "conform.tmp"
TYPED = "conform_typed.tmp"
# What a check needs and this board has not: nothing may be missed in silence.
NOT_SHOWN = {"uptime_and_a_stepped_clock": "step_clock"}


class Torn(BaseException):
    """Power went in a write."""


def clean():
    if "conform.tmp" in os.listdir("."):
        for name in os.listdir(FOLDER):
            os.remove(FOLDER + "/" + name)
        os.rmdir(FOLDER)
    if TYPED in os.listdir("."):
        os.remove(TYPED)


def make(defect=None):
    """A rig on a fresh stand-in; `defect` is called with every board that boots."""
    clean()
    os.mkdir(FOLDER)
    with open(TYPED, "w"):
        pass
    world = fake_machine.power_on("esp32")
    fake_machine.forget("boards")
    module = __import__("boards.template.rig", None, None, ["Rig"])
    kit = __import__("boards.conformance", None, None, ["judge"])
    common = __import__("boards.common", None, None, ["WATCHDOG_MS"])
    pins = module.pins
    pins.FOLDER = FOLDER
    real_valves = pins.valves

    class Bench(module.Rig):
        def __init__(self):
            super().__init__()
            self.begun = []
            self.feeds = 0
            self.stdin = None

        def boot(self, power_cut):
            self.begun = []
            self.feeds = 0
            world.restart(1, power_cut)
            world.watchdog_us = None
            module.sys = self  # its console
            pins.valves = self.valves
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
            real = originals[name]

            def call():
                self.begun.append(name)
                return real()

            setattr(pins, name, call)

        def valves(self):
            made = real_valves()
            for number, valve in enumerate(made):
                self.note_close(number, valve)
            return made

        def note_close(self, number, valve):
            real = valve.close

            def close():
                self.begun.append("close %d" % number)
                real()

            valve.close = close

        def order(self):
            return self.begun

        def fail(self, what, valve):
            def mute(*_):
                raise OSError(5)

            board = self.board
            if what in ("open", "close"):
                setattr(board._by_number[valve], what, mute)
            elif what == "write":
                board._store.write = mute
            elif what == "look":
                air = kit_air()
                air.mc = mute
                board.sensors.air = air
            else:
                board._clock._source.get = mute

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

    originals = {name: getattr(pins, name) for name in ("timer", "clock", "sensors")}
    return kit, Bench()


class kit_air:
    """A thermometer."""

    def convert(self):
        pass

    def mc(self):
        return 15000


def outcome(defect=None):
    """{check: (passed, told)} of a board with a defect."""
    kit, rig = make(defect)
    return {name: kit.judge(check, rig) for name, check in kit.checks()}


def failed(defect):
    return sorted([name for name, found in outcome(defect).items() if found[0] is False])


def test_the_template_board_conforms():
    found = outcome()
    assert len(found) >= 20
    for name in found:
        assert found[name][0] is not False, (name, found[name])
    assert {name: told for name, (ok, told) in found.items() if ok is None} == NOT_SHOWN


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
    (invents_readings, "failing_sensors"),
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
    kit = __import__("boards.conformance", None, None, ["Rig"])
    said = []
    assert kit.prove(kit.Rig(), said.append)
    assert len(said) == len(kit.checks()) + 1
    for line in said[:-1]:
        assert line.startswith("not shown"), line
    assert said[-1].startswith("0 ok, 0 failed")


try:
    fake_machine.run_tests(globals())
finally:
    clean()
