"""Days of a whole board with an owner who asks and asks, and the same days without one.

    micropython steps.py [DAYS]     one without; `make campaign` has a week

Nothing that is only asked may move a step: each line that is said takes the time of a serial line
at 115200 baud, and twelve milliseconds to be worked out; each module that is loaded for an answer
takes forty. Both are guesses, which nobody has measured; that a module takes about three times what
a line takes is counted in `tests/device/test_owner.py`.
"""

import sys

import fake_machine
from fake_machine.house import MINUTE_US, TYPED, House, clean

from tests.core import wall

DAY_US = 24 * 60 * MINUTE_US
LINE_US = 12000
LOAD_US = 40000
CHARACTER_US = 87  # ten bits at 115200 baud
LATER_MOST_US = 20000
BEFORE_US = -1600000  # the seconds of the uptime begin half a second after the world's
# A whole log takes most of a second.
ASKED = (
    "log 64",
    "status",
    "log 64",
    "run zone9 5",
    "log 64",
    "why zone1",
    "log 64",
    "alarms",
    "log 64",
    "help",
    "log 64",
    "what",
)


def held():
    """How many of the modules are loaded that the console needs for an answer alone."""
    return len([1 for name in ("words", "verbs") if "evenclay.boards.talk." + name in sys.modules])


def lived(talks, days):
    """Live. Returns what the board did, each with its moment, and how many lines were said."""
    house = House("template", "esp32", 2, {"battery": 0, "frost": 0, "rain_kind": 0}, held=1)
    house.pins.LIGHT = house.pins.BUTTON = None
    house.pins.LIGHT_SLEEP = True  # five seconds at a time while all is shut: days are long
    import machine

    from evenclay.boards.drivers.clock import ChipClock

    # Its seconds begin half a second beside the uptime's: a clock that ticks within the time of a
    # line may be read a second earlier or later.
    ChipClock(machine.RTC()).set(wall(2026, 7, 1, 9, 30))
    house.world.advance_ms(500)
    from evenclay.boards import common
    from evenclay.boards.talk import console

    world = house.world
    did = []
    said = [0]
    loaded = [0]

    def kept(name):
        plain = getattr(common.Board, name)

        def call(self, *arguments):
            did.append((name, arguments, world.us))
            return plain(self, *arguments)

        setattr(common.Board, name, call)

    for name in ("open", "close", "write", "report"):
        kept(name)

    def say(text):
        assert len(text) <= 80, text
        assert text.startswith("> ") or not [bad for bad in "_{}<" if bad in text], text
        said[0] += 1
        world.advance_us(LINE_US + CHARACTER_US * (len(text) + 2))

    class Slow(console.Console):
        def __init__(self, stream):
            super().__init__(stream, say)

        def look(self):
            before = held()
            more = super().look()
            for _ in range(before, held()):
                loaded[0] += 1
                world.advance_us(LOAD_US)
            return more

    console.Console = Slow

    def ask(minute):
        """Ask for much, just before a step may be due."""
        with open(TYPED, "a") as file:
            file.write((ASKED[minute // 5 % len(ASKED)] + "\n") * 3)
        minute += 5 if minute % 240 < 50 else 215
        world.at_us(minute * MINUTE_US + BEFORE_US, lambda: ask(minute))

    if talks:
        world.at_us(25 * MINUTE_US + BEFORE_US, lambda: ask(25))
    ended = house.run_for(days * DAY_US)
    assert ended == "cut" and world.faults == [], (ended, world.faults, did[-1])
    assert loaded[0] > 0
    return did, said[0]


def test_days_of_talk_move_no_step():
    days = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    plain, quiet_said = lived(False, days)
    talked, said = lived(True, days)
    assert said > quiet_said + 500 * days, (said, quiet_said)
    assert [one[:2] for one in plain] == [one[:2] for one in talked]
    assert [name for name, _, _ in plain].count("open") == 2 * 3 * days
    later = [after[2] - before[2] for before, after in zip(plain, talked)]
    print("%d steps, the latest by %d us; %d lines said" % (len(later), max(later), said))
    assert max(later) <= LATER_MOST_US


try:
    fake_machine.run_tests(globals())
finally:
    clean()
