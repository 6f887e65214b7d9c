"""Light, button and power-good pin: by themselves, and on whole boards."""

import fake_machine
from fake_machine.house import BEFORE_S, BOARDS, FOLDER, MINUTE_US, House, clean

from tests.core import row

SECOND_US = 1000000
WELL, HOLDING, NEEDS_YOU, NO_CLOCK = range(4)


class Lit:
    """A light on a pin, and the moments at which it turned, in ms."""

    def __init__(self, on=1):
        self.world = world = fake_machine.power_on()
        fake_machine.forget("evenclay.boards")
        import machine

        from evenclay.boards.talk import light

        self.state = 0
        light.state = lambda runner, up_s: self.state
        self.turns = []
        pin = machine.Pin(15, machine.Pin.OUT, value=1 - on)
        self.light = light.Light(pin, on)
        world.line(15).listeners.append(
            lambda: self.turns.append((world.us // 1000, world.level(15) == on))
        )

    def run(self, ms):
        """Let the main loop ask it, and wait as it says."""
        end_us = self.world.us + ms * 1000
        while self.world.us < end_us:
            self.world.advance_ms(self.light.show(None, 0))

    def blinks(self, state, ms=12000):
        """How long it shone, again and again, ms."""
        self.state = state
        self.run(1000)
        del self.turns[:]
        self.run(ms)
        found = []
        since = None
        for at, shines in self.turns:
            if shines:
                since = at
            elif since is not None:
                found.append(at - since)
        return found


def test_each_state_has_a_pattern_of_its_own():
    for on in (1, 0):
        lit = Lit(on)
        well = lit.blinks(WELL)
        holding = lit.blinks(HOLDING)
        needs_you = lit.blinks(NEEDS_YOU)
        no_clock = lit.blinks(NO_CLOCK)
        assert 1 <= len(well) <= 3 and max(well) <= 60
        assert len(holding) >= 3 and max(holding) <= 60
        assert len(needs_you) >= 20 and min(needs_you) >= 190
        assert max(no_clock) >= 990 and min(no_clock) <= 60


def test_a_new_state_shows_at_once_and_a_press_is_answered():
    lit = Lit()
    lit.run(500)
    lit.state = 2
    del lit.turns[:]
    lit.light.show(None, 0)
    assert lit.turns and lit.turns[0][1]
    lit.light.taken()
    del lit.turns[:]
    lit.run(1400)
    assert lit.turns == []  # steady for a moment
    lit.light.off()
    assert lit.world.level(15) == 0


class Pressed:
    """A button on a pin that is pulled up."""

    def __init__(self, port):
        self.world = fake_machine.power_on(port)
        fake_machine.forget("evenclay.boards")
        import machine

        from evenclay.boards.talk.button import Button

        pin = machine.Pin(16, machine.Pin.IN, machine.Pin.PULL_UP)
        self.button = Button(pin, port == "rp2")

    def press(self, ms, bounces=3):
        for level, wait_ms in ((0, ms), (None, 100)):
            for _ in range(bounces):
                self.world.drive(16, level)
                self.world.advance_ms(1)
                self.world.drive(16, None if level == 0 else 0)
                self.world.advance_ms(1)
            self.world.drive(16, level)
            self.world.advance_ms(wait_ms)


def test_a_short_press_stops_and_a_long_one_holds():
    from evenclay.controller.ports import ASK_HOLD, ASK_STOP

    for port in ("rp2", "esp32"):
        pressed = Pressed(port)
        button = pressed.button
        assert button.asked(1000) is None
        pressed.press(200)
        assert button.asked(1000) == (ASK_STOP, -1, 0)
        assert button.asked(1000) is None
        pressed.press(5)  # a bump
        assert button.asked(1000) is None
        pressed.press(3500)  # the main loop was busy all the while
        assert button.asked(1000) == (ASK_HOLD, -1, 87400)
        assert button.asked(1000) is None
        pressed.press(3500)
        assert button.asked(0) == (ASK_STOP, -1, 0)  # no clock: no hold
        pressed.world.drive(16, 0)
        pressed.world.advance_ms(2900)
        assert button.asked(1000) is None
        pressed.world.advance_ms(200)
        assert button.asked(1000) == (ASK_HOLD, -1, 87400)  # while it is still down
        pressed.world.advance_ms(2000)
        pressed.world.drive(16, None)
        assert button.asked(1000) is None


def pressed_at(house, pin, at_us, seen):
    """Press a button for a fifth of a second, and see what is open before and two seconds later."""
    world = house.world
    world.at_us(at_us, lambda: seen.append(house.open_now()))
    world.at_us(at_us + 1000, lambda: world.drive(pin, 0))
    world.at_us(at_us + 200000, lambda: world.drive(pin, None))
    world.at_us(at_us + 2 * SECOND_US, lambda: seen.append(house.open_now()))


def test_the_button_shuts_an_open_valve_of_every_board():
    for name, port, zones in BOARDS + (("template", "esp32", 2),):
        held = name == "template"
        house = House(name, port, zones, {"battery": 0, "frost": 0}, held=int(held))
        if held:
            house.write("clock 2026-07-01 04:58\n")
        else:
            house.set_clock()
        seen = []
        pressed_at(house, house.pins.BUTTON, house.world.us + 5 * MINUTE_US, seen)
        assert house.run_for(8 * MINUTE_US) == "cut"
        assert [len(one) for one in seen] == [1, 0], (name, seen)
        assert house.open_now() == []
        assert house.world.faults == []


def test_a_long_press_holds_a_day():
    house = House("rp2_pico_w", "rp2", 4, rows=[row(5, 1, starts_min=(300, 360, 420), run_s=600)])
    house.set_clock()
    began_us = house.world.us
    pin = house.pins.BUTTON
    house.world.at_us(began_us + SECOND_US, lambda: house.world.drive(pin, 0))
    house.world.at_us(began_us + 5 * SECOND_US, lambda: house.world.drive(pin, None))
    assert house.run_for(3 * 60 * MINUTE_US) == "cut"  # past the last cycle of the day
    assert house.runs() == []


def test_what_a_board_leaves_out_is_not_loaded():
    import sys

    house = House("template", "esp32", 2, {"battery": 0, "frost": 0}, held=1)
    fake_machine.forget("evenclay.boards.talk")
    import machine

    from evenclay.boards.drivers.clock import ChipClock

    ChipClock(machine.RTC()).set(BEFORE_S)
    pins = house.pins
    pins.CONSOLE = False
    pins.LIGHT = pins.BUTTON = None
    opened = []
    house.world.at_us(house.world.us + 6 * MINUTE_US, lambda: opened.append(house.open_now()))
    assert house.run_for(10 * MINUTE_US) == "cut"
    assert opened == [[0]]
    assert [name for name in sys.modules if name.startswith("evenclay.boards.talk")] == []


def test_what_an_answer_takes_is_dropped_after_it():
    import sys

    fake_machine.forget("evenclay.boards.talk")
    house = House("template", "esp32", 2, {"battery": 0, "frost": 0}, held=1)
    house.pins.LIGHT = house.pins.BUTTON = None
    held = []

    def look():
        for name in ("words", "verbs"):
            held.append(("evenclay.boards.talk." + name) in sys.modules)

    house.type_at(house.world.us + MINUTE_US, "status\n")
    for seconds in (30, 59, 80):  # greeted; nobody talked; answered
        house.world.at_us(house.world.us + seconds * SECOND_US, look)
    assert house.run_for(2 * MINUTE_US) == "cut"
    assert held == [False] * 6
    from evenclay.boards import talk

    assert not hasattr(talk, "words") and not hasattr(talk, "verbs")


def test_what_cannot_be_told_is_told_as_such_and_keeps_nobody_awake():
    import io

    fake_machine.power_on("esp32")
    fake_machine.forget("evenclay.boards")
    from evenclay.boards.talk import console

    class Quiet:
        POLLIN = 1

        def poll(self, *_):
            return self if not _ else ()

        def register(self, *_):
            pass

    console.select = Quiet()

    def desk():
        raise ValueError

    said = []
    made = console.Console(io.StringIO(), said.append)
    made.serve(desk)
    for _ in range(3):
        made.tell((0, -1, 0, 0, 0, 1, 0, -1))
    looks = 1
    while made.look():
        looks += 1
        assert looks < 9
    assert said == ["That went wrong, please report it: ValueError"] * len(said) and len(said) > 1


# Power that fails.


def failing(house, pin, at_us):
    """A power-good pin that falls; the capacitor then lasts for two seconds."""
    house.pins.POWER = pin
    house.world.drive(pin, 1)
    house.world.at_us(at_us, lambda: house.world.drive(pin, 0))


def test_power_that_fails_shuts_the_valve_and_is_booked():
    from evenclay.controller.journal import newest, unpack_record

    for name, port, zones, pin in (("rp2_pico_w", "rp2", 4, 17), ("esp32", "esp32", 4, 39)):
        house = House(name, port, zones)
        house.set_clock()
        at_us = house.world.us + 6 * MINUTE_US + 345000
        failing(house, pin, at_us)
        assert house.run_for(6 * MINUTE_US + 345000 + 2 * SECOND_US) == "cut"
        (run,) = house.runs()
        late_us = run[1] + run[2] - at_us
        print("shut %d ms after power failed" % (late_us // 1000))
        assert 0 < late_us < 300000
        assert house.open_now() == []
        copies = []
        for copy in (0, 1):
            with open(FOLDER + "/record.%d" % copy, "rb") as file:
                copies.append(file.read())
        record = unpack_record(newest(copies))
        assert record.opening == 0 and record.used_s[run[0]] >= run[2] // SECOND_US
        booked_s = list(record.used_s)
        # Hours later: nothing more is booked, and the zones that waited have theirs.
        house.restart(1, power_cut=True)
        house.pins.POWER = pin
        house.world.drive(pin, 1)
        house.world.advance_us(20 * MINUTE_US)
        _, runner = house.start()
        for _ in range(3):
            runner.turn()
        assert runner.hub.record.used_s == booked_s
        assert runner.hub.record.waiting == 15 & ~(1 << run[0])
        assert house.world.faults == []


def test_a_dip_is_no_failure():
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock()
    at_us = house.world.us + 6 * MINUTE_US
    failing(house, 17, at_us)
    house.world.at_us(at_us + 1000, lambda: house.world.drive(17, 1))
    assert house.run_for(10 * MINUTE_US) == "cut"
    assert len(house.open_now()) == 1


try:
    fake_machine.run_tests(globals())
finally:
    clean()
